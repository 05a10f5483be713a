/*
 * Gainwright, mutants: all that one mutant reaches, and its longest times. See gx_mutant.h.
 *
 * Waits are short: of the values of a timer between two constants two stand for all. The first of
 * them stands for gx_stretch() values, so a node that only lets time pass takes as many ticks.
 */
#ifndef GX_REACH_H
#define GX_REACH_H

#include "gx_mutant.h"

#define GX_ENDLESS UINT64_MAX

/* What is found of a mutant besides the outcome of its ticks. */
typedef struct {
    uint64_t nodes;
    int32_t complete;               /* 0: there are more nodes than were asked for. */
    uint64_t longest[GX_TIMED];     /* Ticks of each timed requirement; GX_ENDLESS: for ever. */
    uint8_t reached[GX_REQUIREMENTS];
    uint8_t taken[GX_RULES];        /* By place of the rule. */
} gx_reached;

/* Explore a mutant from reset, at most so many nodes. 0 if memory is short. */
int32_t gx_reach_mutant(gx_comparison *comparison, const gx_rule changed[], const uint8_t wanted[],
                        uint64_t most, gx_outcome *outcome, gx_reached *reached);

/* Generated. */
/* Values of the timer that a node stands for; 1 if it is no stretch. */
uint32_t gx_stretch(const gw_variable_value variables[]);
/* 1 if only the timer is another, one more. */
int32_t gx_time_passes(const gw_sequencer *before, const gw_sequencer *after);
/* Of a moment: timed formulas (bit 2 n) and triggers (bit 2 n + 1), and reachable formulas. */
uint64_t gx_moment(const gw_sequencer *memory, uint8_t reached[]);
/* Timed requirements, a bit each, whose time begins with a tick. */
uint64_t gx_triggered(const gw_condition_set *conditions, const int32_t inputs[],
                      const gw_sequencer *before);

#endif
