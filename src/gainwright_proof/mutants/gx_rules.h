/* Gainwright, mutants: the rules of one mutant. See gx_mutant.h. */
#ifndef GX_RULES_H
#define GX_RULES_H

#include "gx_classes.h"

/* A mutant while it is judged. */
typedef struct {
    gx_comparison *c;
    const gx_rule *rules;
    const uint8_t *wanted;
    const gx_rows *rows;
    uint32_t *different; /* Rules that are not those of the original, state by state. */
    uint32_t first[GW_STATE_COUNT + 1];
} mutant;

/* Find the rules that are different; 0 if memory is short. */
int32_t gx_find_different(mutant *m);

/* The only rule of the mutant that holds; GX_NO_RULE unless it is exactly one. */
uint32_t gx_mutant_rule(const mutant *m, int32_t state, const gx_way *w);

void gx_apply(const gx_rule *rule, gw_condition_bits seen, const int32_t inputs[],
              gw_sequencer *memory);

int32_t gx_any_violated(const gx_outcome *outcome);

/* One way for each rule and all that actions read of inputs; 0 if memory is short. */
int32_t gx_ways_of(const mutant *m, gx_class *k, const uint32_t **ways, uint32_t *count);

#endif
