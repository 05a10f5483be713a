/* Gainwright, mutants: nodes sorted into classes, and the ways of each. See gx_mutant.h. */
#include "gx_classes.h"

#include <stdlib.h>
#include <string.h>

/* The only original rule of a state that holds; GX_NO_RULE unless it is exactly one. */
static uint32_t original_rule(const gx_comparison *c, int32_t state, const gw_condition_set *bits)
{
    uint32_t found = GX_NO_RULE;
    uint32_t i;

    for (i = gx_first_rule[state]; i < gx_first_rule[state + 1]; i++) {
        if (gx_rule_holds(&c->original[i], bits)) {
            if (found != GX_NO_RULE) {
                return GX_NO_RULE;
            }
            found = i;
        }
    }
    return found;
}

static int32_t equal(const gw_condition_set *a, const gw_condition_set *b)
{
    return memcmp(a, b, sizeof *a) == 0;
}

static int by_bits(const void *a, const void *b)
{
    const gx_way *x = a;
    const gx_way *y = b;

    uint32_t k;

    for (k = 0U; k < (uint32_t)GW_CONDITION_SET_WORDS; k++) {
        if (x->bits.words[k] != y->bits.words[k]) {
            return (x->bits.words[k] < y->bits.words[k]) ? -1 : 1;
        }
        if (x->changed.words[k] != y->changed.words[k]) {
            return (x->changed.words[k] < y->changed.words[k]) ? -1 : 1;
        }
    }
    if (x->assigned != y->assigned) {
        return (x->assigned < y->assigned) ? -1 : 1;
    }
    return (x->vector < y->vector) ? -1 : (x->vector > y->vector);
}

/* What does not depend on the mutant is found once for each way. Returns 0 if memory is short. */
static int32_t describe_ways(const gx_comparison *c, gx_class *k)
{
    uint32_t w;

    k->first_ways = malloc(((size_t)k->ways + 1U) * sizeof *k->first_ways);
    if (k->first_ways == NULL) {
        return 0;
    }
    for (w = 0U; w < k->ways; w++) {
        gx_way *its = &k->way[w];
        uint32_t j = 0U;

        its->same = equal(&its->bits, &its->changed);
        its->seen = gw_trial_seen(k->state, &its->bits);
        its->changed_seen = its->same ? its->seen : gw_trial_seen(k->state, &its->changed);
        its->rule = original_rule(c, k->state, &its->bits);
        while ((j < k->first_count)
               && ((k->way[k->first_ways[j]].rule != its->rule)
                   || (k->way[k->first_ways[j]].assigned != its->assigned))) {
            j++;
        }
        if (j == k->first_count) {
            k->first_ways[j] = w;
            k->first_count++;
        }
    }
    return 1;
}

static int32_t same_way(const gx_way *a, const gx_way *b)
{
    return (a->assigned == b->assigned) && equal(&a->bits, &b->bits)
           && equal(&a->changed, &b->changed);
}

static uint64_t mixed_way(const gx_way *way)
{
    uint64_t mixed = way->assigned;
    uint32_t k;

    for (k = 0U; k < (uint32_t)GW_CONDITION_SET_WORDS; k++) {
        mixed = ((mixed ^ way->bits.words[k]) * UINT64_C(0x9E3779B97F4A7C15)) ^ (mixed >> 29);
        mixed = ((mixed ^ way->changed.words[k]) * UINT64_C(0x9E3779B97F4A7C15)) ^ (mixed >> 31);
    }
    return mixed ^ (mixed >> 32);
}

/* Keep the first of all ways that are the same. Returns how many are left; 0 if memory is short. */
static uint32_t keep_first(gx_way all[], uint32_t count)
{
    uint32_t mask = 1023U;
    uint32_t kept = 0U;
    uint32_t *slots; /* Number of a way and one more, open addressing. */
    uint32_t v;

    while (mask < count * 2U) {
        mask = (mask * 2U) + 1U;
    }
    slots = calloc((size_t)mask + 1U, sizeof *slots);
    if (slots == NULL) {
        return 0U;
    }
    for (v = 0U; v < count; v++) {
        uint32_t slot = (uint32_t)mixed_way(&all[v]) & mask;

        while ((slots[slot] != 0U) && !same_way(&all[slots[slot] - 1U], &all[v])) {
            slot = (slot + 1U) & mask;
        }
        if (slots[slot] == 0U) {
            all[kept] = all[v];
            kept++;
            slots[slot] = kept;
        }
    }
    free(slots);
    return kept;
}

/* All ways of a class, from one memory in it. */
static int32_t find_ways(const gx_comparison *c, gx_class *k, const gw_sequencer *memory)
{
    const gx_span span = c->spans[k->state];
    const uint32_t count = span.end - span.begin;
    gx_way *all = malloc(((size_t)count + 1U) * sizeof *all);
    gx_way *fewer;
    uint32_t v;

    if (all == NULL) {
        return 0;
    }
    for (v = 0U; v < count; v++) {
        const int32_t *inputs = gx_inputs_of(c, span.begin + v);

        all[v].bits = gw_trial_conditions(inputs, memory->variables);
        all[v].changed
            = gx_changed_conditions(c->variant, &all[v].bits, inputs, memory->variables);
        all[v].assigned = gx_assigned(inputs);
        all[v].vector = span.begin + v;
    }
    k->way = all;
    k->ways = count;
    if ((c->spans[k->state].whole == 0U) && (count > 0U)) {
        k->ways = keep_first(all, count);
        if (k->ways == 0U) {
            return 0;
        }
    }
    qsort(all, k->ways, sizeof *all, by_bits);
    fewer = realloc(all, ((size_t)k->ways + 1U) * sizeof *fewer);
    k->way = (fewer != NULL) ? fewer : all;
    return describe_ways(c, k);
}

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
    if (!find_ways(c, k, memory)) {
        return GX_NOTHING;
    }
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
                                 const int32_t vectors[], const gx_span spans[],
                                 const uint8_t wanted[])
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
    c->vectors = vectors;
    c->spans = spans;
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
        free(comparison->classes[k].first_ways);
        free(comparison->classes[k].own_ways);
    }
    free(comparison->classes);
    free(comparison->order);
    free(comparison);
}
