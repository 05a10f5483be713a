/*
 * Gainwright, exhaustive exploration: questions about the whole graph, after a complete search.
 */
#ifndef GX_GRAPH_H
#define GX_GRAPH_H

#include <stdint.h>

#include "gx_search.h"

/* A wait: how many ticks may pass from a node until a formula holds. */
#define GX_ENDLESS INT64_C(-1)
#define GX_SHORT_OF_MEMORY INT64_C(-2)

typedef struct {
    int64_t longest; /* Over all starts, in ticks; GX_ENDLESS, GX_SHORT_OF_MEMORY. */
    uint32_t first_late; /* First start with a wait above the limit; GX_NOWHERE if there is none. */
} gx_wait;

/* Longest wait for a formula (as in gx_holds) from all nodes where the formula trigger holds;
 * GX_ALWAYS for trigger means every node. waits[] has one place per node and is overwritten. */
gx_wait gx_wait_after_moment(const gx_search *search, uint32_t formula, uint32_t trigger,
                             uint64_t limit, uint32_t waits[]);

/* The same from all nodes marked for a response requirement. */
gx_wait gx_wait_after_tick(const gx_search *search, uint32_t requirement, uint64_t limit,
                           uint32_t waits[]);

/* Write the nodes of a longest wait from a start, at most so many, that start excluded; waits[] as
 * the functions above left it. With passed[], one cleared place per node, the path ends where it
 * comes to a node for the second time. Returns how many. */
uint64_t gx_wait_path(const gx_search *search, const uint32_t waits[], uint32_t start,
                      uint64_t most, uint32_t path[], uint8_t passed[]);

/* Number of nodes from which no end can be reached; first[0] is the first of them. reaches[] has
 * one place per node. */
uint64_t gx_stuck(const gx_search *search, uint8_t reaches[], uint32_t first[]);

/* Write for each node the node before it on a shortest path from the reset; the reset's own is
 * GX_NOWHERE. Also usable on an incomplete search, for the nodes that have been found. */
void gx_parents(const gx_search *search, uint32_t parents[]);

/* First vector that leads from a node to another, GX_NOWHERE if none does. If requirement is not
 * negative, only ticks over which the time of this response requirement begins count. */
uint32_t gx_vector_between(const gx_search *search, uint32_t node, uint32_t target,
                           int32_t requirement);

/* First tick over which the time of a response requirement begins and after which the wait is
 * longer than the limit; waits[] as gx_wait_after_tick left it. target[0] is where it leads. */
gx_tick gx_late_trigger(const gx_search *search, uint32_t requirement, uint64_t limit,
                        const uint32_t waits[], uint32_t target[]);

#endif
