/*
 * Gainwright, mutants: the ways of a class. See gx_mutant.h.
 *
 * Conditions that read one group of inputs only are the same whatever the other groups are; so of the
 * choices of a group one for each kind and each combination of these conditions is enough, and only
 * what is left of all groups is combined. Conditions that nothing looks at tell nothing apart.
 */
#include "gx_classes.h"

#include <stdlib.h>
#include <string.h>

#include "gx_pairs.h"

#define MOST_GROUPS ((uint32_t)GW_INPUT_SLOTS + 1U)
#define MOST_COMBINATIONS (UINT64_C(1) << 22)

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
    gx_pairs seen;
    uint32_t w;

    k->first_ways = malloc(((size_t)k->ways + 1U) * sizeof *k->first_ways);
    if ((k->first_ways == NULL) || !gx_begin_pairs(&seen, k->ways)) {
        return 0;
    }
    for (w = 0U; w < k->ways; w++) {
        gx_way *its = &k->way[w];

        its->same = equal(&its->bits, &its->changed);
        its->seen = gw_trial_seen(k->state, &its->bits);
        its->changed_seen = its->same ? its->seen : gw_trial_seen(k->state, &its->changed);
        its->rule = original_rule(c, k->state, &its->bits);
        if (gx_is_new_pair(&seen, its->rule, its->assigned)) {
            k->first_ways[k->first_count] = w;
            k->first_count++;
        }
    }
    free(seen.slots);
    return 1;
}

static int32_t same_way(const gx_way *a, const gx_way *b, const gw_condition_set *mask)
{
    uint64_t different = a->assigned ^ b->assigned;
    uint32_t k;

    for (k = 0U; k < (uint32_t)GW_CONDITION_SET_WORDS; k++) {
        different |= (a->bits.words[k] ^ b->bits.words[k]) & mask->words[k];
        different |= (a->changed.words[k] ^ b->changed.words[k]) & mask->words[k];
    }
    return different == 0U;
}

static uint64_t mixed_way(const gx_way *way, const gw_condition_set *mask)
{
    uint64_t mixed = way->assigned;
    uint32_t k;

    for (k = 0U; k < (uint32_t)GW_CONDITION_SET_WORDS; k++) {
        const uint64_t bits = way->bits.words[k] & mask->words[k];
        const uint64_t changed = way->changed.words[k] & mask->words[k];

        mixed = ((mixed ^ bits) * UINT64_C(0x9E3779B97F4A7C15)) ^ (mixed >> 29);
        mixed = ((mixed ^ changed) * UINT64_C(0x9E3779B97F4A7C15)) ^ (mixed >> 31);
    }
    return mixed ^ (mixed >> 32);
}

/* Keep the first of all ways that agree in the conditions of a mask. Returns how many are left; 0 if
 * memory is short. */
