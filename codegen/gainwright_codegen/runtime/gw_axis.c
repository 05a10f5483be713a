/* Gainwright: one axis under trial. NOT A SAFETY FUNCTION: see gw_fixed.h. */
#include "gw_axis.h"

#include "gw_table.h"

static int32_t rung_of(const gw_axis *axis, int32_t stage)
{
    return gw_clamp_i32(axis->outputs[gw_trial_stages[stage].rung_output], 0,
                        GW_RUNG_COUNT_MAX - 1);
}

/* The stage that is being tuned: an output of the trial where it has more than one. */
static int32_t active_stage(const gw_axis *axis)
{
    return (gw_active_stage_output < 0)
               ? 0
               : gw_clamp_i32(axis->outputs[gw_active_stage_output], 0, GW_STAGE_COUNT - 1);
}

static int32_t pulse_requested(const gw_axis *axis)
{
    return (gw_pulse_request_output < 0) ? 0 : axis->outputs[gw_pulse_request_output];
}

void gw_axis_reset(gw_axis *axis)
{
    int32_t i;

    gw_sequencer_reset(&axis->sequencer);
    gw_detector_reset(&axis->detector);
    gw_pulse_reset(&axis->pulse);
    for (i = 0; i < GW_INPUT_COUNT; i++) {
        axis->inputs[i] = 0;
    }
    gw_sequencer_outputs(&axis->sequencer, axis->outputs);
    axis->stage = active_stage(axis);
}

int32_t gw_axis_control_tick(gw_axis *axis, int32_t torque_command, int32_t speed_error)
{
    gw_detector_sample(&axis->detector, &gw_stage_detector[axis->stage], torque_command,
                       speed_error);
    return gw_pulse_sample(&axis->pulse, &gw_stage_pulse[axis->stage]);
}

static void read_inputs(gw_axis *axis, const int32_t drive_inputs[GW_INPUT_SLOTS])
{
    int32_t i;

    for (i = 0; i < GW_INPUT_COUNT; i++) {
        axis->inputs[i] = drive_inputs[i];
    }
    if (gw_ring_level_input >= 0) {
        axis->inputs[gw_ring_level_input] = axis->detector.ring.level;
    }
    if (gw_burst_level_input >= 0) {
        axis->inputs[gw_burst_level_input] = axis->detector.burst.level;
    }
}

/* A filter in mid-flight means nothing to other coefficients. */
static void change_stage(gw_axis *axis)
{
    const int32_t stage = active_stage(axis);

    if (stage != axis->stage) {
        axis->stage = stage;
        gw_detector_reset(&axis->detector);
        gw_pulse_reset(&axis->pulse);
    }
}

int32_t gw_axis_sequencer_tick(gw_axis *axis, const int32_t drive_inputs[GW_INPUT_SLOTS])
{
    const int32_t requested_before = pulse_requested(axis);
    int32_t row;

    read_inputs(axis, drive_inputs);
    row = gw_sequencer_step(&axis->sequencer, axis->inputs);
    gw_sequencer_outputs(&axis->sequencer, axis->outputs);
    change_stage(axis);
    if ((requested_before == 0) && (pulse_requested(axis) != 0)) {
        gw_pulse_start(&axis->pulse, gw_pulse_height[axis->stage][rung_of(axis, axis->stage)]);
    }
    return row;
}

int32_t gw_axis_gain(const gw_axis *axis, int32_t stage)
{
    return gw_gain_ladder[stage][rung_of(axis, stage)];
}
