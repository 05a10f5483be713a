/*
 * Gainwright: what the lines of a measured loop response say: crossing, margins, noise.
 *
 * NOT A SAFETY FUNCTION: see gw_fixed.h.
 *
 * Parts of gw_loop_response.
 */
#ifndef GW_LOOP_MARGINS_H
#define GW_LOOP_MARGINS_H

#include <stdint.h>

#include "gw_loop_crossings.h"
#include "gw_loop_response.h"

#define GW_MARGINS_NONE GW_CROSSING_NONE
/* Positions on the gain ladder are not farther out, 1/256 rung. */
#define GW_POSITION_MAX INT32_C(0x100000)

/* Complete periods in the sums, 0 to GW_RESPONSE_PERIODS_MAX. */
int32_t gw_margins_periods(const gw_loop_response *response);
/* Sum of their weights, 0 to 127 a period. */
int32_t gw_margins_weights(const gw_loop_response *response);
/* Eighths of the height that the test signal has, 1 to 8 whatever the memory holds. */
static inline int32_t gw_margins_eighths(const gw_loop_response *response)
{
    return gw_clamp_i32(response->eighths, 1, 8);
}

/* D / U of a line, Q12. */
void gw_margins_ratio(const gw_loop_response *response, const gw_response_settings *settings,
                      int32_t line, int32_t found[2]);

/* Nothing is found yet in this evaluation. */
void gw_margins_begin(gw_loop_response *response);
/* Nothing was found before it either. */
void gw_margins_forget(gw_loop_response *response);
/* First the lines without excitation, by number from 0 to GW_TRANSFORM_LINES /
 * GW_RESPONSE_NOISE_STEP - 1; one outside the band says nothing. */
void gw_margins_take_noise(gw_loop_response *response, const gw_response_settings *settings,
                           int32_t place);
/* Then the others, line by line in their order, likewise. */
void gw_margins_take_line(gw_loop_response *response, const gw_response_settings *settings,
                          int32_t line);
/* After the last line: the prediction, and whether it agrees with those before. */
void gw_margins_conclude(gw_loop_response *response, const gw_response_settings *settings);

#endif
