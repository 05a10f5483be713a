/*
 * Gainwright, directed runs: many moments of one trial, each with its inputs.
 */
#ifndef GX_LANES_H
#define GX_LANES_H

#include <stdint.h>

/* Take ticks in each lane with its inputs, at most most[lane] (at least 1): time goes on as long as
 * the first row is taken again and the state stays. States and variables are those before and then
 * those after; rows[lane] is the row of the last tick, or a negative code; ticks[lane] how many were
 * taken. Tables are by lane, with GW_VARIABLE_SLOTS and GW_INPUT_SLOTS columns. */
void gx_lanes_hold(uint32_t count, const uint32_t most[], const int32_t inputs[], int32_t states[],
                   int32_t variables[], int32_t rows[], uint32_t ticks[]);

/* State and variables after reset. */
void gx_lanes_reset(int32_t *state, int32_t variables[]);

#endif
