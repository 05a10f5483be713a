/*
 * Gainwright, exhaustive exploration: questions about the whole graph. See gx_graph.h.
 */
#include "gx_graph.h"

#include <stdlib.h>
#include <string.h>

/* What waits[] holds besides ticks. */
#define UNSEEN UINT32_MAX
#define OPEN (UINT32_MAX - 1U)
#define NEVER (UINT32_MAX - 2U)

static int32_t holds(const gx_search *search, uint32_t node, uint32_t formula)
{
    const int8_t known = gx_holds_in[formula][gx_state_of(search->store.codes[node])];
    gw_sequencer memory;
    int32_t outputs[GW_OUTPUT_SLOTS];

    if (known >= 0) {
        return known;
    }
    gx_decode(search->store.codes[node], &memory);
    gw_sequencer_outputs(&memory, outputs);
    return gx_holds(formula, memory.state, memory.variables, outputs);
}

/* One node on the way of the depth-first search. */
typedef struct {
    uint64_t edge; /* Next edge to follow. */
    uint32_t node;
    uint32_t longest; /* Wait over the edges followed so far. */
} step;

typedef struct {
    const gx_search *search;
    const uint32_t *targets;
    uint32_t *waits;
    step *steps;
    uint64_t depth;
    uint64_t capacity;
    uint32_t formula;
} walk;

static int32_t begin_walk(walk *w, const gx_search *search, uint32_t formula, uint32_t waits[])
{
    memset(waits, 0xFF, (size_t)search->store.nodes * sizeof waits[0]);
    w->search = search;
    w->targets = search->store.targets;
    w->waits = waits;
    w->formula = formula;
    w->depth = 0U;
    w->capacity = UINT64_C(1) << 12;
    w->steps = malloc((size_t)w->capacity * sizeof *w->steps);
    return w->steps != NULL;
}

/* Enter a node that is unseen: 0 ticks where the formula holds, open elsewhere. */
static int32_t enter(walk *w, uint32_t node)
{
    if (holds(w->search, node, w->formula) != 0) {
        w->waits[node] = 0U;
        return 1;
    }
    if (w->depth == w->capacity) {
        step *larger = realloc(w->steps, (size_t)(w->capacity * 2U) * sizeof *larger);

        if (larger == NULL) {
            return 0;
        }
        w->steps = larger;
        w->capacity *= 2U;
    }
    w->waits[node] = OPEN;
    w->steps[w->depth].node = node;
    w->steps[w->depth].edge = gx_edges_begin(&w->search->store, node);
    w->steps[w->depth].longest = 0U;
    w->depth++;
    return 1;
}

static void lengthen(step *top, uint32_t wait)
{
    /* NEVER is larger than every number of ticks. */
    if (wait > top->longest) {
        top->longest = wait;
    }
}

/* Leave the node on top: all its edges have been followed. */
static void leave(walk *w)
{
    const step *top = &w->steps[w->depth - 1U];
    const int32_t has_no_edge =
        gx_edges_begin(&w->search->store, top->node) == gx_edges_end(&w->search->store, top->node);
    const uint32_t wait = ((top->longest == NEVER) || has_no_edge) ? NEVER : top->longest + 1U;

    w->waits[top->node] = wait;
    w->depth--;
    if (w->depth > 0U) {
        lengthen(&w->steps[w->depth - 1U], wait);
    }
}

/* The wait from a node: depth first, so that all later nodes are known when a node is left. An edge
 * back to an open node closes a circle on which the formula never holds. */
static int32_t measure(walk *w, uint32_t start)
{
    if (w->waits[start] == UNSEEN && !enter(w, start)) {
        return 0;
    }
    while (w->depth > 0U) {
        step *top = &w->steps[w->depth - 1U];
        uint32_t target;

        if (top->edge == gx_edges_end(&w->search->store, top->node)) {
            leave(w);
            continue;
        }
        target = w->targets[top->edge];
        top->edge++;
        if (w->waits[target] == UNSEEN) {
            if (!enter(w, target)) {
                return 0;
            }
        } else if (w->waits[target] == OPEN) {
            top->longest = NEVER;
        } else {
            lengthen(top, w->waits[target]);
        }
    }
    return 1;
}

static void account(gx_wait *result, uint32_t node, uint32_t wait, uint64_t limit)
{
    if ((result->first_late == GX_NOWHERE) && ((wait == NEVER) || (wait > limit))) {
        result->first_late = node;
    }
    if (wait == NEVER) {
        result->longest = GX_ENDLESS;
    } else if ((result->longest != GX_ENDLESS) && ((int64_t)wait > result->longest)) {
        result->longest = (int64_t)wait;
    }
}

static gx_wait wait_from(const gx_search *search, uint32_t formula, uint64_t limit,
                         uint32_t waits[], int32_t (*starts)(const gx_search *, uint32_t, uint32_t),
                         uint32_t what)
{
    const uint64_t nodes = search->store.nodes;
    gx_wait result = {0, GX_NOWHERE};
    uint32_t node;
    walk w;

    if (!begin_walk(&w, search, formula, waits)) {
        result.longest = GX_SHORT_OF_MEMORY;
        return result;
    }
    for (node = 0U; node < nodes; node++) {
        if (starts(search, node, what) == 0) {
            continue;
        }
        if (!measure(&w, node)) {
            result.longest = GX_SHORT_OF_MEMORY;
            break;
        }
        account(&result, node, waits[node], limit);
    }
    free(w.steps);
    return result;
}

gx_wait gx_wait_after_moment(const gx_search *search, uint32_t formula, uint32_t trigger,
                             uint64_t limit, uint32_t waits[])
{
    return wait_from(search, formula, limit, waits, holds, trigger);
}

