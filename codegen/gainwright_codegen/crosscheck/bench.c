/* What a cross-check calls besides the exported functions. Not part of any export. */
#define GW_SELFTEST_NO_MAIN
#define GW_SELFTEST_PRINT(text, name, number) ((void)(text), (void)(name), (void)(number))
#include "gw_selftest.c"

#include <stddef.h>

#include "gw_axis.h"

gw_axis bench_axis;

const uint32_t bench_sizes[7] = {
    (uint32_t)sizeof(gw_axis),
    SEQUENCE_COUNT,
    GW_CONTROL_TICKS_PER_SEQUENCER_TICK,
    /* Where the fields of the sequencer tick begin, and some of them. */
    (uint32_t)offsetof(gw_axis, sequencer),
    (uint32_t)offsetof(gw_axis, rate),
    (uint32_t)offsetof(gw_axis, fault),
    (uint32_t)offsetof(gw_axis, outputs),
};

/* Put the axis where a golden sequence begins, and return the inputs of its first tick. */
const int32_t *bench_place(uint32_t number);
const int32_t *bench_place(uint32_t number)
{
    const golden_sequence *sequence = &golden_sequences[number];
    uint32_t index;

    gw_axis_reset(&bench_axis);
    bench_axis.sequencer.state = sequence->state;
    for (index = 0U; index < (uint32_t)GW_VARIABLE_SLOTS; index++) {
        bench_axis.sequencer.variables[index] = sequence->variables[index];
    }
    gw_axis_seal(&bench_axis);
    return golden_segments[sequence->first_segment].inputs;
}

/* What the detector has found in an axis just placed would hide most rows: the table is to see the
 * golden inputs, all of them. */
void bench_force(uint32_t number);
void bench_force(uint32_t number)
{
    const int32_t *inputs = golden_segments[golden_sequences[number].first_segment].inputs;
    uint32_t index;

    for (index = 0U; index < (uint32_t)GW_INPUT_SLOTS; index++) {
        bench_axis.inputs[index] = inputs[index];
    }
}

/* The pulse of a stage begins with the next control tick. */
void bench_pulse(int32_t stage);
void bench_pulse(int32_t stage)
{
    bench_axis.order.stage = stage;
    bench_axis.order.height = gw_pulse_height[stage][0];
    bench_axis.order.complement = gw_pulse_complement(gw_pulse_height[stage][0]);
    bench_axis.order.number += 1U;
    gw_axis_seal(&bench_axis);
}
