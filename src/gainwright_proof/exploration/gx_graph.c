/*
 * Gainwright, exhaustive exploration: questions about the whole graph. See gx_graph.h.
 */
#include "gx_graph.h"

#include "gx_pass.h"

#include <stdlib.h>
#include <string.h>

int32_t gx_node_holds(const gx_search *search, uint32_t node, uint32_t formula)
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

uint64_t gx_distance_of(const gx_search *search, uint32_t node)
{
    return (search->store.distances == NULL) ? node : search->store.distances[node];
}

/* How many reach no end, values that nodes stand for included, and the nearest node of them. Values
 * that are left out lead to an end just as the node after them does. */
static uint64_t stuck_in_all(const gx_search *search, const uint8_t reaches[], uint32_t first[])
{
    uint64_t stuck = 0U;
    uint32_t node;

    first[0] = GX_NOWHERE;
    for (node = 0U; node < search->store.nodes; node++) {
        if (reaches[node] == 0U) {
            stuck += 1U + gx_left_out(&search->store, node);
            if ((first[0] == GX_NOWHERE)
                || (gx_distance_of(search, node) < gx_distance_of(search, first[0]))) {
                first[0] = node;
            }
        }
    }
    return stuck;
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
            reaches[node] = (before == nodes) ? (uint8_t)gx_node_holds(search, node, GX_AT_END) : 0U;
            for (edge = gx_edges_begin(&search->store, node);
                 (reaches[node] == 0U) && (edge < gx_edges_end(&search->store, node));
                 edge++) {
                reaches[node] = reaches[targets[edge]];
            }
            left -= reaches[node];
        }
    } while (left != before);
    return stuck_in_all(search, reaches, first);
}

void gx_parents(const gx_search *search, uint32_t parents[])
{
    const gx_store *store = &search->store;
    uint32_t node;

    memset(parents, 0xFF, (size_t)store->nodes * sizeof parents[0]);
    for (node = 0U; node < store->nodes; node++) {
        uint64_t edge;

        for (edge = gx_edges_begin(store, node); edge < gx_edges_end(store, node); edge++) {
            const uint32_t target = store->targets[edge];

            if ((parents[target] == GX_NOWHERE) && (target != 0U)
                && ((store->distances == NULL)
                    || (store->distances[node] + gx_edge_ticks(store, edge)
                        == store->distances[target]))) {
                parents[target] = node;
            }
        }
    }
}

uint64_t gx_ticks_between(const gx_search *search, uint32_t parent, uint32_t node)
{
    const uint64_t *distances = search->store.distances;

    return (distances == NULL) ? 1U : distances[node] - distances[parent];
}

static int32_t begins(int32_t requirement, int32_t row, const int32_t inputs[],
                      const gw_sequencer *before, const gw_sequencer *after)
{
    uint16_t found[GX_REQUIREMENT_SLOTS];
    uint32_t count = gx_judge_move(row, before->variables, after->variables, found);

    while (count > 0U) {
        count--;
        if (found[count] == requirement) {
            return 1;
        }
    }
    count = gx_judge_tick(row, inputs, before->variables, after->variables, found);
    while (count > 0U) {
        count--;
        if (found[count] == requirement) {
            return 1;
        }
    }
    return 0;
}

/* First vector that leads from a memory to another; with a requirement, over a tick with which its
 * time begins. */
static uint32_t vector_to(const gx_vector vectors[], const gw_sequencer *before,
                          const gw_sequencer *wanted, int32_t requirement)
{
    uint32_t vector;

    for (vector = gx_first_vector[before->state]; vector < gx_first_vector[before->state + 1];
         vector++) {
        gw_sequencer after = *before;
        const int32_t row = gw_sequencer_step(&after, vectors[vector]);

        if ((row >= 0) && (after.state == wanted->state)
            && (memcmp(after.variables, wanted->variables, sizeof after.variables) == 0)
            && ((requirement < 0) || begins(requirement, row, vectors[vector], before, &after))) {
            return vector;
        }
    }
    return GX_NOWHERE;
}

/* The memory that is so many ticks before a node over which time passes. */
static gw_sequencer so_long_before(const gx_search *search, uint32_t node, uint64_t ticks)
{
    gw_sequencer memory;

    gx_decode(search->store.codes[node], &memory);
    if (ticks > 0U) {
        gx_pass_back(&memory, search->store.direction[node], ticks);
    }
    return memory;
}

uint32_t gx_vector_over(const gx_search *search, uint32_t node, uint32_t target, uint64_t ticks,
                        int32_t requirement)
{
    const gw_sequencer before = so_long_before(search, node, 0U);
    const gw_sequencer wanted = so_long_before(search, target, ticks - 1U);

    return vector_to(search->vectors, &before, &wanted, requirement);
}

uint32_t gx_pass_vector(const gx_search *search, uint32_t target, uint64_t ticks)
{
    const gw_sequencer before = so_long_before(search, target, ticks);
    const gw_sequencer wanted = so_long_before(search, target, ticks - 1U);

    return vector_to(search->vectors, &before, &wanted, -1);
}
