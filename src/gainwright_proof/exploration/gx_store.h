/*
 * Gainwright, exhaustive exploration: the nodes found so far, their edges, and the queue.
 *
 * A node is a reachable (state, variables), numbered from 0 in the order of discovery. Nodes that
 * are equally far from reset are taken up list by list (gx_list_of): alike ones after each other
 * keep the processor's branch prediction right. A smaller number is never farther from reset.
 *
 * Where waits are folded (gx_pass.h) an edge may take many ticks, and the node that is nearest to reset
 * is taken up next; then numbers do not follow distance. What such an edge leaves out is counted
 * (gx_folded.h).
 *
 * Of each node are kept its code (8 bytes), its number in the page set (4 bytes and the unused rest
 * of its page), where its edges begin and how many they are (12 bytes), 4 bytes per edge, and its
 * marks (4 bytes for up to 32 response requirements); 20 bytes more, and 4 per edge, where waits
 * are folded.
 */
#ifndef GX_STORE_H
#define GX_STORE_H

#include <stdint.h>

#include "gx_model.h"
#include "gx_near.h"
#include "gx_pages.h"

#define GX_NOWHERE UINT32_MAX

/* Results of storing. */
#define GX_STORED 0
#define GX_TOO_MANY 2
#define GX_NO_MEMORY 3

/* The time of a response requirement begins with a tick from a node, so many ticks before target. */
typedef struct {
    uint32_t node;
    uint32_t target;
    uint32_t ticks;
    uint16_t requirement;
} gx_begin;

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
    uint64_t *distances;  /* Ticks from reset, where waits are folded; else NULL, as all below. */
    uint64_t distance;    /* Of the node being expanded. */
    uint32_t *edge_ticks; /* Of each edge. */
    uint32_t *longest;    /* Ticks of the longest such edge to the node, */
    uint32_t *pass_count; /* how many there are, */
    uint32_t *direction;  /* and the direction of them all. */
    gx_begin *begins;     /* Of times that begin with a tick to what is left out. */
    uint64_t begin_count;
    uint64_t begin_capacity;
    gx_near near;
    int32_t problem;                 /* GX_STORED or why something could not be stored. */
} gx_store;

/* Return 0 if memory is short. */
int32_t gx_store_init(gx_store *store, uint64_t most_nodes, int32_t folds);
void gx_store_free(gx_store *store);
uint64_t gx_store_bytes(const gx_store *store);

/* Number of a memory that the node being expanded comes to in so many ticks, stored now if it was not
 * before; GX_NOWHERE if there is no place. */
uint32_t gx_store_number(gx_store *store, const gw_sequencer *memory, uint64_t code,
                         uint64_t ticks);

/* Where waits are folded: a way from the node being expanded to another was found that takes so many
 * ticks. Returns 0 if there is no place. */
int32_t gx_store_come_to(gx_store *store, uint32_t node, uint64_t ticks);

/* Next node to expand and begin with its edges; GX_NOWHERE if there is none. */
uint32_t gx_store_begin(gx_store *store);
void gx_store_finish(gx_store *store, uint32_t node);

/* Store an edge of the node begun, unless a recent one is the same; 0 if there is no place. */
int32_t gx_store_edge(gx_store *store, uint32_t node, uint32_t target, uint32_t ticks);
int32_t gx_store_has_edge(const gx_store *store, uint32_t node, uint32_t target);

/* The end of an edge over which time passes and that stands for a memory, and how many ticks are left
 * to it; GX_NOWHERE if there is none, or memory is short. */
uint32_t gx_store_passing(gx_store *store, const gw_sequencer *memory, uint32_t *ticks);

/* Store the edge of the node begun over which time passes in one direction for so many ticks. Returns
 * 0 if there is no place. */
int32_t gx_store_pass(gx_store *store, uint32_t node, uint32_t target, uint32_t direction,
                      uint32_t ticks);

/* Note that a time begins; 0 if there is no place. */
int32_t gx_store_note_begin(gx_store *store, const gx_begin *begin);

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

/* Ticks that an edge takes. */
static inline uint32_t gx_edge_ticks(const gx_store *store, uint64_t edge)
{
    return (store->edge_ticks == NULL) ? 1U : store->edge_ticks[edge];
}

#endif
