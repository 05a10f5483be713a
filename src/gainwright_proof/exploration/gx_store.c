/*
 * Gainwright, exhaustive exploration: nodes, edges and queue. See gx_store.h.
 */
#include "gx_store.h"

#include <stdlib.h>
#include <string.h>

#define MARK_WORDS ((GX_MARK_COUNT + 31) / 32)
#define FIRST_CAPACITY UINT64_C(4096)
/* Edges of a node that are looked through for one that is there already; more edges than necessary
 * do no harm. */
#define LOOK_BACK 24U

int32_t gx_store_init(gx_store *store, uint64_t most_nodes)
{
    memset(store, 0, sizeof *store);
    memset(store->waiting, 0xFF, sizeof store->waiting);
    memset(store->found, 0xFF, sizeof store->found);
    store->most_nodes = (most_nodes < GX_NOWHERE - 1U) ? most_nodes : GX_NOWHERE - 1U;
    store->node_capacity = FIRST_CAPACITY;
    store->edge_capacity = FIRST_CAPACITY;
    store->codes = malloc(FIRST_CAPACITY * sizeof *store->codes);
    store->edges_begin = malloc(FIRST_CAPACITY * sizeof *store->edges_begin);
    store->edge_counts = malloc(FIRST_CAPACITY * sizeof *store->edge_counts);
    store->targets = malloc(FIRST_CAPACITY * sizeof *store->targets);
    store->marks = malloc(FIRST_CAPACITY * MARK_WORDS * sizeof *store->marks);
    return (store->codes != NULL) && (store->edges_begin != NULL) && (store->edge_counts != NULL)
        && (store->targets != NULL) && (store->marks != NULL) && gx_pages_init(&store->pages);
}

void gx_store_free(gx_store *store)
{
    gx_pages_free(&store->pages);
    free(store->codes);
    free(store->edges_begin);
    free(store->edge_counts);
    free(store->targets);
    free(store->marks);
}

uint64_t gx_store_bytes(const gx_store *store)
{
    const uint64_t per_node = sizeof *store->codes + sizeof *store->edges_begin
        + sizeof *store->edge_counts + (MARK_WORDS * sizeof *store->marks);

    return gx_pages_bytes(&store->pages) + (store->node_capacity * per_node)
        + (store->edge_capacity * sizeof *store->targets);
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

GX_SELDOM
static int32_t grow_nodes(gx_store *store)
{
    const uint64_t capacity = store->node_capacity + (store->node_capacity / 2U);

    if (!grow(&store->codes, capacity * sizeof *store->codes)
        || !grow(&store->edges_begin, capacity * sizeof *store->edges_begin)
        || !grow(&store->edge_counts, capacity * sizeof *store->edge_counts)
        || !grow(&store->marks, capacity * MARK_WORDS * sizeof *store->marks)) {
        return 0;
    }
    store->node_capacity = capacity;
    return 1;
}

static uint32_t refuse(gx_store *store, int32_t problem)
{
    store->problem = problem;
    return GX_NOWHERE;
}

uint32_t gx_store_number(gx_store *store, const gw_sequencer *memory, uint64_t code)
{
    uint32_t *place = gx_pages_place(&store->pages, code);
    const uint32_t node = (uint32_t)store->nodes;
    uint32_t list;

    if (place == NULL) {
        return refuse(store, GX_NO_MEMORY);
    }
    if (*place != 0U) {
        return *place - 1U;
    }
    if (store->nodes >= store->most_nodes) {
        return refuse(store, GX_TOO_MANY);
    }
    if ((store->nodes == store->node_capacity) && !grow_nodes(store)) {
        return refuse(store, GX_NO_MEMORY);
    }
    *place = node + 1U;
    list = gx_list_of(memory->state, memory->variables);
    store->codes[node] = code;
    store->edges_begin[node] = UINT64_MAX;
    store->edge_counts[node] = store->found[list];
    store->found[list] = node;
    memset(&store->marks[(uint64_t)node * MARK_WORDS], 0, MARK_WORDS * sizeof *store->marks);
    store->nodes++;
    return node;
}

uint32_t gx_store_begin(gx_store *store)
{
    uint32_t node;

    if (store->expanded == store->nodes) {
        return GX_NOWHERE;
    }
    while (store->waiting[store->list] == GX_NOWHERE) {
        store->list++;
        if (store->list == GX_LIST_COUNT) {
            /* All nodes of this tick are expanded. The reset is found before the first tick. */
            store->depth += (store->expanded > 0U) ? 1U : 0U;
            store->list = 0U;
            memcpy(store->waiting, store->found, sizeof store->waiting);
            memset(store->found, 0xFF, sizeof store->found);
        }
    }
    node = store->waiting[store->list];
    store->waiting[store->list] = store->edge_counts[node];
    store->edges_begin[node] = store->edges;
    store->edge_counts[node] = 0U;
    return node;
}

void gx_store_finish(gx_store *store, uint32_t node)
{
    store->edge_counts[node] = (uint32_t)(store->edges - store->edges_begin[node]);
    store->expanded++;
}

static int32_t among(const gx_store *store, uint64_t first, uint32_t target)
{
    uint64_t edge = store->edges;

    while (edge > first) {
        edge--;
        if (store->targets[edge] == target) {
            return 1;
        }
    }
    return 0;
}

int32_t gx_store_has_edge(const gx_store *store, uint32_t node, uint32_t target)
{
    return among(store, store->edges_begin[node], target);
}

GX_SELDOM
static int32_t grow_edges(gx_store *store)
{
    const uint64_t capacity = store->edge_capacity + (store->edge_capacity / 2U);

    if (!grow(&store->targets, capacity * sizeof *store->targets)) {
        return 0;
    }
    store->edge_capacity = capacity;
    return 1;
}

int32_t gx_store_edge(gx_store *store, uint32_t node, uint32_t target)
{
    const uint64_t begin = store->edges_begin[node];
    const uint64_t oldest = (store->edges - begin > LOOK_BACK) ? store->edges - LOOK_BACK : begin;

    if (among(store, oldest, target)) {
        return 1;
    }
    if ((store->edges == store->edge_capacity) && !grow_edges(store)) {
        store->problem = GX_NO_MEMORY;
        return 0;
    }
    store->targets[store->edges] = target;
    store->edges++;
    return 1;
}

static uint32_t *word(const gx_store *store, uint32_t node, uint32_t requirement)
{
    return &store->marks[((uint64_t)node * MARK_WORDS) + ((uint32_t)gx_mark_bit[requirement] / 32U)];
}

void gx_store_mark(gx_store *store, uint32_t node, uint32_t requirement)
{
    *word(store, node, requirement) |= UINT32_C(1) << ((uint32_t)gx_mark_bit[requirement] % 32U);
}

int32_t gx_store_marked(const gx_store *store, uint32_t node, uint32_t requirement)
{
    const uint32_t shift = (uint32_t)gx_mark_bit[requirement] % 32U;

    return (int32_t)((*word(store, node, requirement) >> shift) & 1U);
}
