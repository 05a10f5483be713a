/*
 * Gainwright, exhaustive exploration: nodes, edges and queue. See gx_store.h.
 */
#include "gx_store.h"

#include "gx_pass.h"

#include <stdlib.h>
#include <string.h>

#define MARK_WORDS ((GX_MARK_COUNT + 31) / 32)
#define FIRST_CAPACITY UINT64_C(4096)
/* Edges of a node that are looked through for one that is there already; more edges than necessary
 * do no harm. */
#define LOOK_BACK 24U

static int32_t init_folded(gx_store *store)
{
    store->distances = malloc(FIRST_CAPACITY * sizeof *store->distances);
    store->edge_ticks = malloc(FIRST_CAPACITY * sizeof *store->edge_ticks);
    store->pass_count = malloc(FIRST_CAPACITY * sizeof *store->pass_count);
    store->longest = malloc(FIRST_CAPACITY * sizeof *store->longest);
    store->direction = malloc(FIRST_CAPACITY * sizeof *store->direction);
    return (store->distances != NULL) && (store->edge_ticks != NULL) && (store->pass_count != NULL)
        && (store->longest != NULL) && (store->direction != NULL);
}

int32_t gx_store_init(gx_store *store, uint64_t most_nodes, int32_t folds)
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
        && (store->targets != NULL) && (store->marks != NULL) && gx_pages_init(&store->pages)
        && ((folds == 0) || init_folded(store));
}

void gx_store_free(gx_store *store)
{
    gx_pages_free(&store->pages);
    free(store->codes);
    free(store->edges_begin);
    free(store->edge_counts);
    free(store->targets);
    free(store->marks);
    free(store->distances);
    free(store->edge_ticks);
    free(store->pass_count);
    free(store->longest);
    free(store->direction);
    free(store->begins);
    free(store->near.entries);
}

