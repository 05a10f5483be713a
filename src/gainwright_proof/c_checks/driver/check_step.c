/* One step of the sequencer from any state: no undefined behaviour, ranges kept. */
#include "check_step.h"

#include "gw_any.h"
#include "gw_sequencer.h"
#include "gw_table.h"

static void any_inputs(int32_t inputs[GW_INPUT_SLOTS])
{
    int32_t i;

    for (i = 0; i < GW_INPUT_SLOTS; i++) {
        inputs[i] = gw_any_int32(INT32_MIN, INT32_MAX);
    }
}

void any_memory(gw_sequencer *sequencer)
{
    int32_t i;

    sequencer->state = gw_any_int32(INT32_MIN, INT32_MAX);
    sequencer->saturated = (gw_variable_set)gw_any_uint32(0U, UINT32_MAX);
    for (i = 0; i < GW_VARIABLE_SLOTS; i++) {
        sequencer->variables[i] = (gw_variable_value)gw_any_int32(GW_ANY_LOWEST, GW_ANY_HIGHEST);
    }
}

void any_sound_memory(gw_sequencer *sequencer)
{
    int32_t i;

    sequencer->state = gw_any_int32(0, GW_STATE_COUNT - 1);
    sequencer->saturated = (gw_variable_set)gw_any_uint32(0U, UINT32_MAX);
    for (i = 0; i < GW_VARIABLE_SLOTS; i++) {
        const gw_range *range = &gw_trial_variable_ranges[i];

        sequencer->variables[i] = (gw_variable_value)gw_any_int32(range->low, range->high);
    }
}

static void check_row(int32_t row)
{
    gw_check((row >= GW_BAD_MEMORY) && (row < GW_ROW_COUNT));
}

/* Whatever stands in memory: nothing may go wrong that the language leaves undefined. */
void gw_check_step_any_memory(void)
{
    gw_sequencer sequencer;
    int32_t inputs[GW_INPUT_SLOTS];
    int32_t outputs[GW_OUTPUT_SLOTS];

    any_memory(&sequencer);
    any_inputs(inputs);
    check_row(gw_sequencer_step(&sequencer, inputs));
    gw_sequencer_outputs(&sequencer, outputs);
}

/* From inside the declared ranges back into them. */
void gw_check_step(void)
{
    gw_sequencer sequencer;
    int32_t inputs[GW_INPUT_SLOTS];
    int32_t outputs[GW_OUTPUT_SLOTS];
    int32_t i;

    any_sound_memory(&sequencer);
    any_inputs(inputs);
    check_row(gw_sequencer_step(&sequencer, inputs));
    gw_check((sequencer.state >= 0) && (sequencer.state < GW_STATE_COUNT));
    for (i = 0; i < GW_VARIABLE_SLOTS; i++) {
        const gw_range *range = &gw_trial_variable_ranges[i];

        gw_check((sequencer.variables[i] >= range->low) && (sequencer.variables[i] <= range->high));
    }
    gw_sequencer_outputs(&sequencer, outputs);
}

void gw_check_step_all(void)
{
    gw_sequencer sequencer;

    gw_sequencer_reset(&sequencer);
    gw_check_step();
}
