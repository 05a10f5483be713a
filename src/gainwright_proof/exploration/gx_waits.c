/*
 * Gainwright, exhaustive exploration: the times that a search shows. See gx_graph.h.
 */
#include "gx_graph.h"

#include <stdlib.h>
#include <string.h>

/* What waits[] holds besides ticks. */
#define UNSEEN UINT64_MAX
#define OPEN (UINT64_MAX - 1U)
#define NEVER (UINT64_MAX - 2U)

/* One node on the way of the depth-first search. */
typedef struct {
    uint64_t edge; /* Next edge to follow. */
    uint64_t longest; /* Wait over the edges followed so far. */
    uint32_t node;
} step;

typedef struct {
    const gx_search *search;
    const uint32_t *targets;
    uint64_t *waits;
    step *steps;
    uint64_t depth;
    uint64_t capacity;
    uint32_t formula;
} walk;

static int32_t begin_walk(walk *w, const gx_search *search, uint32_t formula, uint64_t waits[])
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
    if (gx_node_holds(w->search, node, w->formula) != 0) {
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

/* The wait over an edge. NEVER is larger than every number of ticks. Where the formula holds at the
 * end of time that passes it held before, so that the wait was over with the first tick. */
static uint64_t wait_over(const gx_search *search, const uint64_t waits[], uint64_t edge)
{
    const uint64_t after = waits[search->store.targets[edge]];

    if (after == 0U) {
        return 1U;
    }
    return (after >= NEVER) ? after : after + gx_edge_ticks(&search->store, edge);
}

static void lengthen(const walk *w, step *top, uint64_t edge)
{
    const uint64_t wait = wait_over(w->search, w->waits, edge);

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

    w->waits[top->node] = has_no_edge ? NEVER : top->longest;
    w->depth--;
    if (w->depth > 0U) {
        step *below = &w->steps[w->depth - 1U];

        lengthen(w, below, below->edge - 1U);
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
            if (w->waits[target] == 0U) {
                lengthen(w, top, top->edge - 1U);
            }
        } else if (w->waits[target] == OPEN) {
            top->longest = NEVER;
        } else {
            lengthen(w, top, top->edge - 1U);
        }
    }
    return 1;
}

static void account(const gx_search *search, gx_wait *result, uint32_t node, uint64_t wait,
                    uint64_t limit)
{
    if (((wait == NEVER) || (wait > limit))
        && ((result->first_late == GX_NOWHERE)
            || (gx_distance_of(search, node) < gx_distance_of(search, result->first_late)))) {
        result->first_late = node;
    }
    if (wait == NEVER) {
        result->longest = GX_ENDLESS;
    } else if ((result->longest != GX_ENDLESS) && ((int64_t)wait > result->longest)) {
        result->longest = (int64_t)wait;
    }
}

/* The wait after a tick that begins it. */
static uint64_t wait_after(const gx_begin *begin, const uint64_t waits[])
{
    const uint64_t wait = waits[begin->target];

    return ((wait == 0U) || (wait >= NEVER)) ? wait : wait + begin->ticks;
}

static gx_wait wait_from(const gx_search *search, uint32_t formula, uint64_t limit,
                         uint64_t waits[], int32_t (*starts)(const gx_search *, uint32_t, uint32_t),
                         uint32_t what, int32_t by_tick)
{
    const gx_store *store = &search->store;
    gx_wait result = {0, GX_NOWHERE};
    int32_t sound = 1;
    uint32_t node;
    uint64_t index;
    walk w;

    if (!begin_walk(&w, search, formula, waits)) {
        result.longest = GX_SHORT_OF_MEMORY;
        return result;
    }
    for (node = 0U; (node < store->nodes) && sound; node++) {
        if (starts(search, node, what) != 0) {
            sound = measure(&w, node);
            account(search, &result, node, waits[node], limit);
        }
    }
    for (index = 0U; (by_tick != 0) && (index < store->begin_count) && sound; index++) {
        if (store->begins[index].requirement == what) {
            sound = measure(&w, store->begins[index].target);
            account(search, &result, store->begins[index].node,
                    wait_after(&store->begins[index], waits), limit);
        }
    }
    if (!sound) {
        result.longest = GX_SHORT_OF_MEMORY;
    }
    free(w.steps);
    return result;
}

