/*
 * Gainwright, exhaustive exploration: what the search asks, at moments that need not be reachable.
 *
 * A lane is a moment, its inputs and the moment after; arrays have one line of slots per lane.
 */
#ifndef GX_ASKED_H
#define GX_ASKED_H

#include <stdint.h>

/* Note in each lane what the search would note of the tick by this row: noted[] has
 * GX_REQUIREMENT_SLOTS places per lane, cleared. */
void gx_ask_ticks(uint32_t count, const int32_t rows[], const int32_t inputs[],
                  const int32_t before[], const int32_t after[], uint8_t noted[]);

/* The same of moments, and holds[] with the GX_FORMULA_COUNT formulas of gx_holds. */
void gx_ask_moments(uint32_t count, const int32_t states[], const int32_t variables[],
                    const int32_t outputs[], uint8_t noted[], uint8_t holds[]);

#endif
