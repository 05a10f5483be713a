/* Gainwright, mutants: see gx_mutant.h. */
#include "gx_mutant.h"

#include <stdlib.h>
#include <string.h>

#define NOTHING UINT32_MAX

typedef struct {
    gw_condition_set bits;    /* Of the original. */
    gw_condition_set changed; /* Of the variant. */
    uint32_t vector;
} way;

typedef struct {
    uint64_t situation;
    int32_t state;
    uint32_t next; /* Class with the same hash. */
    uint32_t first; /* Place of its first node in order[]. */
    uint32_t nodes;
    uint32_t ways;
    way *way;
} class;

typedef struct {
    uint64_t *codes;
    uint32_t count;
    uint32_t capacity;
} code_list;

#define BUCKETS 4096U

struct gx_comparison {
    int32_t variant;
    const uint64_t *codes;
    const gx_rows *rows;
    uint64_t nodes;
    const int32_t *vectors;
    uint32_t vector_count;
    uint32_t *order; /* Nodes of wanted states, class by class. */
    class *classes;
    uint32_t class_count;
    uint32_t class_capacity;
    uint32_t buckets[BUCKETS];
};

static const int32_t *inputs_of(const gx_comparison *c, uint32_t vector)
{
    return &c->vectors[(size_t)vector * GW_INPUT_SLOTS];
}

static int by_bits(const void *a, const void *b)
{
    const way *x = a;
    const way *y = b;

    if (x->bits != y->bits) {
        return (x->bits < y->bits) ? -1 : 1;
    }
    if (x->changed != y->changed) {
        return (x->changed < y->changed) ? -1 : 1;
    }
    return (x->vector < y->vector) ? -1 : (x->vector > y->vector);
}

/* All ways of a class, from one memory in it. */
static int32_t find_ways(const gx_comparison *c, class *k, const gw_sequencer *memory)
{
    way *all = malloc((size_t)c->vector_count * sizeof *all);
    uint32_t v;

    if (all == NULL) {
        return 0;
    }
    for (v = 0U; v < c->vector_count; v++) {
        all[v].bits = gw_trial_conditions(inputs_of(c, v), memory->variables);
        all[v].changed = gx_changed_conditions(c->variant, inputs_of(c, v), memory->variables);
        all[v].vector = v;
    }
    qsort(all, c->vector_count, sizeof *all, by_bits);
    k->way = all;
    k->ways = 0U;
    for (v = 0U; v < c->vector_count; v++) {
        const way w = all[v];

        if ((k->ways == 0U) || (gx_actions_read_inputs != 0)
            || (all[k->ways - 1U].bits != w.bits) || (all[k->ways - 1U].changed != w.changed)) {
            all[k->ways] = w;
            k->ways++;
        }
    }
    return 1;
}

/* Number of the class of a memory, made now if it was not met before; NOTHING if memory is short. */
static uint32_t class_of(gx_comparison *c, const gw_sequencer *memory)
{
    const uint64_t situation = gx_situation(c->variant, memory->variables);
    const uint64_t mixed = (situation * 64U + (uint64_t)memory->state) * UINT64_C(0x9E3779B97F4A7C15);
    const uint32_t bucket = (uint32_t)(mixed >> 52);
    uint32_t found;
    class *k;

    for (found = c->buckets[bucket]; found != NOTHING; found = c->classes[found].next) {
        if ((c->classes[found].situation == situation)
            && (c->classes[found].state == memory->state)) {
            return found;
        }
    }
    if (c->class_count == c->class_capacity) {
        class *larger = realloc(c->classes, (c->class_capacity + 256U) * sizeof *larger);

        if (larger == NULL) {
            return NOTHING;
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
        return NOTHING;
    }
    c->buckets[bucket] = c->class_count;
    return c->class_count++;
}

/* Sort the nodes of wanted states by their class. */
static int32_t sort_nodes(gx_comparison *c, const uint8_t wanted[])
{
    uint32_t *class_by_node = malloc((size_t)(c->nodes + 1U) * sizeof *class_by_node);
    uint32_t place = 0U;
    uint64_t node;
    uint32_t k;

    c->order = malloc((size_t)(c->nodes + 1U) * sizeof *c->order);
    if ((class_by_node == NULL) || (c->order == NULL)) {
        free(class_by_node);
        return 0;
    }
    for (node = 0U; node < c->nodes; node++) {
        gw_sequencer memory;

        class_by_node[node] = NOTHING;
        if (wanted[gx_state_of(c->codes[node])] == 0U) {
            continue;
        }
        gx_decode(c->codes[node], &memory);
        class_by_node[node] = class_of(c, &memory);
        if (class_by_node[node] == NOTHING) {
            free(class_by_node);
            return 0;
        }
        c->classes[class_by_node[node]].nodes++;
    }
    for (k = 0U; k < c->class_count; k++) {
        c->classes[k].first = place;
        place += c->classes[k].nodes;
        c->classes[k].nodes = 0U;
    }
    for (node = 0U; node < c->nodes; node++) {
        if (class_by_node[node] != NOTHING) {
            class *its = &c->classes[class_by_node[node]];

            c->order[its->first + its->nodes] = (uint32_t)node;
            its->nodes++;
        }
    }
    free(class_by_node);
    return 1;
}

gx_comparison *gx_comparison_new(int32_t variant, const uint64_t codes[], const gx_rows rows[],
                                 uint64_t nodes, const int32_t vectors[], uint32_t vector_count,
                                 const uint8_t wanted[])
{
    gx_comparison *c = calloc(1U, sizeof *c);

    if (c == NULL) {
        return NULL;
    }
    memset(c->buckets, 0xFF, sizeof c->buckets);
    c->variant = variant;
    c->codes = codes;
    c->rows = rows;
    c->nodes = nodes;
    c->vectors = vectors;
    c->vector_count = vector_count;
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
    }
    free(comparison->classes);
    free(comparison->order);
    free(comparison);
}

