/*
 * Gainwright, exhaustive exploration: what folded waits stand for. See gx_folded.h.
 */
#include "gx_folded.h"

#include <stdlib.h>
#include <string.h>

/* A value that time passes from: it is left out, or the first that is. */
typedef struct {
    uint64_t distance;
    uint32_t target;
    uint32_t left; /* Ticks to target. */
} arrival;

static int compare_arrivals(const void *a, const void *b)
{
    const arrival *one = a;
    const arrival *other = b;

    if (one->target != other->target) {
        return (one->target < other->target) ? -1 : 1;
    }
    return (one->left > other->left) ? -1 : (int)(one->left < other->left);
}

/* All values from which time is known to pass, by target, the farthest from it first; NULL if memory is
 * short. */
static arrival *all_arrivals(const gx_store *store, uint64_t *count)
{
    arrival *all = malloc((size_t)(store->edges + 1U) * sizeof *all);
    uint32_t node;

    *count = 0U;
    for (node = 0U; (all != NULL) && (node < store->nodes); node++) {
        uint64_t edge;

        for (edge = gx_edges_begin(store, node); edge < gx_edges_end(store, node); edge++) {
            if (gx_edge_ticks(store, edge) > 1U) {
                all[*count].distance = store->distances[node] + 1U;
                all[*count].target = store->targets[edge];
                all[*count].left = gx_edge_ticks(store, edge) - 1U;
                (*count)++;
            }
        }
    }
    if (all != NULL) {
        qsort(all, (size_t)*count, sizeof *all, compare_arrivals);
    }
    return all;
}

/* Ticks to the farthest value, on the shortest ways: that to a value may lead over the one before it. */
static int32_t farthest_arrival(const gx_store *store, uint64_t *farthest)
{
    uint64_t count;
    arrival *all = all_arrivals(store, &count);
    uint64_t way = UINT64_MAX;
    uint64_t k;

    if (all == NULL) {
        return 0;
    }
    for (k = 0U; k < count; k++) {
        const int32_t is_last = (k + 1U == count) || (all[k + 1U].target != all[k].target);
        const uint32_t until = is_last ? 1U : all[k + 1U].left;

        way = (all[k].distance < way) ? all[k].distance : way;
        if (way + (all[k].left - until) > *farthest) {
            *farthest = way + (all[k].left - until);
        }
        way = is_last ? UINT64_MAX : way + (all[k].left - until);
    }
    free(all);
    return 1;
}

void gx_search_standing(const gx_search *search, gx_figures *figures)
{
    const gx_store *store = &search->store;

    figures->nodes = store->nodes;
    figures->held = store->nodes;
    figures->expanded = store->expanded;
    figures->walked = search->walked;
    figures->ticks = search->ticks;
    figures->edges = store->edges;
    figures->depth = store->depth;
    figures->bytes = gx_store_bytes(store);
}

int32_t gx_search_figures(const gx_search *search, gx_figures *figures)
{
    const gx_store *store = &search->store;
    uint32_t node;

    gx_search_standing(search, figures);
    if (store->distances == NULL) {
        return 1;
    }
    for (node = 0U; node < store->nodes; node++) {
        const uint64_t left_out = gx_left_out(store, node);

        figures->nodes += left_out;
        figures->edges += left_out * store->edge_counts[node];
        if ((store->edges_begin[node] != UINT64_MAX)
            && (store->distances[node] > figures->depth)) {
            figures->depth = store->distances[node];
        }
    }
    return farthest_arrival(store, &figures->depth);
}

void gx_search_nodes_in(const gx_search *search, uint64_t counts[GW_STATE_COUNT])
{
    const gx_store *store = &search->store;
    uint32_t node;

    memset(counts, 0, GW_STATE_COUNT * sizeof counts[0]);
    for (node = 0U; node < store->nodes; node++) {
        counts[gx_state_of(store->codes[node])] += 1U + gx_left_out(store, node);
    }
}
