/*
 * Gainwright: second-order section (biquad) in direct form 1, Q4.24 signals, Q1.30 coefficients.
 *
 * NOT A SAFETY FUNCTION: see gw_fixed.h.
 *
 *   y[k] = b0 x[k] + b1 x[k-1] + b2 x[k-2] + a1 y[k-1] + a2 y[k-2]
 *
 * a1 and a2 are stored with the feedback sign already negated: the transfer function is
 * (b0 + b1/z + b2/z^2) / (1 - a1/z - a2/z^2).
 *
 * The accumulator cannot overflow: inputs and outputs are saturated to 2^28 - 1, a coefficient is
 * at most 2^31, and 5 * 2^31 * (2^28 - 1) + 2^30 < 2^62. gainwright.fixed.biquad_reference is the
 * same bit for bit.
 */
#ifndef GW_BIQUAD_H
#define GW_BIQUAD_H

#include <stdint.h>

#include "gw_fixed.h"

#define GW_BIQUAD_FRACTION_BITS 30U
#define GW_BIQUAD_HALF (INT32_C(1) << 29)

typedef struct {
    int32_t b0;
    int32_t b1;
    int32_t b2;
    int32_t a1;
    int32_t a2;
} gw_biquad_coefficients;

/* Only gw_biquad_reset and gw_biquad_step write here; |x1|, |x2|, |y1|, |y2| <= 2^28 - 1 and
 * 0 <= fraction < 2^30. */
typedef struct {
    int32_t x1;
    int32_t x2;
    int32_t y1;
    int32_t y2;
    int32_t fraction;
} gw_biquad_state;

static inline void gw_biquad_reset(gw_biquad_state *state)
{
    state->x1 = 0;
    state->x2 = 0;
    state->y1 = 0;
    state->y2 = 0;
    state->fraction = GW_BIQUAD_HALF;
}

/* Sum of the five products for a saturated input, without rounding: Q.54. */
static inline int64_t gw_biquad_sum(const gw_biquad_coefficients *coefficients,
                                    const gw_biquad_state *state, int32_t x)
{
    return gw_product_i64(coefficients->b0, x) + gw_product_i64(coefficients->b1, state->x1)
           + gw_product_i64(coefficients->b2, state->x2)
           + gw_product_i64(coefficients->a1, state->y1)
           + gw_product_i64(coefficients->a2, state->y2);
}

static inline void gw_biquad_store(gw_biquad_state *state, int32_t x, int32_t y)
{
    state->x2 = state->x1;
    state->x1 = x;
    state->y2 = state->y1;
    state->y1 = y;
}

/* One sample. What rounding cuts off is kept and added to the next sum, so the rounding error has
 * no part at zero frequency: poles near z = 1 do not amplify it, and an error at standstill stays
 * within a unit or so. */
static inline int32_t gw_biquad_step(const gw_biquad_coefficients *coefficients,
                                     gw_biquad_state *state, int32_t x)
{
    const int32_t input = gw_saturate_signal(x);
    const int64_t sum = gw_biquad_sum(coefficients, state, input) + state->fraction;
    const int32_t output = gw_saturate_signal(gw_floor_shift_i64(sum, GW_BIQUAD_FRACTION_BITS));

    state->fraction = (int32_t)((uint64_t)sum & UINT64_C(0x3FFFFFFF));
    gw_biquad_store(state, input, output);
    return output;
}

#endif
