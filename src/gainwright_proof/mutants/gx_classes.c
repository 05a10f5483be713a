/* Gainwright, mutants: nodes sorted into classes. See gx_mutant.h. */
#include "gx_classes.h"

#include <stdlib.h>
#include <string.h>

/* Number of the class of a memory, made now if it was not met before; GX_NOTHING if memory is short. */
uint32_t gx_class_of(gx_comparison *c, const gw_sequencer *memory)
{
    const uint64_t situation = gx_situation(c->variant, memory->variables);
    const uint64_t mixed = (situation * 64U + (uint64_t)memory->state) * UINT64_C(0x9E3779B97F4A7C15);
    const uint32_t bucket = (uint32_t)(mixed >> 52);
    uint32_t found;
    gx_class *k;

    for (found = c->buckets[bucket]; found != GX_NOTHING; found = c->classes[found].next) {
        if ((c->classes[found].situation == situation)
            && (c->classes[found].state == memory->state)) {
            return found;
        }
    }
    if (c->class_count == c->class_capacity) {
        gx_class *larger = realloc(c->classes, (c->class_capacity + 256U) * sizeof *larger);

        if (larger == NULL) {
            return GX_NOTHING;
        }
        c->classes = larger;
        c->class_capacity += 256U;
    }
    k = &c->classes[c->class_count];
    memset(k, 0, sizeof *k);
    k->situation = situation;
    k->state = memory->state;
    k->next = c->buckets[bucket];
    c->buckets[bucket] = c->class_count;
    return c->class_count++;
}

/* The first node whose state is not below one: codes rise, and the state is their highest digit. */
static uint64_t first_node(const gx_comparison *c, int32_t state)
{
    uint64_t low = 0U;
    uint64_t high = c->nodes;

    while (low < high) {
        const uint64_t middle = low + ((high - low) / 2U);

        if (gx_state_of(c->codes[middle]) < state) {
            low = middle + 1U;
        } else {
            high = middle;
        }
    }
    return low;
}

/* Sort the nodes of one state by their class, from a place of the order on. Returns the next place;
 * GX_NOTHING if memory is short. */
static uint32_t sort_state(gx_comparison *c, int32_t state, uint32_t place)
{
    const uint64_t begin = first_node(c, state);
    const uint64_t count = first_node(c, state + 1) - begin;
    const uint32_t known = c->class_count;
    uint32_t *class_by_node = malloc((size_t)(count + 1U) * sizeof *class_by_node);
    uint64_t n;
    uint32_t k;

    if (class_by_node == NULL) {
        return GX_NOTHING;
    }
    for (n = 0U; n < count; n++) {
        gw_sequencer memory;

        gx_decode(c->codes[begin + n], &memory);
        class_by_node[n] = gx_class_of(c, &memory);
        if (class_by_node[n] == GX_NOTHING) {
            free(class_by_node);
            return GX_NOTHING;
        }
        c->classes[class_by_node[n]].nodes++;
    }
    for (k = known; k < c->class_count; k++) {
        c->classes[k].first = place;
        place += c->classes[k].nodes;
        c->classes[k].nodes = 0U;
    }
    for (n = 0U; n < count; n++) {
        gx_class *its = &c->classes[class_by_node[n]];

        c->order[its->first + its->nodes] = (uint32_t)(begin + n);
        its->nodes++;
    }
    free(class_by_node);
    return place;
}

/* Sort the nodes of wanted states by their class. */
static int32_t sort_nodes(gx_comparison *c, const uint8_t wanted[])
{
    uint32_t place = 0U;
    int32_t state;

    c->order = malloc((size_t)(c->nodes + 1U) * sizeof *c->order);
    if (c->order == NULL) {
        return 0;
    }
    for (state = 0; state < (int32_t)GW_STATE_COUNT; state++) {
        if (wanted[state] != 0U) {
            place = sort_state(c, state, place);
            if (place == GX_NOTHING) {
                return 0;
            }
        }
    }
    return 1;
}

gx_comparison *gx_comparison_new(int32_t variant, const gx_rule original[],
                                 const uint64_t codes[], const gx_rows rows[], uint64_t nodes,
                                 const gx_offer *offer, const uint8_t wanted[])
{
    gx_comparison *c = calloc(1U, sizeof *c);

    if (c == NULL) {
        return NULL;
    }
    memset(c->buckets, 0xFF, sizeof c->buckets);
    c->variant = variant;
    c->original = original;
    c->codes = codes;
    c->rows = rows;
    c->nodes = nodes;
    c->offer = *offer;
    if (!sort_nodes(c, wanted)) {
        gx_comparison_free(c);
        return NULL;
    }
    return c;
}

void gx_comparison_free(gx_comparison *comparison)
{
    uint32_t k;

    for (k = 0U; k < comparison->class_count; k++) {
        free(comparison->classes[k].way);
        free(comparison->classes[k].inputs);
        free(comparison->classes[k].first_ways);
        free(comparison->classes[k].own_ways);
    }
    free(comparison->classes);
    free(comparison->order);
    free(comparison);
}
