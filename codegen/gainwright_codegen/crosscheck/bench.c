/* What a cross-check calls besides the exported functions. Not part of any export. */
#define GW_SELFTEST_NO_MAIN
#define GW_SELFTEST_PRINT(text, name, number) ((void)(text), (void)(name), (void)(number))
#include "gw_selftest.c"

#include <stddef.h>

#include "@MACHINE@.h"

gw_axis bench_axis;
static int32_t bench_inputs[GW_INPUT_SLOTS];

const uint32_t bench_sizes[8] = {
    (uint32_t)sizeof(gw_axis),
    (uint32_t)offsetof(gw_axis, machine),
    SEQUENCE_COUNT,
    (uint32_t)GW_RATE_BLOCK,
    /* Where the fields of the sequencer tick begin, and some of them. */
    (uint32_t)offsetof(gw_axis, sequencer),
    (uint32_t)offsetof(gw_axis, rate),
    (uint32_t)offsetof(gw_axis, fault),
    (uint32_t)offsetof(gw_axis, outputs),
};

void bench_init(void);
void bench_init(void)
{
    gw_axis_init(&bench_axis, &@MACHINE@);
}

/* The inputs of the first tick of a golden sequence. What the detector has found in an axis just
 * placed would hide most rows: the table is to see these, all of them. */
void bench_force(uint32_t number);
void bench_force(uint32_t number)
{
    const int32_t *inputs = golden_segments[golden_sequences[number].first_segment].inputs;
    uint32_t index;

    for (index = 0U; index < (uint32_t)GW_INPUT_SLOTS; index++) {
        bench_inputs[index] = inputs[index];
    }
}

/* Put the axis where a golden sequence begins, and return the inputs of its first tick. */
int32_t *bench_place(uint32_t number);
int32_t *bench_place(uint32_t number)
{
    const golden_sequence *sequence = &golden_sequences[number];
    uint32_t index;

    bench_init();
    bench_axis.sequencer.state = sequence->state;
    for (index = 0U; index < (uint32_t)GW_VARIABLE_SLOTS; index++) {
        bench_axis.sequencer.variables[index] = sequence->variables[index];
    }
    gw_axis_seal(&bench_axis);
    bench_force(number);
    return bench_inputs;
}

/* The pulse of a stage begins with the next control tick. */
void bench_pulse(int32_t stage);
void bench_pulse(int32_t stage)
{
    bench_axis.order.height = @MACHINE@.stage[stage].pulse_height[0];
    bench_axis.order.complement = gw_pulse_complement(bench_axis.order.height);
    bench_axis.order.word = (uint32_t)stage | ((bench_axis.order.word + 0x01000000U) & 0xFF000000U);
    gw_axis_seal(&bench_axis);
}
