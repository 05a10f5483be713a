/* Gainwright, mutants: all that one mutant reaches, and its longest times. See gx_reach.h. */
#include "gx_reach.h"

#include <stdlib.h>
#include <string.h>

#include "gx_classes.h"
#include "gx_rules.h"

#define UNSEEN UINT64_MAX
#define OPEN (UINT64_MAX - 1U)
#define NEVER (UINT64_MAX - 2U)

typedef struct {
    const mutant *m;
    uint64_t *codes;
    uint32_t *edges; /* First edge of each node, and one more. */
    uint64_t *moments;
    uint64_t *begun; /* Timed requirements whose time begins with a tick to the node. */
    uint8_t *passes; /* 1: there is a tick that only lets time pass. */
    uint32_t *targets;
    uint32_t *slots; /* Node and one more, open addressing. */
    uint32_t *judged; /* By class: 1 if every way was judged in a node of it. */
    uint64_t mask;
    uint32_t nodes;
    uint32_t capacity;
    uint32_t edge_count;
    uint32_t edge_capacity;
    uint32_t judged_capacity;
} graph;

static void free_graph(graph *g)
{
    free(g->codes);
    free(g->edges);
    free(g->moments);
    free(g->begun);
    free(g->passes);
    free(g->targets);
    free(g->slots);
    free(g->judged);
}

static int32_t begin_graph(graph *g, const mutant *m, uint64_t most)
{
    memset(g, 0, sizeof *g);
    g->m = m;
    g->capacity = (uint32_t)most;
    g->mask = 1023U;
    while (g->mask < (uint64_t)most * 2U) {
        g->mask = (g->mask * 2U) + 1U;
    }
    g->edge_capacity = g->capacity * 4U;
    g->codes = malloc((size_t)g->capacity * sizeof *g->codes);
    g->edges = malloc(((size_t)g->capacity + 1U) * sizeof *g->edges);
    g->moments = malloc((size_t)g->capacity * sizeof *g->moments);
    g->begun = calloc((size_t)g->capacity, sizeof *g->begun);
    g->passes = calloc((size_t)g->capacity, sizeof *g->passes);
    g->targets = malloc((size_t)g->edge_capacity * sizeof *g->targets);
    g->slots = calloc((size_t)g->mask + 1U, sizeof *g->slots);
    return (g->codes != NULL) && (g->edges != NULL) && (g->moments != NULL) && (g->begun != NULL)
           && (g->passes != NULL) && (g->targets != NULL) && (g->slots != NULL);
}

/* Number of a memory, new or known; GX_NOTHING if there is no place for it. */
static uint32_t number_of(graph *g, const gw_sequencer *memory, gx_reached *reached)
{
    const uint64_t code = gx_encode(memory);
    uint64_t slot = ((code * UINT64_C(0x9E3779B97F4A7C15)) >> 20) & g->mask;

    for (; g->slots[slot] != 0U; slot = (slot + 1U) & g->mask) {
        if (g->codes[g->slots[slot] - 1U] == code) {
            return g->slots[slot] - 1U;
        }
    }
    if (g->nodes == g->capacity) {
        return GX_NOTHING;
    }
    g->codes[g->nodes] = code;
    g->moments[g->nodes] = gx_moment(memory, reached->reached);
    g->nodes++;
    g->slots[slot] = g->nodes;
    return g->nodes - 1U;
}

static int32_t add_edge(graph *g, uint32_t node, uint32_t target)
{
    uint32_t e;

    for (e = g->edges[node]; e < g->edge_count; e++) {
        if (g->targets[e] == target) {
            return 1;
        }
    }
    if (g->edge_count == g->edge_capacity) {
        const uint32_t capacity = g->edge_capacity * 2U;
        uint32_t *larger = realloc(g->targets, (size_t)capacity * sizeof *larger);

        if (larger == NULL) {
            return 0;
        }
        g->targets = larger;
        g->edge_capacity = capacity;
    }
    g->targets[g->edge_count] = target;
    g->edge_count++;
    return 1;
}

