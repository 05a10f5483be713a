/*
 * Gainwright, exhaustive exploration: what is noted of a search. See gx_notes.h.
 */
#include "gx_notes.h"

#include <stdlib.h>
#include <string.h>

static const uint32_t note_sizes[GX_NOTE_KINDS] = {
    GX_REQUIREMENT_SLOTS, GX_REQUIREMENT_SLOTS,
    GW_STATE_COUNT,       GW_STATE_COUNT,
    GW_ROW_COUNT,         GW_VARIABLE_SLOTS,
    GW_STATE_COUNT,       GW_STATE_COUNT,
    GW_ROW_COUNT * GW_CONDITION_SLOTS};

void gx_note(gx_search *search, int32_t kind, uint32_t subject, uint32_t node, uint32_t vector)
{
    gx_tick *first = &search->notes[kind][subject];

    if (first->node == GX_NOWHERE) {
        first->node = node;
        first->vector = vector;
    }
}

int32_t gx_allocate_notes(gx_search *search)
{
    int32_t kind;

    for (kind = 0; kind < GX_NOTE_KINDS; kind++) {
        const size_t bytes = note_sizes[kind] * sizeof *search->notes[kind];

        search->notes[kind] = malloc(bytes);
        if (search->notes[kind] == NULL) {
            return 0;
        }
        memset(search->notes[kind], 0xFF, bytes);
    }
    return 1;
}

GX_SELDOM
void gx_note_moment(gx_search *search, const gw_sequencer *memory, uint32_t node)
{
    int32_t outputs[GW_OUTPUT_SLOTS];
    uint16_t found[GX_REQUIREMENT_SLOTS];
    uint32_t count;

    gw_sequencer_outputs(memory, outputs);
    count = gx_judge_moment(memory->state, memory->variables, outputs, found);
    while (count > 0U) {
        count--;
        gx_note(search, GX_MOMENT, found[count], node, 0U);
    }
}

/* The condition by which alone a row is missed; GX_NOWHERE if it holds, or misses several. */
static uint32_t only_missed(const gw_row *row, const gw_condition_bits *seen, int32_t state)
{
    uint32_t place = GX_NOWHERE;
    uint32_t condition = 0U;
    uint32_t word;

    for (word = 0U; word < (uint32_t)GW_CONDITION_WORDS; word++) {
        uint64_t missed = gw_row_missed(row, seen, word);

        if (missed != 0U) {
            if ((place != GX_NOWHERE) || ((missed & (missed - 1U)) != 0U)) {
                return GX_NOWHERE;
            }
            for (place = word * 64U; (missed & 1U) == 0U; missed >>= 1) {
                place++;
            }
        }
    }
    if (place == GX_NOWHERE) {
        return GX_NOWHERE;
    }
    while ((gw_condition_in(&gw_trial_looked_at[state], condition) == 0)
           || (gw_trial_condition_places[condition] != place)) {
        condition++;
    }
    return condition;
}

GX_SELDOM
void gx_note_single_misses(gx_search *search, const gw_sequencer *memory, uint32_t node)
{
    const int32_t state = memory->state;
    uint32_t vector;
    uint32_t index;

    for (vector = gx_first_vector[state]; vector < gx_first_vector[state + 1]; vector++) {
        const gw_condition_set bits = gw_trial_conditions(search->vectors[vector], memory->variables);
        const gw_condition_set same = gx_conditions(search->vectors[vector], memory->variables);
        const gw_condition_bits seen = gw_trial_seen(state, &bits);
        const gw_condition_bits look = gw_trial_look(state, search->vectors[vector], memory->variables);

        if ((memcmp(&bits, &same, sizeof bits) != 0) || (memcmp(&seen, &look, sizeof seen) != 0)) {
            gx_note(search, GX_CONDITIONS, (uint32_t)state, node, vector);
        }
        for (index = gw_trial_spans[state][1].begin; index < gw_trial_spans[state][0].end; index++) {
            const gw_row *row = &gw_trial_rows[index];
            const uint32_t condition = only_missed(row, &seen, state);

            if (condition != GX_NOWHERE) {
                gx_note(search, GX_SINGLE_MISS,
                     (row->number * (uint32_t)GW_CONDITION_SLOTS) + condition, node, vector);
            }
        }
    }
}

GX_SELDOM
void gx_note_saturated(gx_search *search, gw_variable_set saturated, uint32_t node,
                           uint32_t vector)
{
    uint32_t variable;

    for (variable = 0U; variable < (uint32_t)GW_VARIABLE_SLOTS; variable++) {
        if (((saturated >> variable) & 1U) != 0U) {
            gx_note(search, GX_SATURATED, variable, node, vector);
        }
    }
    search->saturated |= saturated;
}

GX_SELDOM
int32_t gx_code_is_whole(const gw_sequencer *memory, uint64_t code)
{
    gw_sequencer again;

    gx_decode(code, &again);
    return (again.state == memory->state)
        && (memcmp(again.variables, memory->variables, sizeof again.variables) == 0);
}