static uint32_t keep_first(gx_way all[], uint32_t count, const gw_condition_set *with)
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
        uint32_t slot = (uint32_t)mixed_way(&all[v], with) & mask;

        while ((slots[slot] != 0U) && !same_way(&all[slots[slot] - 1U], &all[v], with)) {
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

/* Choices that are left of each group of a state, one group after the other. */
typedef struct {
    uint32_t *left;
    uint32_t first[MOST_GROUPS + 1U];
    uint32_t groups;
} selection;

/* The inputs that one choice of each group gives. */
static void combine(const gx_comparison *c, const uint32_t choices[], uint32_t groups,
                    int32_t inputs[])
{
    uint32_t g;
    uint32_t i;

    for (i = 0U; i < (uint32_t)GW_INPUT_SLOTS; i++) {
        uint32_t sum = 0U;

        for (g = 0U; g < groups; g++) {
            sum += (uint32_t)c->offer.choices[((size_t)choices[g] * GW_INPUT_SLOTS) + i];
        }
        inputs[i] = (int32_t)sum;
    }
}

/* Conditions of the original and of the variant. */
static void look(const gx_comparison *c, const gw_sequencer *memory, const int32_t inputs[],
                 gx_way *way)
{
    way->bits = gw_trial_conditions(inputs, memory->variables);
    way->changed = gx_changed_conditions(c->variant, &way->bits, inputs, memory->variables);
}

/* Choose of one group; the others stand at their first choice. Returns how many are left, 0 if memory
 * is short. */
static uint32_t choose_of_group(const gx_comparison *c, const gx_span *span, uint32_t number,
                                const gw_sequencer *memory, gx_way space[], uint32_t left[])
{
    const gx_group *group = &c->offer.groups[span->begin + number];
    const uint32_t count = group->end - group->begin;
    uint32_t choices[MOST_GROUPS];
    int32_t inputs[GW_INPUT_SLOTS];
    uint32_t kept = count;
    uint32_t i;

    for (i = 0U; i < (span->end - span->begin); i++) {
        choices[i] = c->offer.groups[span->begin + i].begin;
    }
    for (i = 0U; (span->whole == 0U) && (i < count); i++) {
        choices[number] = group->begin + i;
        combine(c, choices, span->end - span->begin, inputs);
        look(c, memory, inputs, &space[i]);
        space[i].assigned = c->offer.kinds[choices[number]];
        space[i].vector = i;
    }
    if (span->whole == 0U) {
        kept = keep_first(space, count, &group->mask);
    }
    for (i = 0U; i < kept; i++) {
        left[i] = group->begin + ((span->whole == 0U) ? space[i].vector : i);
    }
    return kept;
}

/* Choose of all groups. Returns how many combinations are left; 0 if memory is short for them. */
static uint32_t choose(const gx_comparison *c, const gx_span *span, const gw_sequencer *memory,
                       selection *chosen)
{
    uint32_t rows = 0U;
    uint32_t most = 0U;
    uint64_t combinations = 1U;
    gx_way *space;
    uint32_t g;

    chosen->groups = span->end - span->begin;
    chosen->first[0] = 0U;
    for (g = span->begin; g < span->end; g++) {
        const uint32_t count = c->offer.groups[g].end - c->offer.groups[g].begin;

        rows += count;
        most = (count > most) ? count : most;
    }
    chosen->left = malloc(((size_t)rows + 1U) * sizeof *chosen->left);
    space = malloc(((size_t)most + 1U) * sizeof *space);
    for (g = 0U; (chosen->left != NULL) && (space != NULL) && (g < chosen->groups); g++) {
        uint32_t *left = &chosen->left[chosen->first[g]];
        const uint32_t kept = choose_of_group(c, span, g, memory, space, left);

        chosen->first[g + 1U] = chosen->first[g] + kept;
        combinations *= kept;
        combinations = (combinations > MOST_COMBINATIONS) ? 0U : combinations;
    }
    combinations = ((chosen->left != NULL) && (space != NULL)) ? combinations : 0U;
    free(space);
    return (uint32_t)combinations;
}

/* The choices of a combination by its number. */
static void decode(const selection *chosen, uint32_t number, uint32_t choices[])
{
    uint32_t g;

    for (g = 0U; g < chosen->groups; g++) {
        const uint32_t count = chosen->first[g + 1U] - chosen->first[g];

        choices[g] = chosen->left[chosen->first[g] + (number % count)];
        number /= count;
    }
}

/* Keep the inputs of each way. Returns 0 if memory is short. */
static int32_t keep_inputs(const gx_comparison *c, gx_class *k, const selection *chosen)
{
    const gx_span *span = &c->offer.spans[k->state];
    uint32_t choices[MOST_GROUPS];
    uint32_t w;

    if (span->whole == 0U) {
        k->inputs = malloc(((size_t)k->ways + 1U) * GW_INPUT_SLOTS * sizeof *k->inputs);
        if (k->inputs == NULL) {
            return 0;
        }
    }
    for (w = 0U; w < k->ways; w++) {
        decode(chosen, k->way[w].vector, choices);
        if (span->whole == 0U) {
            combine(c, choices, chosen->groups, &k->inputs[(size_t)w * GW_INPUT_SLOTS]);
            k->way[w].inputs = &k->inputs[(size_t)w * GW_INPUT_SLOTS];
        } else {
            k->way[w].inputs = &c->offer.choices[(size_t)choices[0] * GW_INPUT_SLOTS];
        }
    }
    return 1;
}

static int32_t find_chosen(const gx_comparison *c, gx_class *k, const gw_sequencer *memory,
                           const selection *chosen, uint32_t count)
{
    const gx_span *span = &c->offer.spans[k->state];
    gx_way *all = malloc(((size_t)count + 1U) * sizeof *all);
    uint32_t choices[MOST_GROUPS];
    int32_t inputs[GW_INPUT_SLOTS];
    gx_way *fewer;
    uint32_t v;

    if (all == NULL) {
        return 0;
    }
    for (v = 0U; v < count; v++) {
        decode(chosen, v, choices);
        combine(c, choices, chosen->groups, inputs);
        look(c, memory, inputs, &all[v]);
        all[v].assigned = gx_assigned(inputs);
        all[v].vector = v;
    }
    k->way = all;
    k->ways = (span->whole == 0U) ? keep_first(all, count, &span->mask) : count;
    if (k->ways == 0U) {
        return 0;
    }
    qsort(all, k->ways, sizeof *all, by_bits);
    fewer = realloc(all, ((size_t)k->ways + 1U) * sizeof *fewer);
    k->way = (fewer != NULL) ? fewer : all;
    return keep_inputs(c, k, chosen) && describe_ways(c, k);
}

int32_t gx_know_ways(const gx_comparison *c, gx_class *k, const gw_sequencer *memory)
{
    selection chosen;
    uint32_t count;
    int32_t sound;

    if (k->first_ways != NULL) {
        return 1;
    }
    count = choose(c, &c->offer.spans[k->state], memory, &chosen);
    sound = (count > 0U) && find_chosen(c, k, memory, &chosen, count);
    free(chosen.left);
    return sound;
}