/* Does the original reach a node? Its ticks from there were judged when it was proved. */
static int32_t is_known(const graph *g, uint32_t node)
{
    const gx_comparison *c = g->m->c;
    uint64_t low = 0U;
    uint64_t high = c->nodes;

    while (low < high) {
        const uint64_t middle = low + ((high - low) / 2U);

        if (c->codes[middle] < g->codes[node]) {
            low = middle + 1U;
        } else {
            high = middle;
        }
    }
    return (low < c->nodes) && (c->codes[low] == g->codes[node]);
}

/* Does a way do what it does in the original, under the same conditions? */
static int32_t is_original(const mutant *m, int32_t state, const gx_way *w, uint32_t rule)
{
    uint32_t i;

    if (!w->same || (rule != w->rule)) {
        return 0;
    }
    for (i = m->first[state]; i < m->first[state + 1]; i++) {
        if (m->different[i] == rule) {
            return 0;
        }
    }
    return 1;
}

/* 1 once for each class: then every way is judged, elsewhere one for each rule. */
static int32_t is_first_of_class(graph *g, uint32_t class_number)
{
    if (class_number >= g->judged_capacity) {
        const uint32_t capacity = class_number + 256U;
        uint32_t *larger = realloc(g->judged, (size_t)capacity * sizeof *larger);

        if (larger == NULL) {
            return 1;
        }
        memset(&larger[g->judged_capacity], 0,
               (size_t)(capacity - g->judged_capacity) * sizeof *larger);
        g->judged = larger;
        g->judged_capacity = capacity;
    }
    g->judged[class_number]++;
    return g->judged[class_number] == 1U;
}

/* Take a way from a node, known or not to the original. Returns 0 if there is no place for where it
 * leads. */
static int32_t take(graph *g, uint32_t node, const gw_sequencer *before, const gx_way *w,
                    int32_t known, gx_outcome *outcome, gx_reached *reached)
{
    const uint32_t rule = gx_mutant_rule(g->m, before->state, w);
    const int32_t *inputs = w->inputs;
    gw_sequencer after = *before;
    uint32_t target;

    if (rule == GX_NO_RULE) {
        outcome->not_single_hit = before->state;
        return 1;
    }
    reached->taken[rule] = 1U;
    gx_apply(&g->m->rules[rule], w->changed_seen, inputs, &after);
    if (!known || !is_original(g->m, before->state, w, rule)) {
        gx_violated(&w->changed, inputs, before, &after, outcome->violated);
    }
    target = number_of(g, &after, reached);
    if (target == GX_NOTHING) {
        reached->complete = 0;
        return 0;
    }
    g->begun[target] |= gx_triggered(&w->changed, inputs, before);
    g->passes[node] |= (uint8_t)gx_time_passes(before, &after);
    return add_edge(g, node, target);
}

/* Returns 0 to end the search. */
static int32_t expand(graph *g, uint32_t node, gx_outcome *outcome, gx_reached *reached)
{
    gw_sequencer before;
    const uint32_t *ways;
    uint32_t number;
    uint32_t count;
    uint32_t i;
    int32_t known;
    int32_t all;
    gx_class *k;

    gx_decode(g->codes[node], &before);
    number = gx_class_of(g->m->c, &before);
    if (number == GX_NOTHING) {
        return 0;
    }
    k = &g->m->c->classes[number];
    if (!gx_know_ways(g->m->c, k, &before) || !gx_ways_of(g->m, k, &ways, &count)) {
        return 0;
    }
    known = is_known(g, node);
    all = (!known || (g->m->wanted[before.state] != 0U)) && is_first_of_class(g, number);
    count = all ? k->ways : count;
    g->edges[node] = g->edge_count;
    for (i = 0U; i < count; i++) {
        if (!take(g, node, &before, &k->way[all ? i : ways[i]], known, outcome, reached)) {
            return 0;
        }
    }
    g->edges[node + 1U] = g->edge_count;
    return 1;
}

typedef struct {
    uint32_t node;
    uint32_t edge;
    uint64_t longest;
} step;

