/*
 * Gainwright: the table walker.
 *
 * NOT A SAFETY FUNCTION: see gw_sequencer.h.
 */
#include "gw_sequencer.h"

#include "gw_table.h"

static int32_t memory_is_sound(const gw_sequencer *sequencer)
{
    return gw_trial_is_sound(sequencer->state, sequencer->variables);
}

void gw_sequencer_reset(gw_sequencer *sequencer)
{
    uint32_t index;

    sequencer->state = GW_INITIAL_STATE;
    sequencer->saturated = 0U;
    for (index = 0U; index < (uint32_t)GW_VARIABLE_SLOTS; index++) {
        sequencer->variables[index] = gw_trial_initial_variables[index];
    }
}

int32_t gw_sequencer_advance(gw_sequencer *sequencer, const int32_t inputs[GW_INPUT_SLOTS])
{
    const gw_condition_bits seen = gw_trial_look(sequencer->state, inputs, sequencer->variables);
    const gw_row_span *const span = &gw_trial_spans[sequencer->state][gw_span_of(seen)];
    const gw_row *const end = &gw_trial_rows[span->end];
    const gw_row *row = &gw_trial_rows[span->begin];
    const gw_row *taken = end; /* the row behind it */
    uint32_t hits = 0U;

    /* All rows that may hold are looked at, so that a second hit is noticed. */
    while (row < end) {
        const gw_row *const next = &row[1];

        if (gw_row_holds(row, seen) != 0) {
            taken = next;
            hits++;
        }
        row = next;
    }
    if (hits != 1U) {
        return (hits == 0U) ? GW_NO_ROW : GW_SEVERAL_ROWS;
    }
    sequencer->saturated = gw_trial_act(taken[-1].action, seen, inputs, sequencer->variables);
    sequencer->state = (int32_t)taken[-1].target;
    return (int32_t)taken[-1].number;
}

int32_t gw_sequencer_step(gw_sequencer *sequencer, const int32_t inputs[GW_INPUT_SLOTS])
{
    return (memory_is_sound(sequencer) == 0) ? GW_BAD_MEMORY
                                              : gw_sequencer_advance(sequencer, inputs);
}

void gw_sequencer_outputs(const gw_sequencer *sequencer, int32_t outputs[GW_OUTPUT_SLOTS])
{
    if (memory_is_sound(sequencer) == 0) {
        gw_trial_rest_outputs(outputs);
    } else {
        gw_trial_outputs(sequencer->state, sequencer->variables, outputs);
    }
}
