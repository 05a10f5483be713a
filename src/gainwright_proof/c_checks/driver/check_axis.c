/* One tick of an axis from any promised state: no undefined behaviour, promised ranges kept. */
#include "check_axis.h"

#include "check_step.h"
#include "any_machine.h"
#include "gw_any.h"
#include "gw_table.h"

static void any_axis(gw_axis *axis)
{
    int32_t i;

    axis->sequencer.state = gw_any_int32(0, GW_STATE_COUNT - 1);
    axis->sequencer.saturated = 0U;
    for (i = 0; i < GW_VARIABLE_SLOTS; i++) {
        const gw_range *range = &gw_trial_variable_ranges[i];

        axis->sequencer.variables[i] = (gw_variable_value)gw_any_int32(range->low, range->high);
    }
    gw_any_detector(&axis->detector);
    gw_any_evidence(&axis->evidence);
    gw_any_pulse(&axis->pulse);
    axis->machine = &GW_ANY_MACHINE;
    axis->machine_again = ~(uintptr_t)axis->machine;
    axis->taken = gw_any_uint32(0U, UINT32_MAX);
    axis->control_ticks = (uint16_t)gw_any_uint32(0U, UINT16_MAX);
    axis->rung = (uint8_t)gw_any_uint32(0U, UINT8_MAX);
    axis->due = (uint8_t)gw_any_uint32(0U, UINT8_MAX);
    axis->order.word = gw_any_uint32(0U, UINT32_MAX);
    axis->order.height = gw_any_int32(INT32_MIN, INT32_MAX);
    axis->order.complement = gw_any_int32(INT32_MIN, INT32_MAX);
    axis->rate_first = (uint16_t)gw_any_uint32(0U, GW_COUNT_MAX);
    axis->rate_ticks = (int8_t)gw_any_int32(-1, GW_RATE_BLOCK - 1);
    axis->fault = (int8_t)gw_any_int32(INT8_MIN, INT8_MAX);
    axis->checksum = gw_any_uint32(0U, UINT32_MAX);
    for (i = 0; i < GW_OUTPUT_SLOTS; i++) {
        axis->outputs[i] = gw_any_int32(INT32_MIN, INT32_MAX);
    }
}

static void check_axis(const gw_axis *axis)
{
    gw_check((axis->rate_ticks >= -1) && (axis->rate_ticks < GW_RATE_BLOCK));
    gw_check_pulse(&axis->pulse);
    /* A model checker is shown this part by part, in any_detector.c. */
#ifndef GW_CHECK_BY_PARTS
    gw_check_detector(&axis->detector);
#endif
}

static void check_product(int32_t coefficient, int32_t most)
{
    const int32_t signal = gw_any_int32(-most, most);
    const int64_t product = gw_product_i64(coefficient, signal);

    gw_check(product >= -GW_CHECK_PRODUCT_MAX);
    gw_check(product <= GW_CHECK_PRODUCT_MAX);
}

/* Of every exported coefficient with any signal. */
void gw_check_products(void)
{
    int32_t stage;
    int32_t i;

    for (stage = 0; stage < GW_STAGE_SLOTS; stage++) {
        for (i = 0; i < GW_DETECTOR_SECTIONS; i++) {
            const gw_highpass_coefficients *section = &GW_ANY_MACHINE.stage[stage].detector.section[i];

            check_product(section->b0, GW_CHECK_DIFFERENCE_MAX);
            check_product(section->a1, -GW_SIGNAL_LOWEST);
            check_product(section->a2, -GW_SIGNAL_LOWEST);
        }
    }
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
    (void)gw_pulse_sample(&pulse, &GW_ANY_MACHINE.stage[gw_any_int32(0, GW_STAGE_SLOTS - 1)].pulse);
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

    gw_axis_init(&axis, &GW_ANY_MACHINE);
    check_axis(&axis);
    gw_check_step_all();
    gw_check_products();
    gw_check_highpass();
    gw_check_filter();
    gw_check_block();
    gw_check_evidence_change();
    gw_check_evidence_findings();
    gw_check_control_tick();
    gw_check_pulse_sample();
    gw_check_sequencer_tick();
    gw_check_gain();
}