/* The rule that holds in a state; NULL unless it is exactly one. */
static const gx_rule *rule_of(const gx_rule rules[], int32_t state, gw_condition_set bits)
{
    const gx_rule *found = NULL;
    uint32_t i;

    for (i = gx_first_rule[state]; i < gx_first_rule[state + 1]; i++) {
        if ((bits & rules[i].mask) == rules[i].value) {
            if (found != NULL) {
                return NULL;
            }
            found = &rules[i];
        }
    }
    return found;
}

static void apply(const gx_rule *rule, gw_condition_set bits, const int32_t inputs[],
                  gw_sequencer *memory)
{
    (void)gw_trial_act(rule->action, gw_trial_seen(memory->state, bits), inputs, memory->variables);
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
static int32_t tick(const gx_comparison *c, code_set *set, const gx_rule *rule, const way *w,
                    const gw_sequencer *before, const gw_sequencer *expected, gx_outcome *outcome)
{
    gw_sequencer after = *before;
    const int32_t *inputs = inputs_of(c, w->vector);

    if (rule == NULL) {
        outcome->differs = 1;
        outcome->not_single_hit = before->state;
        return 1;
    }
    apply(rule, w->changed, inputs, &after);
    if ((expected != NULL) && same(&after, expected) && (w->bits == w->changed)) {
        return 1;
    }
    if ((expected == NULL) || !same(&after, expected)) {
        outcome->differs = 1;
    }
    gx_violated(w->changed, inputs, before, &after, outcome->violated);
    return (set == NULL) || remember(set, &after);
}

/* Whether a way may lead elsewhere in the mutant, or be judged otherwise. */
static int32_t may_differ(const gx_rule original[], const gx_rule changed[], int32_t state,
                          const way *w)
{
    const gx_rule *a = rule_of(original, state, w->bits);
    const gx_rule *b = rule_of(changed, state, w->changed);

    return (a != NULL)
        && ((b == NULL) || (a->target != b->target) || (a->action != b->action)
            || (w->bits != w->changed));
}

/* Keep one way for each pair of rules, as that decides what is done. */
static uint32_t one_of_each(const gx_rule original[], const gx_rule changed[], const class *k,
                            uint32_t chosen[], uint32_t count)
{
    uint32_t kept = 0U;
    uint32_t i;

    for (i = 0U; i < count; i++) {
        const way *w = &k->way[chosen[i]];
        uint32_t j;

        for (j = 0U; j < kept; j++) {
            const way *other = &k->way[chosen[j]];

            if ((rule_of(original, k->state, w->bits) == rule_of(original, k->state, other->bits))
                && (rule_of(changed, k->state, w->changed)
                    == rule_of(changed, k->state, other->changed))) {
                break;
            }
        }
        if (j == kept) {
            chosen[kept] = chosen[i];
            kept++;
        }
    }
    return kept;
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
static int32_t compare_class(gx_comparison *c, const class *k, const gx_rule original[],
                             const gx_rule changed[], const gx_rows *rows, code_set *set,
                             gx_outcome *outcome)
{
    uint32_t *chosen = malloc(((size_t)k->ways + 1U) * 2U * sizeof *chosen);
    uint32_t count = 0U;
    uint32_t few = 0U;
    uint32_t n;
    uint32_t i;
    int32_t all_judged = 0;
    int32_t sound = (chosen != NULL);

    for (i = 0U; sound && (i < k->ways); i++) {
        if (may_differ(original, changed, k->state, &k->way[i])) {
            chosen[count] = i;
            count++;
        }
    }
    if (sound) {
        uint32_t *fewer = &chosen[count];

        memcpy(fewer, chosen, count * sizeof *chosen);
        few = gx_actions_read_inputs ? count : one_of_each(original, changed, k, fewer, count);
    }
    for (n = 0U; sound && (count > 0U) && (n < k->nodes) && !any_violated(outcome); n++) {
        const uint32_t node = c->order[k->first + n];
        const int32_t doubtful = crosses(&c->rows[node], rows);
        const uint32_t *ways = (doubtful || all_judged) ? &chosen[count] : chosen;
        const uint32_t these = (doubtful || all_judged) ? few : count;
        gw_sequencer before;

        if (doubtful && outcome->differs) {
            continue;
        }
        gx_decode(c->codes[node], &before);
        for (i = 0U; sound && (i < these); i++) {
            const way *w = &k->way[ways[i]];
            gw_sequencer expected = before;
            gx_outcome unknown = *outcome;

            apply(rule_of(original, k->state, w->bits), w->bits, inputs_of(c, w->vector),
                  &expected);
            sound = tick(c, doubtful ? NULL : set, rule_of(changed, k->state, w->changed), w,
                         &before, &expected, doubtful ? &unknown : outcome);
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
#define MOST_RULES 256U
static int32_t follow(gx_comparison *c, const gx_rule changed[], code_set *set, uint64_t most,
                      gx_outcome *outcome)
{
    uint32_t next;

    for (next = 0U; (next < set->list.count) && (next < most); next++) {
        gw_sequencer before;
        uint8_t tried[MOST_RULES] = {0};
        const int32_t one_way_each = (gx_actions_read_inputs == 0) && (next >= ALL_WAYS_NODES);
        uint32_t k;
        uint32_t i;

        gx_decode(set->list.codes[next], &before);
        k = class_of(c, &before);
        if (k == NOTHING) {
            return 0;
        }
        for (i = 0U; i < c->classes[k].ways; i++) {
            const way *w = &c->classes[k].way[i];
            const gx_rule *rule = rule_of(changed, before.state, w->changed);

            if (one_way_each && (rule != NULL)) {
                const size_t place = (size_t)(rule - changed) % MOST_RULES;

                if (tried[place] != 0U) {
                    continue;
                }
                tried[place] = 1U;
            }
            if (!tick(c, set, rule, w, &before, NULL, outcome)) {
                return 0;
            }
        }
        if (any_violated(outcome)) {
            return 1;
        }
    }
    return 1;
}

int32_t gx_judge_mutant(gx_comparison *comparison, const gx_rule original[],
                        const gx_rule changed[], const gx_rows *rows, const uint8_t wanted[],
                        uint64_t most, gx_outcome *outcome)
{
    code_set set = {NULL, 4095U, {NULL, 0U, 0U}};
    const uint32_t classes = comparison->class_count;
    int32_t sound;
    uint32_t k;

    while (set.mask < most * 2U) {
        set.mask = (set.mask * 2U) + 1U;
    }
    memset(outcome, 0, sizeof *outcome);
    outcome->not_single_hit = -1;
    set.slots = calloc((size_t)set.mask + 1U, sizeof *set.slots);
    sound = (set.slots != NULL);
    for (k = 0U; sound && (k < classes) && !any_violated(outcome); k++) {
        const class *its = &comparison->classes[k];

        if ((its->nodes > 0U) && (wanted[its->state] != 0U)) {
            sound = compare_class(comparison, its, original, changed, rows, &set, outcome);
        }
    }
    if ((set.slots != NULL) && outcome->differs && !any_violated(outcome)) {
        sound = follow(comparison, changed, &set, most, outcome);
    }
    free(set.slots);
    free(set.list.codes);
    return sound;
}
