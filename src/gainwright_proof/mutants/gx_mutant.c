/* Gainwright, mutants: see gx_mutant.h. */
#include "gx_mutant.h"

#include <stdlib.h>
#include <string.h>

#include "gx_classes.h"

typedef struct {
    uint64_t *codes;
    uint32_t count;
    uint32_t capacity;
} code_list;

/* A mutant while it is judged. */
typedef struct {
    gx_comparison *c;
    const gx_rule *rules;
    const uint8_t *wanted;
    const gx_rows *rows;
    uint32_t *different; /* Rules that are not those of the original, state by state. */
    uint32_t first[GW_STATE_COUNT + 1];
} mutant;

static int32_t find_different(mutant *m)
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
static uint32_t rule_of(const mutant *m, int32_t state, const gx_way *w)
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

static void apply(const gx_rule *rule, gw_condition_bits seen, const int32_t inputs[],
                  gw_sequencer *memory)
{
    (void)gw_trial_act(rule->action, seen, inputs, memory->variables);
    memory->state = (int32_t)rule->target;
}

static int32_t same(const gw_sequencer *a, const gw_sequencer *b)
{
    return (a->state == b->state)
        && (memcmp(a->variables, b->variables, sizeof a->variables) == 0);
}

static int32_t any_violated(const gx_outcome *outcome)
{
    uint32_t i;

    for (i = 0U; i < GX_REQUIREMENTS; i++) {
        if (outcome->violated[i] != 0U) {
            return 1;
        }
    }
    return outcome->not_single_hit >= 0;
}

static int32_t append(code_list *list, uint64_t code)
{
    if (list->count == list->capacity) {
        const uint32_t capacity = (list->capacity == 0U) ? 256U : list->capacity * 2U;
        uint64_t *larger = realloc(list->codes, (size_t)capacity * sizeof *larger);

        if (larger == NULL) {
            return 0;
        }
        list->codes = larger;
        list->capacity = capacity;
    }
    list->codes[list->count] = code;
    list->count++;
    return 1;
}

/* A place in a table of new codes, open addressing; code + 1 is stored. */
typedef struct {
    uint64_t *slots;
    uint64_t mask;
    code_list list;
} code_set;

/* Remember a moment that the mutant reaches; 0 if memory is short. */
static int32_t remember(code_set *set, const gw_sequencer *memory)
{
    const uint64_t code = gx_encode(memory);
    uint64_t slot = ((code * UINT64_C(0x9E3779B97F4A7C15)) >> 20) & set->mask;

    for (; set->slots[slot] != 0U; slot = (slot + 1U) & set->mask) {
        if (set->slots[slot] == code + 1U) {
            return 1;
        }
    }
    if ((uint64_t)set->list.count * 2U > set->mask) {
        return 1; /* Full. */
    }
    set->slots[slot] = code + 1U;
    return append(&set->list, code);
}

/* Take one tick of the mutant and judge it. Returns 0 if memory is short. */
static int32_t tick(const mutant *m, code_set *set, uint32_t rule, const gx_way *w,
                    const gw_sequencer *before, const gw_sequencer *expected, gx_outcome *outcome)
{
    gw_sequencer after = *before;
    const int32_t *inputs = gx_inputs_of(m->c, w->vector);

    if (rule == GX_NO_RULE) {
        outcome->differs = 1;
        outcome->not_single_hit = before->state;
        return 1;
    }
    apply(&m->rules[rule], w->changed_seen, inputs, &after);
    if ((expected != NULL) && same(&after, expected) && w->same) {
        return 1;
    }
    if ((expected == NULL) || !same(&after, expected)) {
        outcome->differs = 1;
    }
    gx_violated(&w->changed, inputs, before, &after, outcome->violated);
    return (set == NULL) || remember(set, &after);
}

/* A way that may lead elsewhere in the mutant, or be judged otherwise. */
typedef struct {
    const gx_way *way;
    uint32_t rule; /* Of the mutant. */
} choice;

static uint32_t choose(const mutant *m, const gx_class *k, choice chosen[])
{
    uint32_t count = 0U;
    uint32_t i;

    for (i = 0U; i < k->ways; i++) {
        const gx_way *w = &k->way[i];

        if (w->rule != GX_NO_RULE) {
            const gx_rule *a = &m->c->original[w->rule];
            const uint32_t rule = rule_of(m, k->state, w);

            if ((rule == GX_NO_RULE) || (a->target != m->rules[rule].target)
                || (a->action != m->rules[rule].action) || !w->same) {
                chosen[count].way = w;
                chosen[count].rule = rule;
                count++;
            }
        }
    }
    return count;
}

/* Keep one way for each pair of rules and all that actions read of inputs, as that decides what is
 * done. */
static uint32_t one_of_each(const choice all[], uint32_t count, choice kept[])
{
    uint32_t few = 0U;
    uint32_t i;

    for (i = 0U; i < count; i++) {
        uint32_t j = 0U;

        while ((j < few)
               && ((kept[j].rule != all[i].rule) || (kept[j].way->rule != all[i].way->rule)
                   || (kept[j].way->assigned != all[i].way->assigned))) {
            j++;
        }
        if (j == few) {
            kept[few] = all[i];
            few++;
        }
    }
    return few;
}

static int32_t crosses(const gx_rows *a, const gx_rows *b)
{
    uint32_t i;
    uint64_t both = 0U;

    for (i = 0U; i < 4U; i++) {
        both |= a->words[i] & b->words[i];
    }
    return both != 0U;
}

/* Compare all nodes of a class. In the first that the mutant reaches for certain every way is judged,
 * in the others one for each pair of rules. */
