/*
 * Gainwright, exhaustive exploration: the nodes found so far, their edges, and the queue.
 *
 * A node is a reachable (state, variables), numbered from 0 in the order of discovery. Nodes that
 * are equally far from reset are taken up list by list (gx_list_of): alike ones after each other
 * keep the processor's branch prediction right. A smaller number is never farther from reset.
 *
 * Of each node are kept its code (8 bytes), its number in the page set (4 bytes and the unused rest
 * of its page), where its edges begin and how many they are (12 bytes), 4 bytes per edge, and its
 * marks (4 bytes for up to 32 response requirements).
 */
#ifndef GX_STORE_H
#define GX_STORE_H

#include <stdint.h>

#include "gx_model.h"
#include "gx_pages.h"

#define GX_NOWHERE UINT32_MAX

/* Results of storing. */
#define GX_STORED 0
#define GX_TOO_MANY 2
#define GX_NO_MEMORY 3

typedef struct {
    gx_page_set pages;
    uint64_t most_nodes;
    uint64_t nodes;
    uint64_t edges;
    uint64_t expanded;
    uint64_t depth; /* Ticks from reset to the nodes being expanded. */
    uint64_t node_capacity;
    uint64_t edge_capacity;
    uint64_t *codes;
    uint64_t *edges_begin; /* UINT64_MAX before the node is expanded. */
    uint32_t *edge_counts; /* Before the node is expanded: the next node of its list. */
    uint32_t *targets;
    uint32_t *marks; /* Some words per node. */
    uint32_t waiting[GX_LIST_COUNT]; /* First node of each list, to be expanded in this tick. */
    uint32_t found[GX_LIST_COUNT];   /* The same for the next tick. */
    uint32_t list;                   /* The list being expanded. */
    int32_t problem;                 /* GX_STORED or why something could not be stored. */
} gx_store;

/* Return 0 if memory is short. */
int32_t gx_store_init(gx_store *store, uint64_t most_nodes);
void gx_store_free(gx_store *store);
uint64_t gx_store_bytes(const gx_store *store);

/* Number of a memory, stored now if it was not before; GX_NOWHERE if there is no place. */
uint32_t gx_store_number(gx_store *store, const gw_sequencer *memory, uint64_t code);

/* Next node to expand and begin with its edges; GX_NOWHERE if there is none. */
uint32_t gx_store_begin(gx_store *store);
void gx_store_finish(gx_store *store, uint32_t node);

/* Store an edge of the node begun, unless a recent one is the same; 0 if there is no place. */
int32_t gx_store_edge(gx_store *store, uint32_t node, uint32_t target);
int32_t gx_store_has_edge(const gx_store *store, uint32_t node, uint32_t target);

/* Marks for response requirements, by the number of the requirement. */
void gx_store_mark(gx_store *store, uint32_t node, uint32_t requirement);
int32_t gx_store_marked(const gx_store *store, uint32_t node, uint32_t requirement);

static inline uint64_t gx_edges_begin(const gx_store *store, uint32_t node)
{
    return (store->edges_begin[node] == UINT64_MAX) ? 0U : store->edges_begin[node];
}

static inline uint64_t gx_edges_end(const gx_store *store, uint32_t node)
{
    return (store->edges_begin[node] == UINT64_MAX)
        ? 0U
        : store->edges_begin[node] + store->edge_counts[node];
}

#endif
