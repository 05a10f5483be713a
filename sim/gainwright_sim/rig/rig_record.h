/* Rig: what of a sequencer tick goes into the record. */
#ifndef GW_RIG_RECORD_H
#define GW_RIG_RECORD_H

#include <string.h>

#include "rig_state.h"

#if GW_HAS_LOOP_RESPONSE
static inline void log_prediction(const rig *r, float *signals)
{
    const gw_loop_response *found = &r->axis.response;

    if (found->agreeing > 0) {
        signals[RIG_SIGNAL_PREDICTED_LIMIT] = (float)found->limit_position / GW_RESPONSE_RUNG;
        signals[RIG_SIGNAL_PREDICTED_RESULT] = (float)found->result_position / GW_RESPONSE_RUNG;
        signals[RIG_SIGNAL_PREDICTION_SPREAD] = (float)found->spread / 4096.0F;
    }
}
#else
static inline void log_prediction(const rig *r, float *signals)
{
    (void)r;
    (void)signals;
}
#endif

static inline void write_log(rig *r, rig_log *log, int32_t row, const int32_t inputs[GW_INPUT_SLOTS])
{
    const int64_t at = r->sequencer_tick - log->first;
    float *signals = log->signals + at * RIG_SIGNAL_COUNT;
    int32_t variable;

    log->state[at] = r->axis.sequencer.state;
    log->row[at] = row;
    memcpy(log->inputs + at * GW_INPUT_SLOTS, inputs, GW_INPUT_SLOTS * sizeof inputs[0]);
    for (variable = 0; variable < GW_VARIABLE_SLOTS; variable++) {
        log->variables[at * GW_VARIABLE_SLOTS + variable] = r->axis.sequencer.variables[variable];
    }
    memcpy(log->outputs + at * GW_OUTPUT_SLOTS, r->axis.outputs, sizeof r->axis.outputs);
    signals[RIG_SIGNAL_POSITION] = (float)(r->x[0] - r->start_rad);
    signals[RIG_SIGNAL_SPEED] = (float)r->x[r->plant.motor_speed];
    signals[RIG_SIGNAL_LOAD_SPEED] = (float)r->x[r->plant.load_speed];
    signals[RIG_SIGNAL_TORQUE_LOWEST] = (float)r->window.torque_low;
    signals[RIG_SIGNAL_TORQUE_HIGHEST] = (float)r->window.torque_high;
    signals[RIG_SIGNAL_SPEED_ERROR] = (float)r->speed_error;
    signals[RIG_SIGNAL_TORQUE_OSCILLATION] = (float)r->window.oscillation;
    signals[RIG_SIGNAL_POSITION_REFERENCE] = (float)(r->motion.smooth - r->start_rad);
    signals[RIG_SIGNAL_MEASURED_TORQUE] = (float)r->measured.torque_nm;
    signals[RIG_SIGNAL_MEAN_SPEED] = (float)r->measured.mean_speed_rad_per_s;
    signals[RIG_SIGNAL_PREDICTED_LIMIT] = -1.0F;
    signals[RIG_SIGNAL_PREDICTED_RESULT] = -1.0F;
    signals[RIG_SIGNAL_PREDICTION_SPREAD] = 0.0F;
    log_prediction(r, signals);
    signals[RIG_SIGNAL_LOAD_POSITION]
        = (r->drive.load_count_rad > 0.0) ? (float)(r->load.position_rad - r->start_rad) : 0.0F;
    signals[RIG_SIGNAL_LOAD_DECAY] = (float)r->ringing.decay_per_s;
    signals[RIG_SIGNAL_LOAD_FREQUENCY] = (float)r->ringing.frequency_hz;
    signals[RIG_SIGNAL_LOAD_LIMIT] = (float)r->ringing.limit;
    signals[RIG_SIGNAL_SWING_JUDGED_FROM] = (float)r->step.loop.judged_from_hz;
}

#endif
