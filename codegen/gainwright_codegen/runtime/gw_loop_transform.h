/*
 * Gainwright: Fourier sums of one period of the torque command, and ratios of torques.
 *
 * NOT A SAFETY FUNCTION: see gw_fixed.h.
 *
 * Parts of gw_loop_response; gainwright.detector.loop_transform is the same bit for bit.
 */
#ifndef GW_LOOP_TRANSFORM_H
#define GW_LOOP_TRANSFORM_H

#include <stdint.h>

#include "gw_loop_response.h"

#define GW_TRANSFORM_LINES (GW_RESPONSE_POINTS / 2)
#define GW_TRANSFORM_STAGES 8
#define GW_TRANSFORM_BUTTERFLIES (GW_TRANSFORM_STAGES * (GW_TRANSFORM_LINES / 2))
/* Points of at most so many bits let no sum overflow. */
#define GW_TRANSFORM_POINT_BITS 21
/* Ratios of torques, Q12. */
#define GW_RATIO_ONE INT32_C(4096)
#define GW_RATIO_MAX INT32_C(0x8000000)

int32_t gw_transform_larger(int32_t a, int32_t b);
/* Bits of a magnitude, 0 for 0. */
int32_t gw_transform_bits(uint32_t magnitude);
/* value * 2^bits, saturated, or rounded towards minus infinity; bits -30 to 30. */
int32_t gw_transform_scaled(int32_t value, int32_t bits);
int32_t gw_transform_half_of_sum(int32_t a, int32_t b);
/* Square root of 0 or more, rounded down. */
int32_t gw_transform_root(int32_t square);

/* Butterfly 0 to GW_TRANSFORM_BUTTERFLIES - 1, in that order, of the transform of the even (real
 * part) and odd (imaginary part) points; what comes out stands in bit-reversed order. */
void gw_transform_butterfly(int32_t point[GW_RESPONSE_POINTS], int32_t number);

/* D / U of a line 1 to GW_TRANSFORM_LINES - 1 after all butterflies, Q12, at most GW_RATIO_MAX; d is
 * D of one period without its exponent, U holds `parts` / 1024 of them (0 to 2^15) and has lost `shift`
 * bits. */
void gw_transform_ratio(const int32_t point[GW_RESPONSE_POINTS], int32_t line, const int16_t d[2],
                        int32_t parts, int32_t exponent, int32_t shift, int32_t found[2]);

#endif
