/* A sequencer that does anything that check_step.c shows of the real one: unless it refuses the
 * memory, it leaves state and variables in their ranges. */
#include "check_step.h"
#include "gw_any.h"
#include "gw_sequencer.h"
#include "gw_table.h"

static void sound_memory(gw_sequencer *sequencer)
{
    int32_t i;

    sequencer->state = gw_any_int32(0, GW_STATE_COUNT - 1);
    sequencer->saturated = 0U;
    for (i = 0; i < GW_VARIABLE_SLOTS; i++) {
        const gw_range *range = &gw_trial_variable_ranges[i];

        sequencer->variables[i] = (gw_variable_value)gw_any_int32(range->low, range->high);
    }
}

static void any_content(gw_sequencer *sequencer)
{
    int32_t i;

    sequencer->state = gw_any_int32(INT32_MIN, INT32_MAX);
    sequencer->saturated = 0U;
    for (i = 0; i < GW_VARIABLE_SLOTS; i++) {
        sequencer->variables[i] = (gw_variable_value)gw_any_int32(GW_ANY_LOWEST, GW_ANY_HIGHEST);
    }
}

void gw_sequencer_reset(gw_sequencer *sequencer)
{
    sound_memory(sequencer);
}

int32_t gw_sequencer_advance(gw_sequencer *sequencer, const int32_t inputs[GW_INPUT_SLOTS])
{
    const int32_t row = gw_any_int32(GW_BAD_MEMORY, GW_ROW_COUNT - 1);

    (void)inputs;
    if (row < 0) {
        any_content(sequencer);
    } else {
        sound_memory(sequencer);
    }
    return row;
}

void gw_sequencer_outputs(const gw_sequencer *sequencer, int32_t outputs[GW_OUTPUT_SLOTS])
{
    int32_t i;

    (void)sequencer;
    for (i = 0; i < GW_OUTPUT_SLOTS; i++) {
        outputs[i] = gw_any_int32(INT32_MIN, INT32_MAX);
    }
}
