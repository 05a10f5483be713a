/*
 * Gainwright, exhaustive exploration: what is generated for one trial.
 *
 * The explorer is a host program that checks the exported sequencer; it is no part of the firmware.
 */
#ifndef GX_MODEL_H
#define GX_MODEL_H

#include <stdint.h>

#include "gw_sequencer.h"
#include "gw_table.h"
#include "gx_sizes.h"

/* Input vectors that stand for all: those of state s are first_vector[s] up to
 * first_vector[s + 1] - 1. They may be a hundred thousand, so they are no generated text, but given to
 * the search. */
typedef int32_t gx_vector[GW_INPUT_SLOTS];
extern const uint32_t gx_first_vector[GW_STATE_COUNT + 1];

/* Lists of vectors that are enough to try: list k is gx_lists[list_begin[k]] up to
 * gx_lists[list_begin[k + 1] - 1]. List first_list[s] is that of state s, followed by one for each
 * of its situations. */
extern const uint32_t gx_first_list[GW_STATE_COUNT];
extern const uint32_t gx_list_begin[GX_LIST_COUNT + 1];
extern const uint32_t gx_lists[];

/* Bit of a response requirement in the marks of a state, by the number of the requirement; -1 for
 * requirements of other kinds. */
extern const int16_t gx_mark_bit[GX_REQUIREMENT_SLOTS];

/* State and variables as one number, mixed radix, and back. */
uint64_t gx_encode(const gw_sequencer *memory);
void gx_decode(uint64_t code, gw_sequencer *memory);
int32_t gx_state_of(uint64_t code);

/* All conditions, each computed by itself from inputs and variables. */
gw_condition_set gx_conditions(const int32_t inputs[], const gw_variable_value before[]);

/* The list for the variables of a state: that of their situation, or of the state as a whole. Where
 * two have the same situation, every input vector gives the conditions the same boolean values. */
uint32_t gx_list_of(int32_t state, const gw_variable_value before[]);

/* The following write numbers of requirements to found[] and return how many. */

/* Invariants that do not hold, reachability requirements whose formula holds; GX_OUTPUTS_DIFFER if
 * the outputs are not those of the specification. */
uint32_t gx_judge_moment(int32_t state, const gw_variable_value before[], const int32_t outputs[],
                         uint16_t found[]);

/* Step requirements that do not hold over a tick and response requirements whose time begins with
 * it: the first function judges those that read no input in this row, the second all others. That
 * the conditions of the row hold is made use of. */
uint32_t gx_judge_move(int32_t row, const gw_variable_value before[], const gw_variable_value after[],
                       uint16_t found[]);
uint32_t gx_judge_tick(int32_t row, const int32_t inputs[], const gw_variable_value before[],
                       const gw_variable_value after[], uint16_t found[]);

/* What gx_holds returns in a state if it is the same for all variables; -1 if it is not. */
extern const int8_t gx_holds_in[GX_FORMULA_COUNT][GW_STATE_COUNT];

/* A formula over one moment: 2 n is the formula of requirement n, 2 n + 1 its trigger;
 * GX_AT_END asks whether the state is an end, GX_ALWAYS holds everywhere. */
int32_t gx_holds(uint32_t formula, int32_t state, const gw_variable_value before[], const int32_t outputs[]);

#endif