gx_wait gx_wait_after_moment(const gx_search *search, uint32_t formula, uint32_t trigger,
                             uint64_t limit, uint64_t waits[])
{
    return wait_from(search, formula, limit, waits, gx_node_holds, trigger, 0);
}

static int32_t marked(const gx_search *search, uint32_t node, uint32_t requirement)
{
    return gx_store_marked(&search->store, node, requirement);
}

gx_wait gx_wait_after_tick(const gx_search *search, uint32_t requirement, uint64_t limit,
                           uint64_t waits[])
{
    return wait_from(search, 2U * requirement, limit, waits, marked, requirement, 1);
}

uint64_t gx_wait_path(const gx_search *search, const uint64_t waits[], uint32_t start,
                      uint64_t limit, uint64_t most, uint32_t path[], uint64_t ticks[],
                      uint8_t passed[])
{
    uint64_t length = 0U;
    uint64_t past = 0U;
    uint32_t node = start;

    while ((past < limit) && (length < most) && (waits[node] != 0U)) {
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
            if (wait_over(search, waits, edge) > wait_over(search, waits, best)) {
                best = edge;
            }
        }
        ticks[length] = gx_edge_ticks(&search->store, best);
        past += ticks[length];
        node = search->store.targets[best];
        path[length] = node;
        length++;
    }
    return length;
}

/* The tick of a node over which a time begins that is too long; node GX_NOWHERE if there is none. */
static gx_late_tick late_from(const gx_search *search, uint32_t node, uint32_t requirement,
                              uint64_t limit, const uint64_t waits[])
{
    const gx_store *store = &search->store;
    gx_late_tick late = {GX_NOWHERE, GX_NOWHERE, GX_NOWHERE, 0U};
    uint64_t edge;

    for (edge = gx_edges_begin(store, node);
         (late.vector == GX_NOWHERE) && (edge < gx_edges_end(store, node)); edge++) {
        late.target = store->targets[edge];
        if ((gx_edge_ticks(store, edge) == 1U)
            && gx_store_marked(store, late.target, requirement) && (waits[late.target] > limit)) {
            late.vector = gx_vector_over(search, node, late.target, 1U, (int32_t)requirement);
        }
    }
    late.node = (late.vector == GX_NOWHERE) ? GX_NOWHERE : node;
    return late;
}

/* Of the ticks that lead to what is left out, the nearest; or another that is nearer. */
static gx_late_tick late_begin(const gx_search *search, uint32_t requirement, uint64_t limit,
                               const uint64_t waits[], gx_late_tick nearest)
{
    const gx_store *store = &search->store;
    uint64_t index;

    for (index = 0U; index < store->begin_count; index++) {
        const gx_begin *begin = &store->begins[index];

        if ((begin->requirement == requirement) && (wait_after(begin, waits) > limit)
            && ((nearest.node == GX_NOWHERE)
                || (gx_distance_of(search, begin->node)
                    < gx_distance_of(search, nearest.node)))) {
            nearest.node = begin->node;
            nearest.target = begin->target;
            nearest.ticks = begin->ticks;
            nearest.vector = gx_vector_over(search, begin->node, begin->target,
                                            (uint64_t)begin->ticks + 1U, (int32_t)requirement);
        }
    }
    return nearest;
}

gx_late_tick gx_late_trigger(const gx_search *search, uint32_t requirement, uint64_t limit,
                             const uint64_t waits[])
{
    gx_late_tick nearest = {GX_NOWHERE, GX_NOWHERE, GX_NOWHERE, 0U};
    uint32_t node;

    for (node = 0U; node < search->store.nodes; node++) {
        gx_late_tick late;

        if ((nearest.node != GX_NOWHERE)
            && (gx_distance_of(search, node) >= gx_distance_of(search, nearest.node))) {
            continue;
        }
        late = late_from(search, node, requirement, limit, waits);
        nearest = (late.node == GX_NOWHERE) ? nearest : late;
    }
    return late_begin(search, requirement, limit, waits, nearest);
}
