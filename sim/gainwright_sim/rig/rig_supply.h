/* Rig: what the drive tells the trial at each sequencer tick. */
#ifndef GW_RIG_SUPPLY_H
#define GW_RIG_SUPPLY_H

#include <math.h>

#include "rig_state.h"

#define RIG_START_TICK 5     /* sequencer tick at which the operator asks for the start */
#define RIG_START_RELEASE 25 /* ... and lets the button go */

/* What the encoder's counter shows; it goes round as a drive's does. */
static inline int32_t encoder_counts(const rig *r)
{
    return (int32_t)(uint32_t)(int64_t)rig_floor(
        r->measured.position_rad * r->drive.encoder.counts_per_rad + 0.5);
}

static inline void set_input(const rig *r, int32_t *inputs, enum rig_input which, int32_t value)
{
    if (r->binding.input[which] >= 0) {
        inputs[r->binding.input[which]] = value;
    }
}

static inline void watch_axis(rig *r)
{
    const gw_watched now = {
        encoder_counts(r),
        r->torque_on,
        r->measured.must_move,
        (r->window.limited_ticks >= r->drive.sequencer_ticks) ? 1 : 0,
        r->axis.evidence.burst,
    };

    gw_watch_tick(&r->watch, &now);
}

static inline int32_t torque_share(const rig *r)
{
    return (int32_t)rig_limited(
        rig_floor(256.0 * rig_absolute(r->torque) / r->drive.torque_limit_nm + 0.5),
        (double)RIG_SHARE_LIMIT);
}

/* Overrides come last, so that what the detector reports is forced too. */
static inline void force_inputs(const rig *r, int32_t *inputs)
{
    const int32_t tick = r->sequencer_tick;
    int32_t i;

    for (i = 0; i < r->override_count; i++) {
        if (tick >= r->overrides[i].from && tick < r->overrides[i].until) {
            inputs[r->overrides[i].input] = r->overrides[i].value;
        }
    }
}

/* Evaluated in the tick after the step has ended; until then what was found before holds. */
static inline void supply_margins(rig *r, int32_t *inputs)
{
    const rig_sensitivity *loop = &r->step.loop;
    const int32_t known = ((r->step.on == 0) && (loop->steps > 0)) ? 1 : 0;

    if (r->binding.input[RIG_MARGINS_EVALUATED] < 0) {
        return;
    }
    if ((known != 0) && (r->step.judged == 0)) {
        rig_sensitivity_judge(&r->step.loop, &r->drive);
    }
    r->step.judged = known;
    set_input(r, inputs, RIG_MARGINS_EVALUATED, known);
    set_input(r, inputs, RIG_LOAD_UNDAMPED, loop->undamped);
    set_input(r, inputs, RIG_LOAD_DRIVEN,
              (int32_t)rig_limited(rig_floor(100.0 * loop->driven + 0.5), 1000.0));
    set_input(r, inputs, RIG_STEP_SENSITIVITY,
              (int32_t)rig_limited(rig_floor(100.0 * loop->sensitivity + 0.5), 1000.0));
    set_input(r, inputs, RIG_STEP_PHASE_MARGIN, (int32_t)rig_floor(rig_limited(loop->phase_margin_deg, 180.0)));
}

/* Highest rung of the load's position gain that is not above a value; 0 if none is. */
static inline int32_t rung_of_load_gain(const rig *r, double value)
{
    int32_t stage = 0;
    int32_t rung = 0;

    while ((stage < GW_STAGE_COUNT) && (r->binding.setting[stage] != RIG_LOAD_POSITION_GAIN)) {
        stage += 1;
    }
    if (stage < GW_STAGE_COUNT) {
        const gw_machine_stage *ladder = &r->axis.machine->stage[stage];

        while ((rung + 1 < ladder->rungs)
               && (gw_stage_gain(ladder, rung + 1) * r->binding.setting_scale[stage] <= value)) {
            rung += 1;
        }
    }
    return rung;
}

/* Spread of the decay, 256 = the decay; at most where nothing is sure. */
static inline int32_t decay_spread(const rig_ringing *found)
{
    const double decay = rig_absolute(found->decay_per_s);

    return ((found->sure != 0) && (found->spread_per_s * RIG_SHARE_LIMIT < 256.0 * decay * RIG_SHARE_LIMIT))
               ? rig_step_share(found->spread_per_s / decay)
               : RIG_SHARE_LIMIT;
}

