/*
 * Gainwright, exhaustive exploration: breadth-first search. See gx_search.h.
 *
 * Every tick is one of gw_sequencer_step and gw_sequencer_outputs, the functions that firmware calls.
 * In every node all vectors that behave in different ways are tried. In a situation (what the
 * variables contribute to the conditions of the state's table) not seen before, all others are tried
 * too: so all boolean values that these conditions can have together in a reachable node have been put
 * to the compiled step function.
 */
#include "gx_search.h"

#include <stdlib.h>
#include <string.h>

/* The whole way of a tick, exported functions included, in one piece of machine code. */
#if defined(__GNUC__)
#define GX_INLINE_ALL __attribute__((flatten))
#else
#define GX_INLINE_ALL
#endif

static const uint32_t note_sizes[GX_NOTE_KINDS] = {
    GX_REQUIREMENT_SLOTS, GX_REQUIREMENT_SLOTS,
    GW_STATE_COUNT,       GW_STATE_COUNT,
    GW_ROW_COUNT,         GW_VARIABLE_SLOTS,
    GW_STATE_COUNT,       GW_STATE_COUNT,
    GW_ROW_COUNT * GW_CONDITION_SLOTS};

static void note(gx_search *search, int32_t kind, uint32_t subject, uint32_t node, uint32_t vector)
{
    gx_tick *first = &search->notes[kind][subject];

    if (first->node == GX_NOWHERE) {
        first->node = node;
        first->vector = vector;
    }
}

static int32_t allocate_notes(gx_search *search)
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

gx_search *gx_search_new(uint64_t most_nodes)
{
    gx_search *search = calloc(1U, sizeof *search);
    gw_sequencer memory;

    if (search == NULL) {
        return NULL;
    }
    if (!gx_store_init(&search->store, most_nodes) || !allocate_notes(search)) {
        gx_search_free(search);
        return NULL;
    }
    memset(search->seen, 0xFF, sizeof search->seen);
    gw_sequencer_reset(&memory);
    (void)gx_store_number(&search->store, &memory, gx_encode(&memory));
    return search;
}

void gx_search_free(gx_search *search)
{
    int32_t kind;

    if (search == NULL) {
        return;
    }
    gx_store_free(&search->store);
    free(search->path_rows);
    for (kind = 0; kind < GX_NOTE_KINDS; kind++) {
        free(search->notes[kind]);
    }
    free(search);
}

