/*
 * Gainwright, exhaustive exploration: counts that include what folded waits stand for.
 *
 * Edges over which time passes to the same node lead through the same values, the longest through all
 * of them. Those that are no nodes are what these edges leave out.
 */
#ifndef GX_FOLDED_H
#define GX_FOLDED_H

#include <stdint.h>

#include "gx_search.h"

/* Values that are left out before a node. */
static inline uint64_t gx_left_out(const gx_store *store, uint32_t node)
{
    return (store->distances == NULL) ? 0U
                                      : (uint64_t)store->longest[node] - store->pass_count[node];
}

/* How far a search is: the figures without what nodes stand for, at once. */
void gx_search_standing(const gx_search *search, gx_figures *figures);

/* All figures. 0 if memory is short. */
int32_t gx_search_figures(const gx_search *search, gx_figures *figures);

/* Nodes in each state. */
void gx_search_nodes_in(const gx_search *search, uint64_t counts[GW_STATE_COUNT]);

#endif