static inline void supply_ringing(rig *r, int32_t *inputs)
{
    rig_ringing *found = &r->ringing;

    if (r->binding.input[RIG_DECAY_EVALUATED] < 0) {
        return;
    }
    rig_ringing_judge(found, &r->drive);
    set_input(r, inputs, RIG_RINGING_HEARD, found->heard);
    set_input(r, inputs, RIG_RINGING_CUT_OFF, found->cut_off);
    set_input(r, inputs, RIG_DECAY_EVALUATED, found->evaluated);
    set_input(r, inputs, RIG_DECAY_SPREAD, decay_spread(found));
    set_input(r, inputs, RIG_DECAYS_MEASURED, found->points);
    set_input(r, inputs, RIG_LOAD_LIMIT_RUNG,
              (found->points > 0) ? rung_of_load_gain(r, found->limit) : 0);
}

static inline void supply_profile(const rig *r, int32_t *inputs)
{
    const rig_profile *found = &r->profile;
    const double cruise = r->full_cruise_rad_per_s;

    set_input(r, inputs, RIG_PROFILE_ERROR, rig_profile_share(&r->drive, cruise, found->error_rad));
    set_input(r, inputs, RIG_PROFILE_OVERSHOOT, rig_profile_share(&r->drive, cruise, found->over_rad));
    set_input(r, inputs, RIG_REST_SWING, rig_profile_share(&r->drive, cruise, found->swing_rad));
    set_input(r, inputs, RIG_LOAD_SENSED, (r->drive.load_count_rad > 0.0) ? 1 : 0);
    set_input(r, inputs, RIG_REST_JUMPS, found->jumps);
}

static inline void supply_inputs(rig *r, int32_t *inputs)
{
    const double away = r->measured.position_rad - r->start_rad;
    const int32_t tick = r->sequencer_tick;

    set_input(r, inputs, RIG_START_REQUEST, (tick >= RIG_START_TICK && tick < RIG_START_RELEASE));
    set_input(r, inputs, RIG_RESET_REQUEST, 0);
    set_input(r, inputs, RIG_RUN_PERMIT, 1);
    set_input(r, inputs, RIG_DRIVE_READY, 1);
    set_input(r, inputs, RIG_FEEDBACK_VALID, 1);
    set_input(r, inputs, RIG_INSIDE_TRAVEL_WINDOW, fabs(away) <= r->drive.half_window_rad);
    set_input(r, inputs, RIG_TORQUE_SATURATED,
              r->window.limited_ticks >= r->drive.sequencer_ticks);
    set_input(r, inputs, RIG_CRUISING, r->measured.cruising);
    set_input(r, inputs, RIG_TARGET_REACHED, r->measured.target_reached);
    set_input(r, inputs, RIG_STANDSTILL, r->measured.standstill);
    set_input(r, inputs, RIG_OVERSPEED, r->measured.overspeed);
    set_input(r, inputs, RIG_FOLLOWING_ERROR, r->measured.following_error);
    set_input(r, inputs, RIG_STILL_TICKS, r->watch.still_ticks);
    set_input(r, inputs, RIG_TORQUE_SHARE, torque_share(r));
    set_input(r, inputs, RIG_STRAINED_TICKS, r->watch.strained_ticks);
    set_input(r, inputs, RIG_SPEED_SHARE, r->measured.speed_share);
    set_input(r, inputs, RIG_STEP_OVERSHOOT, rig_step_share(r->step.overshoot));
    set_input(r, inputs, RIG_STEP_RESIDUAL, rig_step_share(r->step.swinging));
    set_input(r, inputs, RIG_SWING_GROWTH, rig_step_growth(&r->step));
    supply_margins(r, inputs);
    supply_ringing(r, inputs);
    supply_profile(r, inputs);
    set_input(r, inputs, RIG_LIMIT_ELSEWHERE,
              r->binding.limit_elsewhere[gw_order_stage(r->axis.order.word)]);
    set_input(r, inputs, RIG_CROSSING_WANTED, 0);
    force_inputs(r, inputs);
}

#endif
