/*
 * Gainwright, mutants: compares a changed table with the original over all that can be reached.
 *
 * A host program that checks a trial; it is no part of the firmware. Conditions, actions and outputs
 * are the exported C, with the actions of all mutants added; rows are data, so that a mutant needs
 * no compiler. A class is a state with all that the variables contribute to the conditions; its ways
 * are the combinations of conditions that some inputs then cause.
 */
#ifndef GX_MUTANT_H
#define GX_MUTANT_H

#include "gw_sequencer.h"
#include "gw_table.h"
#include "gx_sizes.h"

typedef struct {
    gw_condition_set mask;
    gw_condition_set value;
    uint32_t target;
    uint32_t action;
} gx_rule;

/* What became of a mutant. */
typedef struct {
    int32_t differs;        /* A reachable tick does something else than in the original. */
    int32_t not_single_hit; /* A state of which no or several rows hold; -1 if there is none. */
    uint8_t violated[GX_REQUIREMENTS];
} gx_outcome;

typedef struct gx_comparison gx_comparison;

/* A set of rows, as in gx_search.h. */
typedef struct {
    uint64_t words[4];
} gx_rows;

/* Some inputs, by choices of their values: from the first to that before the end. */
typedef struct {
    uint32_t begin;
    uint32_t end;
    gw_condition_set mask; /* Conditions that read these inputs and no others. */
} gx_group;

/* Groups of a state: from the first to that before the end, one at least. */
typedef struct {
    uint32_t begin;
    uint32_t end;
    uint64_t whole;        /* 1: no choice stands for another one. */
    gw_condition_set mask; /* Conditions that tell inputs apart. */
} gx_span;

/* What a comparison tries; all arrays must stay. The inputs are the sum of one choice of each group of
 * the state, whatever the choices; `kinds` tells choices apart besides the conditions of the mask. */
typedef struct {
    const int32_t *choices; /* GW_INPUT_SLOTS each. */
    const uint32_t *kinds;
    const gx_group *groups;
    const gx_span *spans; /* By state. */
} gx_offer;

/* Compare under a variant of the conditions with the rules of the original, all states one after the
 * other as gx_first_rule says; all arrays must stay. Nodes are the reachable codes of the original,
 * in rising order, rows those on a way to each of them; what is offered in a state stands for all
 * inputs there, for all values of the variables. Inputs that cause the same conditions and actions
 * are taken for one, unless the span is whole. NULL if memory is short. */
gx_comparison *gx_comparison_new(int32_t variant, const gx_rule original[],
                                 const uint64_t codes[], const gx_rows rows[], uint64_t nodes,
                                 const gx_offer *offer, const uint8_t wanted[]);
void gx_comparison_free(gx_comparison *comparison);

/* Judge a mutant by its rules. Only wanted states may differ from the original, and only by the rows
 * given. A node with one of these on its way may be out of the mutant's reach: there a difference
 * counts, but no violation. From where the others lead, at most so many nodes are followed; 0 if
 * memory is short. */
int32_t gx_judge_mutant(gx_comparison *comparison, const gx_rule changed[], const gx_rows *rows,
                        const uint8_t wanted[], uint64_t most, gx_outcome *outcome);

/* Generated. */
uint64_t gx_encode(const gw_sequencer *memory);
void gx_decode(uint64_t code, gw_sequencer *memory);
int32_t gx_state_of(uint64_t code);
/* All that actions read of inputs, as one number. */
uint64_t gx_assigned(const int32_t inputs[]);
uint64_t gx_situation(int32_t variant, const gw_variable_value variables[]);
/* The conditions of a variant, from those of the original. */
gw_condition_set gx_changed_conditions(int32_t variant, const gw_condition_set *original,
                                       const int32_t inputs[], const gw_variable_value variables[]);
void gx_violated(const gw_condition_set *conditions, const int32_t inputs[], const gw_sequencer *before,
                 const gw_sequencer *after, uint8_t violated[]);
extern const uint32_t gx_first_rule[];

#endif
