/*
 * Gainwright, exhaustive exploration: breadth-first search. See gx_search.h.
 *
 * In every node all vectors that behave in different ways are tried. Where the variables make the
 * conditions of the state's table depend on the inputs in a way not seen before, all others are
 * tried too: so every truth value that all these conditions can have together in a reachable node
 * has been put to the compiled step function.
 *
 * Of each node are kept its code (8 bytes), its number in the page set (4 bytes and the unused rest
 * of its page), the index of its first edge (8 bytes), 4 bytes per edge, and its marks.
 */
#include "gx_search.h"

#include <stdlib.h>
#include <string.h>

#define MARK_WORDS ((GX_MARK_COUNT + 31) / 32)
#define FIRST_CAPACITY UINT64_C(4096)
/* Successors of a node that are looked through for one that is there already; more edges than
 * necessary do no harm. */
#define LOOK_BACK 24U
/* Situations of a state that are remembered; forgetting one only costs time. */
#define MOST_SITUATIONS 64U

static const uint32_t note_sizes[GX_NOTE_KINDS] = {
    GX_REQUIREMENT_SLOTS, GX_REQUIREMENT_SLOTS,
    GW_STATE_COUNT,       GW_STATE_COUNT,
    GW_ROW_COUNT,         GW_VARIABLE_SLOTS,
    GW_STATE_COUNT,       GW_ROW_COUNT * GW_CONDITION_SLOTS};

typedef struct {
    uint64_t values[MOST_SITUATIONS];
    uint32_t count;
} situation_list;

struct gx_search {
    gx_page_set pages;
    uint64_t most_nodes;
    uint64_t node_capacity;
    uint64_t edge_capacity;
    uint64_t *codes;
    uint64_t *first_edges; /* One more than nodes expanded. */
    uint32_t *targets;
    uint32_t *marks; /* MARK_WORDS per node. */
    gx_figures figures;
    uint64_t level_end; /* First node that is one tick farther away. */
    gw_variable_set saturated;
    gx_tick *notes[GX_NOTE_KINDS];
    uint64_t nodes_in[GW_STATE_COUNT];
    uint64_t row_ticks[GW_ROW_COUNT];
    situation_list situations[GW_STATE_COUNT]; /* In which all vectors were tried. */
    int32_t result;
};

static void note(gx_search *search, int32_t kind, uint32_t subject, uint64_t node, uint32_t vector)
{
    gx_tick *first = &search->notes[kind][subject];

    if (first->node == GX_NOWHERE) {
        first->node = (uint32_t)node;
        first->vector = vector;
    }
}

static int32_t grow(void *array, uint64_t bytes)
{
    void **place = array;
    void *larger = realloc(*place, (size_t)bytes);

    if (larger == NULL) {
        return 0;
    }
    *place = larger;
    return 1;
}

static int32_t reserve_nodes(gx_search *search)
{
    const uint64_t capacity = search->node_capacity + (search->node_capacity / 2U);

    if (search->figures.nodes < search->node_capacity) {
        return 1;
    }
    if (!grow(&search->codes, capacity * sizeof *search->codes)
        || !grow(&search->first_edges, (capacity + 1U) * sizeof *search->first_edges)
        || !grow(&search->marks, (capacity * MARK_WORDS + 1U) * sizeof *search->marks)) {
        return 0;
    }
    search->node_capacity = capacity;
    return 1;
}

static int32_t push_edge(gx_search *search, uint32_t target)
{
    if (search->figures.edges == search->edge_capacity) {
        const uint64_t capacity = search->edge_capacity + (search->edge_capacity / 2U);

        if (!grow(&search->targets, capacity * sizeof *search->targets)) {
            return 0;
        }
        search->edge_capacity = capacity;
    }
    search->targets[search->figures.edges] = target;
    search->figures.edges++;
    return 1;
}

/* The number of a code, found now if it was not before; GX_NOWHERE ends the search. */
static uint32_t number_of(gx_search *search, uint64_t code, int32_t state)
{
    uint32_t *place = gx_pages_place(&search->pages, code);
    const uint64_t node = search->figures.nodes;

    if (place == NULL) {
        search->result = GX_NO_MEMORY;
        return GX_NOWHERE;
    }
    if (*place != 0U) {
        return *place - 1U;
    }
    if (node >= search->most_nodes) {
        search->result = GX_TOO_MANY;
        return GX_NOWHERE;
    }
    if (!reserve_nodes(search)) {
        search->result = GX_NO_MEMORY;
        return GX_NOWHERE;
    }
    *place = (uint32_t)node + 1U;
    search->codes[node] = code;
    memset(&search->marks[node * MARK_WORDS], 0, MARK_WORDS * sizeof *search->marks);
    search->figures.nodes++;
    search->nodes_in[state]++;
    return (uint32_t)node;
}