static int32_t marked(const gx_search *search, uint32_t node, uint32_t requirement)
{
    return gx_store_marked(&search->store, node, requirement);
}

gx_wait gx_wait_after_tick(const gx_search *search, uint32_t requirement, uint64_t limit,
                           uint32_t waits[])
{
    return wait_from(search, 2U * requirement, limit, waits, marked, requirement);
}

uint64_t gx_wait_path(const gx_search *search, const uint32_t waits[], uint32_t start,
                      uint64_t most, uint32_t path[], uint8_t passed[])
{
    const uint32_t *targets = search->store.targets;
    uint64_t length = 0U;
    uint32_t node = start;

    while ((length < most) && (waits[node] != 0U)) {
        uint64_t edge = gx_edges_begin(&search->store, node);
        const uint64_t end = gx_edges_end(&search->store, node);
        uint64_t best = edge;

        if (passed != NULL) {
            if (passed[node] != 0U) {
                break;
            }
            passed[node] = 1U;
        }
        if (edge == end) {
            break;
        }
        for (; edge < end; edge++) {
            if (waits[targets[edge]] > waits[targets[best]]) {
                best = edge;
            }
        }
        node = targets[best];
        path[length] = node;
        length++;
    }
    return length;
}

/* A node reaches an end if it is one or one of its successors does. Sweeps in falling order carry
 * this along a chain of discovery in one go; they are repeated until nothing changes. */
uint64_t gx_stuck(const gx_search *search, uint8_t reaches[], uint32_t first[])
{
    const uint32_t *targets = search->store.targets;
    const uint64_t nodes = search->store.nodes;
    uint64_t left = nodes;
    uint64_t before;
    uint32_t node;

    memset(reaches, 0, (size_t)nodes);
    do {
        before = left;
        for (node = (uint32_t)nodes; node > 0U;) {
            uint64_t edge;

            node--;
            if (reaches[node] != 0U) {
                continue;
            }
            reaches[node] = (before == nodes) ? (uint8_t)holds(search, node, GX_AT_END) : 0U;
            for (edge = gx_edges_begin(&search->store, node);
                 (reaches[node] == 0U) && (edge < gx_edges_end(&search->store, node));
                 edge++) {
                reaches[node] = reaches[targets[edge]];
            }
            left -= reaches[node];
        }
    } while (left != before);
    first[0] = GX_NOWHERE;
    for (node = 0U; (left > 0U) && (first[0] == GX_NOWHERE); node++) {
        first[0] = (reaches[node] == 0U) ? node : GX_NOWHERE;
    }
    return left;
}

void gx_parents(const gx_search *search, uint32_t parents[])
{
    const uint32_t *targets = search->store.targets;
    uint32_t node;

    memset(parents, 0xFF, (size_t)search->store.nodes * sizeof parents[0]);
    for (node = 0U; node < search->store.nodes; node++) {
        uint64_t edge;

        for (edge = gx_edges_begin(&search->store, node); edge < gx_edges_end(&search->store, node);
             edge++) {
            if ((parents[targets[edge]] == GX_NOWHERE) && (targets[edge] != 0U)) {
                parents[targets[edge]] = node;
            }
        }
    }
}

static int32_t begins(int32_t requirement, int32_t row, uint32_t vector, const gw_sequencer *before,
                      const gw_sequencer *after)
{
    uint16_t found[GX_REQUIREMENT_SLOTS];
    uint32_t count = gx_judge_move(row, before->variables, after->variables, found);

    while (count > 0U) {
        count--;
        if (found[count] == requirement) {
            return 1;
        }
    }
    count = gx_judge_tick(row, gx_vectors[vector], before->variables, after->variables, found);
    while (count > 0U) {
        count--;
        if (found[count] == requirement) {
            return 1;
        }
    }
    return 0;
}

uint32_t gx_vector_between(const gx_search *search, uint32_t node, uint32_t target,
                           int32_t requirement)
{
    gw_sequencer before;
    gw_sequencer wanted;
    uint32_t vector;

    gx_decode(search->store.codes[node], &before);
    gx_decode(search->store.codes[target], &wanted);
    for (vector = gx_first_vector[before.state]; vector < gx_first_vector[before.state + 1];
         vector++) {
        gw_sequencer after = before;
        const int32_t row = gw_sequencer_step(&after, gx_vectors[vector]);

        if ((row >= 0) && (after.state == wanted.state)
            && (memcmp(after.variables, wanted.variables, sizeof after.variables) == 0)
            && ((requirement < 0) || begins(requirement, row, vector, &before, &after))) {
            return vector;
        }
    }
    return GX_NOWHERE;
}

gx_tick gx_late_trigger(const gx_search *search, uint32_t requirement, uint64_t limit,
                        const uint32_t waits[], uint32_t target[])
{
    const uint32_t *targets = search->store.targets;
    const uint64_t nodes = search->store.nodes;
    gx_tick tick = {GX_NOWHERE, GX_NOWHERE};
    uint32_t node;

    for (node = 0U; node < nodes; node++) {
        uint64_t edge;

        for (edge = gx_edges_begin(&search->store, node); edge < gx_edges_end(&search->store, node);
             edge++) {
            const uint32_t to = targets[edge];
            uint32_t vector;

            if (!gx_store_marked(&search->store, to, requirement) || (waits[to] <= limit)) {
                continue;
            }
            vector = gx_vector_between(search, node, to, (int32_t)requirement);
            if (vector != GX_NOWHERE) {
                tick.node = node;
                tick.vector = vector;
                target[0] = to;
                return tick;
            }
        }
    }
    return tick;
}
