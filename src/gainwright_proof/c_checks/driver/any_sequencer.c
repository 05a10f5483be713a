/* A sequencer that does anything: what it really does is shown by check_step.c. */
#include "gw_any.h"
#include "gw_sequencer.h"

static void any_memory(gw_sequencer *sequencer)
{
    int32_t i;

    sequencer->state = gw_any_int32(INT32_MIN, INT32_MAX);
    sequencer->saturated = 0U;
    for (i = 0; i < GW_VARIABLE_SLOTS; i++) {
        sequencer->variables[i] = gw_any_int32(INT32_MIN, INT32_MAX);
    }
}

void gw_sequencer_reset(gw_sequencer *sequencer)
{
    any_memory(sequencer);
}

int32_t gw_sequencer_advance(gw_sequencer *sequencer, const int32_t inputs[GW_INPUT_SLOTS])
{
    (void)inputs;
    any_memory(sequencer);
    return gw_any_int32(GW_BAD_MEMORY, GW_ROW_COUNT - 1);
}

void gw_sequencer_outputs(const gw_sequencer *sequencer, int32_t outputs[GW_OUTPUT_SLOTS])
{
    int32_t i;

    (void)sequencer;
    for (i = 0; i < GW_OUTPUT_SLOTS; i++) {
        outputs[i] = gw_any_int32(INT32_MIN, INT32_MAX);
    }
}