static int32_t allocate(gx_search *search)
{
    int32_t kind;

    search->node_capacity = FIRST_CAPACITY;
    search->edge_capacity = FIRST_CAPACITY;
    search->codes = malloc(FIRST_CAPACITY * sizeof *search->codes);
    search->first_edges = malloc((FIRST_CAPACITY + 1U) * sizeof *search->first_edges);
    search->targets = malloc(FIRST_CAPACITY * sizeof *search->targets);
    search->marks = malloc((FIRST_CAPACITY * MARK_WORDS + 1U) * sizeof *search->marks);
    for (kind = 0; kind < GX_NOTE_KINDS; kind++) {
        const size_t bytes = note_sizes[kind] * sizeof *search->notes[kind];

        search->notes[kind] = malloc(bytes);
        if (search->notes[kind] == NULL) {
            return 0;
        }
        memset(search->notes[kind], 0xFF, bytes);
    }
    return (search->codes != NULL) && (search->first_edges != NULL) && (search->targets != NULL)
        && (search->marks != NULL) && gx_pages_init(&search->pages);
}

gx_search *gx_search_new(uint64_t most_nodes)
{
    gx_search *search = calloc(1U, sizeof *search);
    gw_sequencer memory;

    if (search == NULL) {
        return NULL;
    }
    if (!allocate(search)) {
        gx_search_free(search);
        return NULL;
    }
    search->most_nodes = (most_nodes < GX_NOWHERE - 1U) ? most_nodes : GX_NOWHERE - 1U;
    search->level_end = 1U;
    search->first_edges[0] = 0U;
    gw_sequencer_reset(&memory);
    (void)number_of(search, gx_encode(&memory), memory.state);
    return search;
}

void gx_search_free(gx_search *search)
{
    int32_t kind;

    if (search == NULL) {
        return;
    }
    gx_pages_free(&search->pages);
    free(search->codes);
    free(search->first_edges);
    free(search->targets);
    free(search->marks);
    for (kind = 0; kind < GX_NOTE_KINDS; kind++) {
        free(search->notes[kind]);
    }
    free(search);
}

static void judge_moment(gx_search *search, const gw_sequencer *memory, uint64_t node)
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

/* Note what was found over a tick; marks of the target are for responses that it begins. */
static void note_found(gx_search *search, const uint16_t found[], uint32_t count, uint64_t node,
                       uint32_t vector, uint32_t target)
{
    uint32_t index;

    for (index = 0U; index < count; index++) {
        const int16_t bit = gx_mark_bit[found[index]];

        note(search, GX_TICK, found[index], node, vector);
        if (bit >= 0) {
            search->marks[(uint64_t)target * MARK_WORDS + (uint32_t)bit / 32U] |=
                UINT32_C(1) << ((uint32_t)bit % 32U);
        }
    }
}

/* Whether the variables contribute to the conditions of the state what they never did before. */
static int32_t is_new_situation(gx_search *search, const gw_sequencer *memory)
{
    const uint64_t situation = gx_situation(memory->state, memory->variables);
    situation_list *seen = &search->situations[memory->state];
    uint32_t index;

    if (situation == GX_ANY_SITUATION) {
        return 1;
    }
    for (index = 0U; index < seen->count; index++) {
        if (seen->values[index] == situation) {
            return 0;
        }
    }
    if (seen->count < MOST_SITUATIONS) {
        seen->values[seen->count] = situation;
        seen->count++;
    }
    return 1;
}

/* For MC/DC of the rows: all literals but one hold. */
static void note_single_misses(gx_search *search, const gw_sequencer *memory, uint64_t node)
{
    const int32_t state = memory->state;
    uint32_t vector;
    uint32_t index;

    for (vector = gx_first_vector[state]; vector < gx_first_vector[state + 1]; vector++) {
        const gw_condition_set bits = gw_trial_conditions(gx_vectors[vector], memory->variables);

        for (index = gw_trial_first_row[state]; index < gw_trial_first_row[state + 1]; index++) {
            const gw_row *row = &gw_trial_rows[index];
            const gw_condition_set missed = (bits ^ row->value) & row->mask;
            uint32_t condition = 0U;
            uint32_t subject;

            if ((missed == 0U) || ((missed & (missed - 1U)) != 0U)) {
                continue;
            }
            while ((missed >> condition) != 1U) {
                condition++;
            }
            subject = (row->number * (uint32_t)GW_CONDITION_SLOTS) + condition;
            note(search, GX_SINGLE_MISS, subject, node, vector);
        }
    }
}