uint64_t gx_store_bytes(const gx_store *store)
{
    const uint64_t folded = sizeof *store->distances + sizeof *store->pass_count
        + sizeof *store->longest + sizeof *store->direction;
    const uint64_t per_node = sizeof *store->codes + sizeof *store->edges_begin
        + sizeof *store->edge_counts + (MARK_WORDS * sizeof *store->marks)
        + ((store->distances == NULL) ? 0U : folded);
    const uint64_t per_edge = sizeof *store->targets
        + ((store->edge_ticks == NULL) ? 0U : sizeof *store->edge_ticks);

    return gx_pages_bytes(&store->pages) + (store->node_capacity * per_node)
        + (store->edge_capacity * per_edge)
        + (store->near.capacity * sizeof *store->near.entries)
        + (store->begin_capacity * sizeof *store->begins);
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
    if ((store->distances != NULL)
        && (!grow(&store->distances, capacity * sizeof *store->distances)
            || !grow(&store->pass_count, capacity * sizeof *store->pass_count)
            || !grow(&store->longest, capacity * sizeof *store->longest)
            || !grow(&store->direction, capacity * sizeof *store->direction))) {
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

int32_t gx_store_come_to(gx_store *store, uint32_t node, uint64_t ticks)
{
    if (store->distance + ticks < store->distances[node]) {
        store->distances[node] = store->distance + ticks;
        if (!gx_near_put(&store->near, store->distances[node], node)) {
            store->problem = GX_NO_MEMORY;
            return 0;
        }
    }
    return 1;
}

/* Put a new node in the queue. */
static int32_t enqueue(gx_store *store, const gw_sequencer *memory, uint32_t node, uint64_t ticks)
{
    uint32_t list;

    if (store->distances != NULL) {
        store->distances[node] = UINT64_MAX;
        store->pass_count[node] = 0U;
        store->longest[node] = 0U;
        store->direction[node] = 0U;
        return gx_store_come_to(store, node, ticks);
    }
    list = gx_list_of(memory->state, memory->variables);
    store->edge_counts[node] = store->found[list];
    store->found[list] = node;
    return 1;
}

uint32_t gx_store_number(gx_store *store, const gw_sequencer *memory, uint64_t code,
                         uint64_t ticks)
{
    uint32_t *place = gx_pages_place(&store->pages, code);
    const uint32_t node = (uint32_t)store->nodes;

    if (place == NULL) {
        return refuse(store, GX_NO_MEMORY);
    }
    if (*place != 0U) {
        return ((store->distances == NULL)
                || gx_store_come_to(store, *place - 1U, ticks))
            ? *place - 1U
            : GX_NOWHERE;
    }
    if (store->nodes >= store->most_nodes) {
        return refuse(store, GX_TOO_MANY);
    }
    if ((store->nodes == store->node_capacity) && !grow_nodes(store)) {
        return refuse(store, GX_NO_MEMORY);
    }
    *place = node + 1U;
    store->codes[node] = code;
    store->edges_begin[node] = UINT64_MAX;
    store->edge_counts[node] = 0U;
    memset(&store->marks[(uint64_t)node * MARK_WORDS], 0, MARK_WORDS * sizeof *store->marks);
    store->nodes++;
    return enqueue(store, memory, node, ticks) ? node : GX_NOWHERE;
}

/* The next node in the order of distance, by lists of equally near nodes. */
static uint32_t next_in_lists(gx_store *store)
{
    uint32_t node;

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
    return node;
}

/* The next node in the order of distance, where an edge may take many ticks. */
static uint32_t next_near(gx_store *store)
{
    gx_near_entry entry = gx_near_take(&store->near);
    gw_sequencer memory;

    /* A node that was come to on a shorter way later is in the queue twice. */
    while (store->edges_begin[entry.node] != UINT64_MAX) {
        entry = gx_near_take(&store->near);
    }
    gx_decode(store->codes[entry.node], &memory);
    store->list = gx_list_of(memory.state, memory.variables);
    store->distance = entry.ticks;
    return entry.node;
}

uint32_t gx_store_begin(gx_store *store)
{
    uint32_t node;

    if (store->expanded == store->nodes) {
        return GX_NOWHERE;
    }
    node = (store->distances == NULL) ? next_in_lists(store) : next_near(store);
    store->edges_begin[node] = store->edges;
    store->edge_counts[node] = 0U;
    return node;
}

void gx_store_finish(gx_store *store, uint32_t node)
{
    store->edge_counts[node] = (uint32_t)(store->edges - store->edges_begin[node]);
    store->expanded++;
}

int32_t gx_store_has_edge(const gx_store *store, uint32_t node, uint32_t target)
{
    uint64_t edge = store->edges;

    while (edge > store->edges_begin[node]) {
        edge--;
        if (store->targets[edge] == target) {
            return 1;
        }
    }
    return 0;
}

GX_SELDOM
static int32_t grow_edges(gx_store *store)
{
    const uint64_t capacity = store->edge_capacity + (store->edge_capacity / 2U);

    if (!grow(&store->targets, capacity * sizeof *store->targets)
        || ((store->edge_ticks != NULL)
            && !grow(&store->edge_ticks, capacity * sizeof *store->edge_ticks))) {
        return 0;
    }
    store->edge_capacity = capacity;
    return 1;
}

/* Whether a recent edge is the same; begin is the first of the node. */
static int32_t is_stored(const gx_store *store, uint64_t begin, uint32_t target, uint32_t ticks)
{
    const uint64_t oldest = (store->edges - begin > LOOK_BACK) ? store->edges - LOOK_BACK : begin;
    uint64_t edge = store->edges;

    while (edge > oldest) {
        edge--;
        if ((store->targets[edge] == target) && (gx_edge_ticks(store, edge) == ticks)) {
            return 1;
        }
    }
    return 0;
}

int32_t gx_store_edge(gx_store *store, uint32_t node, uint32_t target, uint32_t ticks)
{
    if (is_stored(store, store->edges_begin[node], target, ticks)) {
        return 1;
    }
    if ((store->edges == store->edge_capacity) && !grow_edges(store)) {
        store->problem = GX_NO_MEMORY;
        return 0;
    }
    store->targets[store->edges] = target;
    if (store->edge_ticks != NULL) {
        store->edge_ticks[store->edges] = ticks;
    }
    store->edges++;
    return 1;
}

int32_t gx_store_pass(gx_store *store, uint32_t node, uint32_t target, uint32_t direction,
                      uint32_t ticks)
{
    store->pass_count[target]++;
    store->direction[target] = direction;
    if (ticks > store->longest[target]) {
        store->longest[target] = ticks;
    }
    return gx_store_edge(store, node, target, ticks);
}

/* Whether an edge in one direction stands for a memory; its end is at most as many ticks before the
 * last value as there can be relatives. */
static uint32_t passing_in(gx_store *store, const gw_sequencer *memory, uint32_t direction,
                           uint32_t *ticks)
{
    const uint64_t left = gx_pass_ticks(memory, direction);
    uint32_t short_of;

    for (short_of = 0U; (short_of < GX_MOST_RELATIVES) && (short_of <= left); short_of++) {
        gw_sequencer end = *memory;
        const uint32_t *place;

        *ticks = (uint32_t)(left - short_of);
        gx_pass_on(&end, direction, *ticks);
        place = gx_pages_place(&store->pages, gx_encode(&end));
        if (place == NULL) {
            store->problem = GX_NO_MEMORY;
            return GX_NOWHERE;
        }
        if ((*place != 0U) && (store->direction[*place - 1U] == direction)
            && (store->longest[*place - 1U] >= *ticks)) {
            return *place - 1U;
        }
    }
    return GX_NOWHERE;
}

uint32_t gx_store_passing(gx_store *store, const gw_sequencer *memory, uint32_t *ticks)
{
    uint32_t end = GX_NOWHERE;
    uint32_t direction;

    /* With more timers there are too many directions: such a memory is a node. */
    if ((store->distances == NULL) || (GX_TIMERS > 2)) {
        return GX_NOWHERE;
    }
    for (direction = 1U; (direction < (1U << GX_TIMERS)) && (end == GX_NOWHERE); direction++) {
        if (gx_pass_ticks(memory, direction) > 0U) {
            end = passing_in(store, memory, direction, ticks);
        }
    }
    return end;
}

int32_t gx_store_note_begin(gx_store *store, const gx_begin *begin)
{
    if (store->begin_count == store->begin_capacity) {
        const uint64_t capacity = (store->begin_capacity == 0U) ? 256U : store->begin_capacity * 2U;

        if (!grow(&store->begins, capacity * sizeof *store->begins)) {
            store->problem = GX_NO_MEMORY;
            return 0;
        }
        store->begin_capacity = capacity;
    }
    store->begins[store->begin_count] = *begin;
    store->begin_count++;
    return 1;
}

static uint32_t *word(uint32_t *marks, uint32_t node, uint32_t requirement)
{
    return &marks[((uint64_t)node * MARK_WORDS) + ((uint32_t)gx_mark_bit[requirement] / 32U)];
}

static uint32_t bit(uint32_t requirement)
{
    return UINT32_C(1) << ((uint32_t)gx_mark_bit[requirement] % 32U);
}

void gx_store_mark(gx_store *store, uint32_t node, uint32_t requirement)
{
    *word(store->marks, node, requirement) |= bit(requirement);
}

int32_t gx_store_marked(const gx_store *store, uint32_t node, uint32_t requirement)
{
    return (*word(store->marks, node, requirement) & bit(requirement)) != 0U;
}