GX_SELDOM
static void judge_moment(gx_search *search, const gw_sequencer *memory, uint32_t node)
{
    int32_t outputs[GW_OUTPUT_SLOTS];
    uint16_t found[GX_REQUIREMENT_SLOTS];
    uint32_t count;

    gw_sequencer_outputs(memory, outputs);
    count = gx_judge_moment(memory->state, memory->variables, outputs, found);
    while (count > 0U) {
        count--;
        note(search, GX_MOMENT, found[count], node, 0U);
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

/* For MC/DC of the rows: all literals but one hold. The conditions are checked by the way. */
GX_SELDOM
static void note_single_misses(gx_search *search, const gw_sequencer *memory, uint32_t node)
{
    const int32_t state = memory->state;
    uint32_t vector;
    uint32_t index;

    for (vector = gx_first_vector[state]; vector < gx_first_vector[state + 1]; vector++) {
        const gw_condition_set bits = gw_trial_conditions(gx_vectors[vector], memory->variables);
        const gw_condition_set same = gx_conditions(gx_vectors[vector], memory->variables);
        const gw_condition_bits seen = gw_trial_seen(state, &bits);
        const gw_condition_bits look = gw_trial_look(state, gx_vectors[vector], memory->variables);

        if ((memcmp(&bits, &same, sizeof bits) != 0) || (memcmp(&seen, &look, sizeof seen) != 0)) {
            note(search, GX_CONDITIONS, (uint32_t)state, node, vector);
        }
        for (index = gw_trial_first_row[state]; index < gw_trial_first_row[state + 1]; index++) {
            const gw_row *row = &gw_trial_rows[index];
            const uint32_t condition = only_missed(row, &seen, state);

            if (condition != GX_NOWHERE) {
                note(search, GX_SINGLE_MISS,
                     (row->number * (uint32_t)GW_CONDITION_SLOTS) + condition, node, vector);
            }
        }
    }
}

GX_SELDOM
static void note_saturated(gx_search *search, gw_variable_set saturated, uint32_t node,
                           uint32_t vector)
{
    uint32_t variable;

    for (variable = 0U; variable < (uint32_t)GW_VARIABLE_SLOTS; variable++) {
        if (((saturated >> variable) & 1U) != 0U) {
            note(search, GX_SATURATED, variable, node, vector);
        }
    }
    search->saturated |= saturated;
}

/* What the expansion of a node carries from vector to vector. */
typedef struct {
    gw_sequencer before;
    uint64_t last_code;
    int32_t last_row;
    uint32_t node;
    uint32_t target;
} expansion;

/* Note what was found over a tick, and mark its target for responses whose time it begins. */
static void note_found(gx_search *search, const expansion *x, uint32_t vector,
                       const uint16_t found[], uint32_t count)
{
    uint32_t index;

    for (index = 0U; index < count; index++) {
        note(search, GX_TICK, found[index], x->node, vector);
        if (gx_mark_bit[found[index]] >= 0) {
            gx_store_mark(&search->store, x->target, found[index]);
        }
    }
}

int32_t gx_search_keep_rows(gx_search *search)
{
    search->path_capacity = 4096U;
    search->path_rows = calloc((size_t)search->path_capacity, sizeof *search->path_rows);
    return search->path_rows != NULL;
}

const gx_rows *gx_search_rows(const gx_search *search)
{
    return search->path_rows;
}

/* The way to a new node is that to the node before, and a row. Returns 0 if memory is short. */
GX_SELDOM
static int32_t keep_rows(gx_search *search, uint32_t node, uint32_t target, uint32_t row)
{
    if (target >= search->path_capacity) {
        const uint64_t capacity = search->path_capacity * 2U;
        gx_rows *larger = realloc(search->path_rows, (size_t)capacity * sizeof *larger);

        if (larger == NULL) {
            search->store.problem = GX_NO_MEMORY;
            return 0;
        }
        search->path_rows = larger;
        search->path_capacity = capacity;
    }
    search->path_rows[target] = search->path_rows[node];
    search->path_rows[target].words[(row / 64U) % GX_ROW_WORDS] |= UINT64_C(1) << (row % 64U);
    return 1;
}

/* The tick leads elsewhere than the one before. Returns 0 if there is no place to store it. */
static int32_t take_edge(gx_search *search, expansion *x, const gw_sequencer *after, int32_t row,
                         uint32_t vector, int32_t expected)
{
    uint16_t found[GX_REQUIREMENT_SLOTS];
    const uint64_t known = search->store.nodes;

    if (search->row_ticks[row] == 1U) {
        note(search, GX_ROW_TAKEN, (uint32_t)row, x->node, vector);
    }
    x->target = gx_store_number(&search->store, after, x->last_code);
    if (x->target == GX_NOWHERE) {
        return 0;
    }
    if ((search->path_rows != NULL) && (x->target >= known)
        && !keep_rows(search, x->node, x->target, (uint32_t)row)) {
        return 0;
    }
    if ((expected == 0) && !gx_store_has_edge(&search->store, x->node, x->target)) {
        note(search, GX_UNEXPECTED, (uint32_t)x->before.state, x->node, vector);
    }
    note_found(search, x, vector, found,
               gx_judge_move(row, x->before.variables, after->variables, found));
    return gx_store_edge(&search->store, x->node, x->target);
}

/* The code of a node must say everything: a variable left out would make two nodes one. Looked at in
 * every situation, where every variable that counts anything has a step that changes it. */
GX_SELDOM
static int32_t code_is_whole(const gw_sequencer *memory, uint64_t code)
{
    gw_sequencer again;

    gx_decode(code, &again);
    return (again.state == memory->state)
        && (memcmp(again.variables, memory->variables, sizeof again.variables) == 0);
}

/* Try a vector; an expected one may find new edges. Returns 0 to end the search. */
static int32_t try_vector(gx_search *search, expansion *x, uint32_t vector, int32_t expected)
{
    const int32_t *inputs = gx_vectors[vector];
    gw_sequencer after = x->before;
    uint16_t found[GX_REQUIREMENT_SLOTS];
    const int32_t row = gw_sequencer_step(&after, inputs);
    uint64_t code;
    uint32_t count;

    search->ticks++;
    if (row < 0) {
        note(search, (row == GW_NO_ROW) ? GX_NO_ROW_HELD : GX_ROWS_HELD,
             (uint32_t)x->before.state, x->node, vector);
        return 1;
    }
    search->row_ticks[row]++;
    code = gx_encode(&after);
    if ((expected == 0) && !code_is_whole(&after, code)) {
        note(search, GX_UNEXPECTED, (uint32_t)x->before.state, x->node, vector);
    }
    if ((row != x->last_row) || (code != x->last_code)) {
        x->last_row = row;
        x->last_code = code;
        if (!take_edge(search, x, &after, row, vector, expected)) {
            return 0;
        }
    }
    if ((after.saturated & ~search->saturated) != 0U) {
        note_saturated(search, after.saturated, x->node, vector);
    }
    count = gx_judge_tick(row, inputs, x->before.variables, after.variables, found);
    if (count > 0U) {
        note_found(search, x, vector, found, count);
    }
    return 1;
}

/* Try all vectors of a situation that is new; returns 0 to end the search. */
GX_SELDOM
static int32_t try_others(gx_search *search, expansion *x)
{
    const int32_t state = x->before.state;
    uint32_t vector;

    for (vector = gx_first_vector[state]; vector < gx_first_vector[state + 1]; vector++) {
        if (!try_vector(search, x, vector, 0)) {
            return 0;
        }
    }
    note_single_misses(search, &x->before, x->node);
    return 1;
}

GX_INLINE_ALL
static int32_t expand(gx_search *search, uint32_t node)
{
    const uint32_t list = search->store.list;
    expansion x = {.node = node, .last_row = -1};
    uint32_t index;

    gx_decode(search->store.codes[node], &x.before);
    judge_moment(search, &x.before, node);
    for (index = gx_list_begin[list]; index < gx_list_begin[list + 1U]; index++) {
        if (!try_vector(search, &x, gx_lists[index], 1)) {
            return 0;
        }
    }
    /* The first list of a state does not stand for one situation. */
    if ((search->seen[list] == GX_NOWHERE) || (list == gx_first_list[x.before.state])) {
        search->seen[list] = (search->seen[list] == GX_NOWHERE) ? node : search->seen[list];
        return try_others(search, &x);
    }
    return 1;
}

int32_t gx_search_run(gx_search *search, uint64_t nodes)
{
    gx_store *store = &search->store;

    for (; (nodes > 0U) && (store->problem == GX_STORED); nodes--) {
        const uint32_t node = gx_store_begin(store);

        if (node == GX_NOWHERE) {
            return GX_COMPLETE;
        }
        (void)expand(search, node);
        gx_store_finish(store, node);
    }
    return (store->problem == GX_STORED) ? GX_MORE : store->problem;
}

void gx_search_figures(const gx_search *search, gx_figures *figures)
{
    const gx_store *store = &search->store;

    figures->nodes = store->nodes;
    figures->expanded = store->expanded;
    figures->ticks = search->ticks;
    figures->edges = store->edges;
    figures->depth = store->depth;
    figures->bytes = gx_store_bytes(store);
}

void gx_search_nodes_in(const gx_search *search, uint64_t counts[GW_STATE_COUNT])
{
    uint64_t node;

    memset(counts, 0, GW_STATE_COUNT * sizeof counts[0]);
    for (node = 0U; node < search->store.nodes; node++) {
        counts[gx_state_of(search->store.codes[node])]++;
    }
}

uint64_t gx_search_row_ticks(const gx_search *search, int32_t row)
{
    return search->row_ticks[row];
}

const uint64_t *gx_search_codes(const gx_search *search)
{
    return search->store.codes;
}

gx_tick gx_search_first(const gx_search *search, int32_t kind, uint32_t subject)
{
    return search->notes[kind][subject];
}

int32_t gx_holds_after_reset(uint32_t formula)
{
    gw_sequencer memory;
    int32_t outputs[GW_OUTPUT_SLOTS];

    gw_sequencer_reset(&memory);
    gw_sequencer_outputs(&memory, outputs);
    return gx_holds(formula, memory.state, memory.variables, outputs);
}

void gx_search_situations(const gx_search *search, uint32_t nodes[GX_LIST_COUNT])
{
    memcpy(nodes, search->seen, sizeof search->seen);
}

void gx_memory_of(const gx_search *search, uint32_t node, gw_sequencer *memory)
{
    gx_decode(search->store.codes[node], memory);
}

void gx_probe(const gx_search *search, uint32_t node, uint64_t count,
              const int32_t inputs[][GW_INPUT_SLOTS], int32_t rows[], int32_t states[],
              int32_t variables[][GW_VARIABLE_SLOTS], int32_t outputs[][GW_OUTPUT_SLOTS])
{
    gw_sequencer before;
    uint64_t index;

    gx_decode(search->store.codes[node], &before);
    for (index = 0U; index < count; index++) {
        gw_sequencer after = before;

        rows[index] = gw_sequencer_step(&after, inputs[index]);
        states[index] = after.state;
        memcpy(variables[index], after.variables, sizeof after.variables);
        gw_sequencer_outputs(&after, outputs[index]);
    }
}