static void note_saturated(gx_search *search, gw_variable_set saturated, uint64_t node,
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

static int32_t has_edge(const gx_search *search, uint64_t first, uint32_t target)
{
    uint64_t edge = search->figures.edges;

    while (edge > first) {
        edge--;
        if (search->targets[edge] == target) {
            return 1;
        }
    }
    return 0;
}

static int32_t add_edge(gx_search *search, uint64_t first, uint32_t target)
{
    const uint64_t edges = search->figures.edges;
    const uint64_t oldest = (edges - first > LOOK_BACK) ? edges - LOOK_BACK : first;

    return has_edge(search, oldest, target) || push_edge(search, target);
}

static int32_t expand(gx_search *search, uint64_t node)
{
    const uint64_t first_edge = search->figures.edges;
    gw_sequencer before;
    uint64_t last_code = 0U;
    int32_t last_row = -1;
    uint32_t target = GX_NOWHERE;
    uint32_t vector;
    uint32_t distinct_end;
    uint32_t end;

    gx_decode(search->codes[node], &before);
    judge_moment(search, &before, node);
    vector = gx_first_vector[before.state];
    distinct_end = vector + gx_distinct_vectors[before.state];
    end = distinct_end;
    if (is_new_situation(search, &before)) {
        end = gx_first_vector[before.state + 1];
        note_single_misses(search, &before, node);
    }
    for (; vector < end; vector++) {
        gw_sequencer after = before;
        uint16_t found[GX_REQUIREMENT_SLOTS];
        const int32_t row = gw_sequencer_advance(&after, gx_vectors[vector]);
        uint64_t code;
        uint32_t count;

        if (row < 0) {
            note(search, (row == GW_NO_ROW) ? GX_NO_ROW_HELD : GX_ROWS_HELD,
                 (uint32_t)before.state, node, vector);
            continue;
        }
        search->row_ticks[row]++;
        code = gx_encode(&after);
        if ((row != last_row) || (code != last_code)) {
            if (search->row_ticks[row] == 1U) {
                note(search, GX_ROW_TAKEN, (uint32_t)row, node, vector);
            }
            target = number_of(search, code, after.state);
            if ((vector >= distinct_end) && !has_edge(search, first_edge, target)) {
                note(search, GX_UNEXPECTED, (uint32_t)before.state, node, vector);
            }
            if ((target == GX_NOWHERE) || !add_edge(search, first_edge, target)) {
                return 0;
            }
            count = gx_judge_move(row, before.variables, after.variables, found);
            note_found(search, found, count, node, vector, target);
            last_code = code;
            last_row = row;
        }
        if ((after.saturated & ~search->saturated) != 0U) {
            note_saturated(search, after.saturated, node, vector);
        }
        count = gx_judge_tick(row, gx_vectors[vector], before.variables, after.variables, found);
        note_found(search, found, count, node, vector, target);
    }
    search->figures.ticks += end - gx_first_vector[before.state];
    return 1;
}

int32_t gx_search_run(gx_search *search, uint64_t nodes)
{
    gx_figures *figures = &search->figures;

    for (; nodes > 0U; nodes--) {
        if (figures->expanded == figures->nodes) {
            search->result = GX_COMPLETE;
        }
        if (search->result != GX_MORE) {
            break;
        }
        if (figures->expanded == search->level_end) {
            figures->depth++;
            search->level_end = figures->nodes;
        }
        if (!expand(search, figures->expanded)) {
            if (search->result == GX_MORE) {
                search->result = GX_NO_MEMORY;
            }
            break;
        }
        figures->expanded++;
        search->first_edges[figures->expanded] = figures->edges;
    }
    return search->result;
}

void gx_search_figures(const gx_search *search, gx_figures *figures)
{
    const uint64_t per_node = sizeof *search->codes + sizeof *search->first_edges
        + (MARK_WORDS * sizeof *search->marks);

    *figures = search->figures;
    figures->bytes = gx_pages_bytes(&search->pages) + (search->node_capacity * per_node)
        + (search->edge_capacity * sizeof *search->targets);
}

uint64_t gx_search_nodes_in(const gx_search *search, int32_t state)
{
    return search->nodes_in[state];
}

uint64_t gx_search_row_ticks(const gx_search *search, int32_t row)
{
    return search->row_ticks[row];
}

gx_tick gx_search_first(const gx_search *search, int32_t kind, uint32_t subject)
{
    return search->notes[kind][subject];
}

int32_t gx_search_state(const gx_search *search, uint32_t node)
{
    return gx_state_of(search->codes[node]);
}

void gx_search_memory(const gx_search *search, uint32_t node, gw_sequencer *memory)
{
    gx_decode(search->codes[node], memory);
    memory->saturated = 0U;
}

uint64_t gx_search_first_edge(const gx_search *search, uint32_t node)
{
    return search->first_edges[node];
}

const uint32_t *gx_search_targets(const gx_search *search)
{
    return search->targets;
}

int32_t gx_search_marked(const gx_search *search, uint32_t node, uint32_t requirement)
{
    const uint32_t bit = (uint32_t)gx_mark_bit[requirement];

    return (int32_t)((search->marks[(uint64_t)node * MARK_WORDS + bit / 32U] >> (bit % 32U)) & 1U);
}
