/*
 * Gainwright: where a measured loop response crosses the real axis, and how much of that is noise.
 *
 * NOT A SAFETY FUNCTION: see gw_fixed.h.
 *
 * Parts of gw_loop_response.
 */
#ifndef GW_LOOP_CROSSINGS_H
#define GW_LOOP_CROSSINGS_H

#include <stdint.h>

#include "gw_loop_response.h"

#define GW_CROSSING_NONE INT32_MAX

/* Where noise is to be looked at that concerns a line: in the flat part of the band, or above. */
static inline int32_t gw_crossings_part(const gw_response_settings *settings, int32_t line)
{
    const int32_t above = (line <= (2 * settings->flat_line)) ? 1 : 2;

    return (line <= settings->flat_line) ? 0 : above;
}

/* Neither crossings nor noise are known yet. */
void gw_crossings_begin(gw_loop_response *response);
/* No noise is known of any line, from any evaluation. */
void gw_crossings_forget(gw_loop_response *response);
/* D / U of a line without excitation, Q12, in its part of the band, by number as gw_margins_take_noise
 * has it. */
void gw_crossings_add_noise(gw_loop_response *response, int32_t part, int32_t place,
                            const int32_t found[2]);
/* Between the two lines before this one, whose imaginary parts have different signs; Y of this one,
 * Q12. All noise is known. */
void gw_crossings_look(gw_loop_response *response, const gw_response_settings *settings, int32_t line,
                       int32_t re, int32_t im);

#endif