static int32_t compare_class(const mutant *m, const gx_class *k, code_set *set, gx_outcome *outcome)
{
    choice *chosen = malloc(((size_t)k->ways + 1U) * 2U * sizeof *chosen);
    uint32_t count;
    uint32_t few;
    uint32_t n;
    uint32_t i;
    int32_t all_judged = 0;
    int32_t sound = 1;

    if (chosen == NULL) {
        return 0;
    }
    count = choose(m, k, chosen);
    few = one_of_each(chosen, count, &chosen[count]);
    for (n = 0U; sound && (count > 0U) && (n < k->nodes) && !any_violated(outcome); n++) {
        const uint32_t node = m->c->order[k->first + n];
        const int32_t doubtful = crosses(&m->c->rows[node], m->rows);
        const int32_t fewer = doubtful || all_judged;
        const choice *ways = fewer ? &chosen[count] : chosen;
        const uint32_t these = fewer ? few : count;
        gw_sequencer before;

        if (doubtful && outcome->differs) {
            continue;
        }
        gx_decode(m->c->codes[node], &before);
        for (i = 0U; sound && (i < these); i++) {
            const gx_way *w = ways[i].way;
            gw_sequencer expected = before;
            gx_outcome unknown = *outcome;

            apply(&m->c->original[w->rule], w->seen, gx_inputs_of(m->c, w->vector), &expected);
            sound = tick(m, doubtful ? NULL : set, ways[i].rule, w, &before, &expected,
                         doubtful ? &unknown : outcome);
            outcome->differs |= unknown.differs;
        }
        all_judged |= !doubtful;
    }
    free(chosen);
    return sound;
}

/* One way for each rule of the mutant, found once for a class. Returns 0 if memory is short. */
static int32_t find_own_ways(const mutant *m, gx_class *k)
{
    uint32_t i;

    if ((k->own_ways != NULL) && (k->own_mutant == m->c->mutants)) {
        return 1;
    }
    if (k->own_ways == NULL) {
        k->own_ways = malloc(((size_t)k->ways + 1U) * sizeof *k->own_ways);
    }
    k->own_mutant = m->c->mutants;
    k->own_count = 0U;
    for (i = 0U; (k->own_ways != NULL) && (i < k->ways); i++) {
        const uint32_t rule = rule_of(m, k->state, &k->way[i]);
        uint32_t j = 0U;

        while ((j < k->own_count)
               && ((k->way[k->own_ways[j]].assigned != k->way[i].assigned)
                   || (rule_of(m, k->state, &k->way[k->own_ways[j]]) != rule))) {
            j++;
        }
        if (j == k->own_count) {
            k->own_ways[j] = i;
            k->own_count++;
        }
    }
    return k->own_ways != NULL;
}

/* Follow the mutant from where its other ticks lead. From the first nodes every way is taken, from
 * the others one for each rule: that misses what only some inputs of a rule violate, no place. */
#define ALL_WAYS_NODES 64U
static int32_t follow(const mutant *m, code_set *set, uint64_t most, gx_outcome *outcome)
{
    uint32_t next;

    for (next = 0U; (next < set->list.count) && (next < most); next++) {
        const int32_t all = next < ALL_WAYS_NODES;
        const uint32_t *ways;
        gw_sequencer before;
        uint32_t count;
        uint32_t place;
        uint32_t i;
        gx_class *k;

        gx_decode(set->list.codes[next], &before);
        place = gx_class_of(m->c, &before);
        if (place == GX_NOTHING) {
            return 0;
        }
        k = &m->c->classes[place];
        if (!all && (m->wanted[k->state] != 0U) && !find_own_ways(m, k)) {
            return 0;
        }
        ways = (m->wanted[k->state] != 0U) ? k->own_ways : k->first_ways;
        count = (m->wanted[k->state] != 0U) ? k->own_count : k->first_count;
        count = all ? k->ways : count;
        for (i = 0U; i < count; i++) {
            const gx_way *w = &k->way[all ? i : ways[i]];

            if (!tick(m, set, rule_of(m, k->state, w), w, &before, NULL, outcome)) {
                return 0;
            }
        }
        if (any_violated(outcome)) {
            return 1;
        }
    }
    return 1;
}

int32_t gx_judge_mutant(gx_comparison *comparison, const gx_rule changed[], const gx_rows *rows,
                        const uint8_t wanted[], uint64_t most, gx_outcome *outcome)
{
    mutant m = {comparison, changed, wanted, rows, NULL, {0U}};
    code_set set = {NULL, 4095U, {NULL, 0U, 0U}};
    const uint32_t classes = comparison->class_count;
    int32_t sound;
    uint32_t k;

    while (set.mask < most * 2U) {
        set.mask = (set.mask * 2U) + 1U;
    }
    memset(outcome, 0, sizeof *outcome);
    outcome->not_single_hit = -1;
    comparison->mutants++;
    set.slots = calloc((size_t)set.mask + 1U, sizeof *set.slots);
    sound = (set.slots != NULL) && find_different(&m);
    for (k = 0U; sound && (k < classes) && !any_violated(outcome); k++) {
        const gx_class *its = &comparison->classes[k];

        if ((its->nodes > 0U) && (wanted[its->state] != 0U)) {
            sound = compare_class(&m, its, &set, outcome);
        }
    }
    if (sound && outcome->differs && !any_violated(outcome)) {
        sound = follow(&m, &set, most, outcome);
    }
    free(m.different);
    free(set.slots);
    free(set.list.codes);
    return sound;
}
