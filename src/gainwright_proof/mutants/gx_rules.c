/* Gainwright, mutants: the rules of one mutant. See gx_rules.h. */
#include "gx_rules.h"

#include <stdlib.h>
#include <string.h>

#include "gx_pairs.h"

int32_t gx_find_different(mutant *m)
{
    const uint32_t rules = gx_first_rule[GW_STATE_COUNT];
    uint32_t count = 0U;
    int32_t state;
    uint32_t i;

    m->different = malloc(((size_t)rules + 1U) * sizeof *m->different);
    if (m->different == NULL) {
        return 0;
    }
    for (state = 0; state < (int32_t)GW_STATE_COUNT; state++) {
        m->first[state] = count;
        for (i = gx_first_rule[state]; i < gx_first_rule[state + 1]; i++) {
            const gx_rule *a = &m->c->original[i];
            const gx_rule *b = &m->rules[i];

            if ((memcmp(&a->mask, &b->mask, sizeof a->mask) != 0)
                || (memcmp(&a->value, &b->value, sizeof a->value) != 0)
                || (a->target != b->target) || (a->action != b->action)) {
                m->different[count] = i;
                count++;
            }
        }
    }
    m->first[GW_STATE_COUNT] = count;
    return 1;
}

/* The only rule of the mutant that holds; GX_NO_RULE unless it is exactly one. Where the conditions
 * are those of the original, its rule holds too, unless the mutant changed that, and of the others
 * only changed ones can. */
uint32_t gx_mutant_rule(const mutant *m, int32_t state, const gx_way *w)
{
    const int32_t known = w->same && (w->rule != GX_NO_RULE);
    const uint32_t begin = known ? m->first[state] : gx_first_rule[state];
    const uint32_t end = known ? m->first[state + 1] : gx_first_rule[state + 1];
    uint32_t found = known ? w->rule : GX_NO_RULE;
    uint32_t i;

    for (i = begin; known && (i < end); i++) {
        found = (m->different[i] == w->rule) ? GX_NO_RULE : found;
    }
    for (i = begin; i < end; i++) {
        const uint32_t rule = known ? m->different[i] : i;

        if (gx_rule_holds(&m->rules[rule], &w->changed)) {
            if (found != GX_NO_RULE) {
                return GX_NO_RULE;
            }
            found = rule;
        }
    }
    return found;
}

void gx_apply(const gx_rule *rule, gw_condition_bits seen, const int32_t inputs[],
                  gw_sequencer *memory)
{
    (void)gw_trial_act(rule->action, seen, inputs, memory->variables);
    memory->state = (int32_t)rule->target;
}

int32_t gx_any_violated(const gx_outcome *outcome)
{
    uint32_t i;

    for (i = 0U; i < GX_REQUIREMENTS; i++) {
        if (outcome->violated[i] != 0U) {
            return 1;
        }
    }
    return outcome->not_single_hit >= 0;
}

/* One way for each rule of the mutant, found once for a class. */
static int32_t find_own_ways(const mutant *m, gx_class *k)
{
    gx_pairs seen;
    uint32_t i;

    if ((k->own_ways != NULL) && (k->own_mutant == m->c->mutants)) {
        return 1;
    }
    if (k->own_ways == NULL) {
        k->own_ways = malloc(((size_t)k->ways + 1U) * sizeof *k->own_ways);
    }
    if ((k->own_ways == NULL) || !gx_begin_pairs(&seen, k->ways)) {
        return 0;
    }
    k->own_mutant = m->c->mutants;
    k->own_count = 0U;
    for (i = 0U; i < k->ways; i++) {
        if (gx_is_new_pair(&seen, gx_mutant_rule(m, k->state, &k->way[i]), k->way[i].assigned)) {
            k->own_ways[k->own_count] = i;
            k->own_count++;
        }
    }
    free(seen.slots);
    return 1;
}

int32_t gx_ways_of(const mutant *m, gx_class *k, const uint32_t **ways, uint32_t *count)
{
    const int32_t changed = (m->wanted[k->state] != 0U);

    if (changed && !find_own_ways(m, k)) {
        return 0;
    }
    *ways = changed ? k->own_ways : k->first_ways;
    *count = changed ? k->own_count : k->first_count;
    return 1;
}
