/*
 * Gainwright, exhaustive exploration: questions about the whole graph, after a complete search.
 */
#ifndef GX_GRAPH_H
#define GX_GRAPH_H

#include <stdint.h>

#include "gx_folded.h"
#include "gx_search.h"

/* A wait: how many ticks may pass from a node until a formula holds. */
#define GX_ENDLESS INT64_C(-1)
#define GX_SHORT_OF_MEMORY INT64_C(-2)

typedef struct {
    int64_t longest; /* Over all starts, in ticks; GX_ENDLESS, GX_SHORT_OF_MEMORY. */
    uint32_t first_late; /* First start with a wait above the limit; GX_NOWHERE if there is none. */
} gx_wait;

/* A tick, where it leads to, and time that passes from there before the node target. */
typedef struct {
    uint32_t node;
    uint32_t vector;
    uint32_t target;
    uint64_t ticks;
} gx_late_tick;

/* Longest wait for a formula (as in gx_holds) from all nodes where the formula trigger holds;
 * GX_ALWAYS for trigger means every node. waits[] has one place per node and is overwritten. */
gx_wait gx_wait_after_moment(const gx_search *search, uint32_t formula, uint32_t trigger,
                             uint64_t limit, uint64_t waits[]);

/* The same from all nodes marked for a response requirement. */
gx_wait gx_wait_after_tick(const gx_search *search, uint32_t requirement, uint64_t limit,
                           uint64_t waits[]);

/* Write the nodes of a longest wait from a start, that start excluded, until they are most or their
 * ticks reach the limit; ticks[] of each is how long it took from the one before. waits[] as the
 * functions above left it. With passed[], one cleared place per node, the path ends where it comes to
 * a node for the second time. Returns how many. */
uint64_t gx_wait_path(const gx_search *search, const uint64_t waits[], uint32_t start,
                      uint64_t limit, uint64_t most, uint32_t path[], uint64_t ticks[],
                      uint8_t passed[]);

/* Number of nodes from which no end can be reached, those that waits stand for included; first[0] is
 * the nearest of them. reaches[] has one place per node. */
uint64_t gx_stuck(const gx_search *search, uint8_t reaches[], uint32_t first[]);

/* Write for each node the node before it on a shortest path from the reset; the reset's own is
 * GX_NOWHERE. Also usable on an incomplete search, for the nodes that have been found. */
void gx_parents(const gx_search *search, uint32_t parents[]);

/* Ticks from a node to one that gx_parents gave it as the node before. */
uint64_t gx_ticks_between(const gx_search *search, uint32_t parent, uint32_t node);

/* First vector that leads from a node to the memory from which time passes to another, the edge to
 * which takes so many ticks: with one tick, to that node itself. GX_NOWHERE if none does. If
 * requirement is not negative, only ticks with which the time of this response requirement begins
 * count. */
uint32_t gx_vector_over(const gx_search *search, uint32_t node, uint32_t target, uint64_t ticks,
                        int32_t requirement);

/* First vector with which time passes so many ticks before a node. */
uint32_t gx_pass_vector(const gx_search *search, uint32_t target, uint64_t ticks);

/* Whether a formula of gx_holds holds at a node. */
int32_t gx_node_holds(const gx_search *search, uint32_t node, uint32_t formula);

/* What the distance of a node from reset can be compared by. */
uint64_t gx_distance_of(const gx_search *search, uint32_t node);

/* Nearest tick over which the time of a response requirement begins and after which the wait is
 * longer than the limit; waits[] as gx_wait_after_tick left it. */
gx_late_tick gx_late_trigger(const gx_search *search, uint32_t requirement, uint64_t limit,
                             const uint64_t waits[]);

#endif
