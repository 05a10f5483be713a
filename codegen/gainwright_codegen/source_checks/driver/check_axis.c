/* One tick of an axis from any promised state: no undefined behaviour, promised ranges kept. */
#include "check_axis.h"

#include "check_step.h"
#include "gw_any.h"
#include "gw_table.h"

/* Which filter section gw_check_biquad looks at. */
#ifndef GW_CHECK_STAGE
#define GW_CHECK_STAGE 0
#endif
#ifndef GW_CHECK_SECTION
#define GW_CHECK_SECTION 0
#endif

static void any_axis(gw_axis *axis)
{
    int32_t i;

    axis->sequencer.state = gw_any_int32(0, GW_STATE_COUNT - 1);
    axis->sequencer.saturated = 0U;
    for (i = 0; i < GW_VARIABLE_SLOTS; i++) {
        const gw_range *range = &gw_trial_variable_ranges[i];

        axis->sequencer.variables[i] = gw_any_int32(range->low, range->high);
    }
    gw_any_detector(&axis->detector);
    gw_any_pulse(&axis->pulse);
    axis->stage = gw_any_int32(0, GW_STAGE_SLOTS - 1);
    for (i = 0; i < GW_INPUT_SLOTS; i++) {
        axis->inputs[i] = gw_any_int32(INT32_MIN, INT32_MAX);
    }
    for (i = 0; i < GW_OUTPUT_SLOTS; i++) {
        axis->outputs[i] = gw_any_int32(INT32_MIN, INT32_MAX);
    }
}

static void check_axis(const gw_axis *axis)
{
    gw_check((axis->stage >= 0) && (axis->stage < GW_STAGE_SLOTS));
    gw_check_detector(&axis->detector);
    gw_check_pulse(&axis->pulse);
}

void gw_check_biquad(void)
{
    const gw_biquad_coefficients *section
        = &gw_stage_detector[GW_CHECK_STAGE].section[GW_CHECK_SECTION];
    gw_biquad_state state;
    int32_t output;

    gw_any_biquad_state(&state);
    output = gw_biquad_step(section, &state, gw_any_int32(INT32_MIN, INT32_MAX));
    gw_check((output >= -GW_SIGNAL_LIMIT) && (output <= GW_SIGNAL_LIMIT));
    gw_check_biquad_state(&state);
}

void gw_check_control_tick(void)
{
    gw_axis axis;

    any_axis(&axis);
    (void)gw_axis_control_tick(&axis, gw_any_int32(INT32_MIN, INT32_MAX),
                               gw_any_int32(INT32_MIN, INT32_MAX));
    check_axis(&axis);
}

void gw_check_pulse_sample(void)
{
    gw_pulse pulse;

    gw_any_pulse(&pulse);
    (void)gw_pulse_sample(&pulse, &gw_stage_pulse[gw_any_int32(0, GW_STAGE_SLOTS - 1)]);
    gw_check_pulse(&pulse);
}

void gw_check_sequencer_tick(void)
{
    gw_axis axis;
    int32_t inputs[GW_INPUT_SLOTS];
    int32_t i;

    any_axis(&axis);
    for (i = 0; i < GW_INPUT_SLOTS; i++) {
        inputs[i] = gw_any_int32(INT32_MIN, INT32_MAX);
    }
    (void)gw_axis_sequencer_tick(&axis, inputs);
    check_axis(&axis);
}

void gw_check_gain(void)
{
    gw_axis axis;

    any_axis(&axis);
    (void)gw_axis_gain(&axis, gw_any_int32(0, GW_STAGE_SLOTS - 1));
}

void gw_check_axis_all(void)
{
    gw_axis axis;

    gw_axis_reset(&axis);
    check_axis(&axis);
    gw_check_step_all();
    gw_check_biquad();
    gw_check_control_tick();
    gw_check_pulse_sample();
    gw_check_sequencer_tick();
    gw_check_gain();
}
