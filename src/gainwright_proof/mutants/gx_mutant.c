/* Gainwright, mutants: see gx_mutant.h. */
#include "gx_mutant.h"

#include <stdlib.h>
#include <string.h>

#include "gx_pairs.h"

#include "gx_classes.h"
#include "gx_rules.h"

typedef struct {
    uint64_t *codes;
    uint32_t count;
    uint32_t capacity;
} code_list;

static int32_t same(const gw_sequencer *a, const gw_sequencer *b)
{
    return (a->state == b->state)
        && (memcmp(a->variables, b->variables, sizeof a->variables) == 0);
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
    const int32_t *inputs = w->inputs;

    if (rule == GX_NO_RULE) {
        outcome->differs = 1;
        outcome->not_single_hit = before->state;
        return 1;
    }
    gx_apply(&m->rules[rule], w->changed_seen, inputs, &after);
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
            const uint32_t rule = gx_mutant_rule(m, k->state, w);

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
 * done. Returns 0 if memory is short. */
static int32_t one_of_each(const choice all[], uint32_t count, choice kept[], uint32_t *few)
{
    gx_pairs seen;
    uint32_t i;

    *few = 0U;
    if (!gx_begin_pairs(&seen, count)) {
        return 0;
    }
    for (i = 0U; i < count; i++) {
        const uint64_t rules = ((uint64_t)all[i].rule << 32) | all[i].way->rule;

        if (gx_is_new_pair(&seen, rules, all[i].way->assigned)) {
            kept[*few] = all[i];
            (*few)++;
        }
    }
    free(seen.slots);
    return 1;
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
static int32_t compare_class(const mutant *m, gx_class *k, code_set *set, gx_outcome *outcome)
{
    gw_sequencer first;
    choice *chosen;
    uint32_t count;
    uint32_t few;
    uint32_t n;
    uint32_t i;
    int32_t all_judged = 0;
    int32_t sound;

    gx_decode(m->c->codes[m->c->order[k->first]], &first);
    if (!gx_know_ways(m->c, k, &first)) {
        return 0;
    }
    chosen = malloc(((size_t)k->ways + 1U) * 2U * sizeof *chosen);
    if (chosen == NULL) {
        return 0;
    }
    count = choose(m, k, chosen);
    sound = one_of_each(chosen, count, &chosen[count], &few);
    for (n = 0U; sound && (count > 0U) && (n < k->nodes) && !gx_any_violated(outcome); n++) {
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

            gx_apply(&m->c->original[w->rule], w->seen, w->inputs, &expected);
            sound = tick(m, doubtful ? NULL : set, ways[i].rule, w, &before, &expected,
                         doubtful ? &unknown : outcome);
            outcome->differs |= unknown.differs;
        }
        all_judged |= !doubtful;
    }
    free(chosen);
    return sound;
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
        if (!gx_know_ways(m->c, k, &before) || !gx_ways_of(m, k, &ways, &count)) {
            return 0;
        }
        count = all ? k->ways : count;
        for (i = 0U; i < count; i++) {
            const gx_way *w = &k->way[all ? i : ways[i]];

            if (!tick(m, set, gx_mutant_rule(m, k->state, w), w, &before, NULL, outcome)) {
                return 0;
            }
        }
        if (gx_any_violated(outcome)) {
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
    sound = (set.slots != NULL) && gx_find_different(&m);
    for (k = 0U; sound && (k < classes) && !gx_any_violated(outcome); k++) {
        gx_class *its = &comparison->classes[k];

        if ((its->nodes > 0U) && (wanted[its->state] != 0U)) {
            sound = compare_class(&m, its, &set, outcome);
        }
    }
    if (sound && outcome->differs && !gx_any_violated(outcome)) {
        sound = follow(&m, &set, most, outcome);
    }
    free(m.different);
    free(set.slots);
    free(set.list.codes);
    return sound;
}
