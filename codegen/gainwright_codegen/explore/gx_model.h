/*
 * Gainwright, exhaustive exploration: what is generated for one trial.
 *
 * The explorer is a host program that checks the exported sequencer; it is no part of the firmware.
 */
#ifndef GX_MODEL_H
#define GX_MODEL_H

#include <stdint.h>

#include "gw_sequencer.h"
#include "gx_sizes.h"

/* Input vectors to try: those of state s are first_vector[s] up to first_vector[s + 1] - 1. The
 * first distinct_vectors[s] of them behave in different ways, the others each as one of these. */
extern const uint32_t gx_first_vector[GW_STATE_COUNT + 1];
extern const uint32_t gx_distinct_vectors[GW_STATE_COUNT];
extern const int32_t gx_vectors[GX_VECTOR_COUNT][GW_INPUT_SLOTS];

/* Bit of a response requirement in the marks of a state, by the number of the requirement; -1 for
 * requirements of other kinds. */
extern const int16_t gx_mark_bit[GX_REQUIREMENT_SLOTS];

/* State and variables as one number, mixed radix, and back. */
uint64_t gx_encode(const gw_sequencer *memory);
void gx_decode(uint64_t code, gw_sequencer *memory);
int32_t gx_state_of(uint64_t code);

/* What the variables contribute to the conditions of a state's rows: where two are equal, every
 * input vector gives the same truth values. GX_ANY_SITUATION says nothing. */
#define GX_ANY_SITUATION UINT64_MAX
uint64_t gx_situation(int32_t state, const int32_t before[]);

/* The following write numbers of requirements to found[] and return how many. */

/* Invariants that do not hold, reachability requirements whose formula holds; GX_OUTPUTS_DIFFER if
 * the outputs are not those of the specification. */
uint32_t gx_judge_moment(int32_t state, const int32_t before[], const int32_t outputs[],
                         uint16_t found[]);

/* Step requirements that do not hold over a tick and response requirements whose time begins with
 * it: the first function judges those that read no input in this row, the second all others. */
uint32_t gx_judge_move(int32_t row, const int32_t before[], const int32_t after[],
                       uint16_t found[]);
uint32_t gx_judge_tick(int32_t row, const int32_t inputs[], const int32_t before[],
                       const int32_t after[], uint16_t found[]);

/* What gx_holds returns in a state if it is the same for all variables; -1 if it is not. */
extern const int8_t gx_holds_in[GX_FORMULA_COUNT][GW_STATE_COUNT];

/* A formula over one moment: 2 n is the formula of requirement n, 2 n + 1 its trigger;
 * GX_AT_END asks whether the state is an end, GX_ALWAYS holds everywhere. */
int32_t gx_holds(uint32_t formula, int32_t state, const int32_t before[], const int32_t outputs[]);

#endif