/* Ticks that a node takes by itself. */
static uint64_t own_ticks(const graph *g, uint32_t node)
{
    gw_sequencer memory;

    if (g->passes[node] == 0U) {
        return 1U;
    }
    gx_decode(g->codes[node], &memory);
    return gx_stretch(memory.variables);
}

/* The longest wait from each node until a formula holds, depth first from one node. */
static void measure(const graph *g, uint32_t start, uint64_t formula, uint64_t waits[], step steps[])
{
    uint32_t depth = 1U;

    if (waits[start] != UNSEEN) {
        return;
    }
    waits[start] = ((g->moments[start] & formula) != 0U) ? 0U : OPEN;
    steps[0] = (step){start, g->edges[start], 0U};
    if (waits[start] == 0U) {
        return;
    }
    while (depth > 0U) {
        step *top = &steps[depth - 1U];

        if (top->edge < g->edges[top->node + 1U]) {
            const uint32_t target = g->targets[top->edge];

            if (waits[target] == UNSEEN) {
                if ((g->moments[target] & formula) != 0U) {
                    waits[target] = 0U;
                } else {
                    waits[target] = OPEN;
                    steps[depth] = (step){target, g->edges[target], 0U};
                    depth++;
                }
                continue;
            }
            /* NEVER and OPEN are larger than every number of ticks. */
            top->longest = (waits[target] > top->longest) ? waits[target] : top->longest;
            top->edge++;
        } else {
            const int32_t endless
                = (top->longest >= NEVER) || (g->edges[top->node] == g->edges[top->node + 1U]);

            waits[top->node] = endless ? NEVER : (top->longest + own_ticks(g, top->node));
            depth--;
        }
    }
}

static int32_t measure_all(const graph *g, gx_reached *reached)
{
    uint64_t *waits = malloc((size_t)g->nodes * sizeof *waits);
    step *steps = malloc(((size_t)g->nodes + 1U) * sizeof *steps);
    const int32_t sound = (waits != NULL) && (steps != NULL);
    uint32_t which;

    for (which = 0U; sound && (which < GX_TIMED); which++) {
        const uint64_t formula = UINT64_C(1) << (2U * which);
        const uint64_t trigger = formula << 1;
        uint32_t node;

        memset(waits, 0xFF, (size_t)g->nodes * sizeof *waits);
        reached->longest[which] = 0U;
        for (node = 0U; node < g->nodes; node++) {
            const int32_t by_tick = (int32_t)((g->begun[node] >> which) & 1U);
            uint64_t wait;

            if (((g->moments[node] & trigger) == 0U) && (by_tick == 0)) {
                continue;
            }
            measure(g, node, formula, waits, steps);
            wait = (waits[node] == NEVER) ? GX_ENDLESS : (waits[node] + (uint64_t)by_tick);
            reached->longest[which] = (wait > reached->longest[which]) ? wait
                                                                       : reached->longest[which];
        }
    }
    free(waits);
    free(steps);
    return sound;
}

int32_t gx_reach_mutant(gx_comparison *comparison, const gx_rule changed[], const uint8_t wanted[],
                        uint64_t most, gx_outcome *outcome, gx_reached *reached)
{
    mutant m = {comparison, changed, wanted, NULL, NULL, {0U}};
    gw_sequencer memory;
    uint32_t node;
    int32_t sound;
    graph g;

    memset(outcome, 0, sizeof *outcome);
    memset(reached, 0, sizeof *reached);
    outcome->not_single_hit = -1;
    reached->complete = 1;
    comparison->mutants++;
    sound = begin_graph(&g, &m, most) && gx_find_different(&m);
    if (sound) {
        gw_sequencer_reset(&memory);
        (void)number_of(&g, &memory, reached);
    }
    for (node = 0U; sound && (reached->complete != 0) && (node < g.nodes)
                    && !gx_any_violated(outcome); node++) {
        sound = expand(&g, node, outcome, reached) || (reached->complete == 0);
    }
    reached->nodes = g.nodes;
    if (sound && (reached->complete != 0) && !gx_any_violated(outcome)) {
        sound = measure_all(&g, reached);
    }
    free(m.different);
    free_graph(&g);
    return sound;
}
