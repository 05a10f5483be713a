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

#include "gx_notes.h"
#include "gx_pass.h"

#include <stdlib.h>
#include <string.h>

/* The whole way of a tick, exported functions included, in one piece of machine code. */
#if defined(__GNUC__)
#define GX_INLINE_ALL __attribute__((flatten))
#else
#define GX_INLINE_ALL
#endif

gx_search *gx_search_new(uint64_t most_nodes, int32_t folds, const gx_vector vectors[])
{
    gx_search *search = calloc(1U, sizeof *search);
    gw_sequencer memory;

    if (search == NULL) {
        return NULL;
    }
    search->folds = folds;
    search->vectors = vectors;
    if (!gx_store_init(&search->store, most_nodes, folds) || !gx_allocate_notes(search)) {
        gx_search_free(search);
        return NULL;
    }
    memset(search->seen, 0xFF, sizeof search->seen);
    gw_sequencer_reset(&memory);
    (void)gx_store_number(&search->store, &memory, gx_encode(&memory), 0U);
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

/* What the expansion of a node carries from vector to vector. */
typedef struct {
    gw_sequencer before;
    uint64_t last_code;
    int32_t last_row;
    uint32_t node;
    uint32_t target;      /* GX_NOWHERE: only time passes. */
    uint32_t left;        /* Ticks that pass from where the tick leads to before target. */
    uint32_t direction;   /* In which time passes; 0 if it does not. */
    uint32_t pass_vector; /* A vector that lets it pass. */
} expansion;

/* Note what was found over a tick, and for responses that their time begins. Returns 0 if there is no
 * place. */
static int32_t note_found(gx_search *search, const expansion *x, uint32_t vector,
                          const uint16_t found[], uint32_t count)
{
    uint32_t index;

    for (index = 0U; index < count; index++) {
        const gx_begin begin = {x->node, x->target, x->left, found[index]};

        gx_note(search, GX_TICK, found[index], x->node, vector);
        if (gx_mark_bit[found[index]] < 0) {
            continue;
        }
        if ((x->target != GX_NOWHERE) && (x->left == 0U)) {
            gx_store_mark(&search->store, x->target, found[index]);
        } else if (!gx_store_note_begin(&search->store, &begin)) {
            return 0;
        }
    }
    return 1;
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

/* Whether only time passes over a tick, in the direction of this node's first such tick. */
static int32_t passes_time(const gx_search *search, expansion *x, const gw_sequencer *after,
                           uint32_t vector)
{
    const uint32_t direction
        = (search->folds != 0) ? gx_pass_direction(&x->before, after) : 0U;

    if ((direction != 0U) && (x->direction == 0U)) {
        x->direction = direction;
        x->pass_vector = vector;
    }
    return (direction != 0U) && (x->direction == direction);
}

/* Find where a tick leads to: a node, or what an edge stands for over which time passes. Returns 0 if
 * there is no place. */
static int32_t find_target(gx_search *search, expansion *x, const gw_sequencer *after, int32_t row)
{
    const uint64_t known = search->store.nodes;

    if (search->folds != 0) {
        x->target = gx_store_passing(&search->store, after, &x->left);
        if (x->target != GX_NOWHERE) {
            return gx_store_come_to(&search->store, x->target, (uint64_t)x->left + 1U);
        }
    }
    x->left = 0U;
    x->target = gx_store_number(&search->store, after, x->last_code, 1U);
    return (x->target != GX_NOWHERE)
        && ((search->path_rows == NULL) || (x->target < known)
            || keep_rows(search, x->node, x->target, (uint32_t)row));
}

/* The tick leads elsewhere than the one before. Returns 0 if there is no place to store it. */
static int32_t take_edge(gx_search *search, expansion *x, const gw_sequencer *after, int32_t row,
                         uint32_t vector, int32_t expected)
{
    uint16_t found[GX_REQUIREMENT_SLOTS];
    const uint32_t passed = x->direction;
    int32_t is_new;

    if (search->row_ticks[row] == 1U) {
        gx_note(search, GX_ROW_TAKEN, (uint32_t)row, x->node, vector);
    }
    if (passes_time(search, x, after, vector)) {
        x->target = GX_NOWHERE;
        x->left = 0U;
        is_new = (passed == 0U);
    } else {
        if (!find_target(search, x, after, row)) {
            return 0;
        }
        is_new = (expected == 0) && !gx_store_has_edge(&search->store, x->node, x->target);
    }
    if ((expected == 0) && (is_new != 0)) {
        gx_note(search, GX_UNEXPECTED, (uint32_t)x->before.state, x->node, vector);
    }
    return note_found(search, x, vector, found,
                      gx_judge_move(row, x->before.variables, after->variables, found))
        && ((x->target == GX_NOWHERE)
            || gx_store_edge(&search->store, x->node, x->target, x->left + 1U));
}

/* Ticks that may pass over one edge; 0 if all values have to be nodes. */
static uint32_t ticks_of_pass(gx_search *search, const expansion *x)
{
    const uint64_t ticks = gx_pass_ticks(&x->before, x->direction);
    const uint32_t relatives = gx_pass_relatives(search->vectors, &x->before, x->direction, ticks,
                                                 x->pass_vector, x->node, &search->walked);

    if (relatives == GX_PASS_BROKEN) {
        search->store.problem = GX_TELLS_APART;
    }
    return ((relatives >= GX_PASS_BROKEN) || (relatives >= ticks)) ? 0U
                                                                   : (uint32_t)(ticks - relatives);
}

/* The number of where so much time leads to; GX_NOWHERE if there is no place. */
static uint32_t passed_to(gx_search *search, const expansion *x, uint32_t ticks)
{
    gw_sequencer after = x->before;

    gx_pass_on(&after, x->direction, ticks);
    return gx_store_number(&search->store, &after, gx_encode(&after), ticks);
}

/* Times that begin with the first tick in which time passes from this node. */
static void aim_begins(gx_search *search, uint64_t first, uint32_t target, uint32_t left)
{
    gx_store *store = &search->store;
    uint64_t index;

    for (index = first; index < store->begin_count; index++) {
        if (store->begins[index].target == GX_NOWHERE) {
            store->begins[index].target = target;
            store->begins[index].ticks = left;
        }
    }
}

/* Store the edge of time that passes. Returns 0 to end the search. */
GX_SELDOM
static int32_t let_time_pass(gx_search *search, expansion *x, uint64_t first_begin)
{
    gx_store *store = &search->store;
    uint32_t ticks = ticks_of_pass(search, x);
    uint32_t target = (ticks == 0U) ? GX_NOWHERE : passed_to(search, x, ticks);

    /* Edges in two directions would meet nowhere else: what both leave out could not be counted. */
    if ((ticks == 0U)
        || ((target != GX_NOWHERE) && (store->direction[target] != 0U)
            && (store->direction[target] != x->direction))) {
        ticks = 0U;
        target = passed_to(search, x, 1U);
    }
    if ((target == GX_NOWHERE) || (store->problem != GX_STORED)) {
        return 0;
    }
    aim_begins(search, first_begin, target, (ticks == 0U) ? 0U : ticks - 1U);
    return (ticks == 0U) ? gx_store_edge(store, x->node, target, 1U)
                         : gx_store_pass(store, x->node, target, x->direction, ticks);
}

/* Try a vector; an expected one may find new edges. Returns 0 to end the search. */
static int32_t try_vector(gx_search *search, expansion *x, uint32_t vector, int32_t expected)
{
    const int32_t *inputs = search->vectors[vector];
    gw_sequencer after = x->before;
    uint16_t found[GX_REQUIREMENT_SLOTS];
    const int32_t row = gw_sequencer_step(&after, inputs);
    uint64_t code;
    uint32_t count;

    search->ticks++;
    if (row < 0) {
        gx_note(search, (row == GW_NO_ROW) ? GX_NO_ROW_HELD : GX_ROWS_HELD,
             (uint32_t)x->before.state, x->node, vector);
        return 1;
    }
    search->row_ticks[row]++;
    code = gx_encode(&after);
    if ((expected == 0) && !gx_code_is_whole(&after, code)) {
        gx_note(search, GX_UNEXPECTED, (uint32_t)x->before.state, x->node, vector);
    }
    if ((row != x->last_row) || (code != x->last_code)) {
        x->last_row = row;
        x->last_code = code;
        if (!take_edge(search, x, &after, row, vector, expected)) {
            return 0;
        }
    }
    if ((after.saturated & ~search->saturated) != 0U) {
        gx_note_saturated(search, after.saturated, x->node, vector);
    }
    count = gx_judge_tick(row, inputs, x->before.variables, after.variables, found);
    return (count == 0U) || note_found(search, x, vector, found, count);
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
    gx_note_single_misses(search, &x->before, x->node);
    return 1;
}

GX_INLINE_ALL
static int32_t expand(gx_search *search, uint32_t node)
{
    const uint32_t list = search->store.list;
    const uint64_t first_begin = search->store.begin_count;
    expansion x = {.node = node, .last_row = -1};
    uint32_t index;

    gx_decode(search->store.codes[node], &x.before);
    gx_note_moment(search, &x.before, node);
    for (index = gx_list_begin[list]; index < gx_list_begin[list + 1U]; index++) {
        if (!try_vector(search, &x, gx_lists[index], 1)) {
            return 0;
        }
    }
    /* The first list of a state does not stand for one situation. */
    if ((search->seen[list] == GX_NOWHERE) || (list == gx_first_list[x.before.state])) {
        search->seen[list] = (search->seen[list] == GX_NOWHERE) ? node : search->seen[list];
        if (!try_others(search, &x)) {
            return 0;
        }
    }
    return (x.direction == 0U) || let_time_pass(search, &x, first_begin);
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
        uint32_t variable;

        rows[index] = gw_sequencer_step(&after, inputs[index]);
        states[index] = after.state;
        for (variable = 0U; variable < (uint32_t)GW_VARIABLE_SLOTS; variable++) {
            variables[index][variable] = after.variables[variable];
        }
        gw_sequencer_outputs(&after, outputs[index]);
    }
}
