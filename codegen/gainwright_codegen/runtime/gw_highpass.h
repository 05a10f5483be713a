/*
 * Gainwright: second-order high-pass section in direct form 1, Q4.24 signals, Q1.30 coefficients.
 *
 * NOT A SAFETY FUNCTION: see gw_fixed.h.
 *
 *   y[k] = b0 (x[k] - 2 x[k-1] + x[k-2]) + a1 y[k-1] + a2 y[k-2]
 *
 * Both zeros are at z = 1 exactly, so three products are enough. a1 and a2 are stored with the
 * feedback sign already negated: the transfer function is
 * b0 (1 - 1/z)^2 / (1 - a1/z - a2/z^2).
 *
 * In a chain of sections the outputs of one are the inputs of the next, so each pair of earlier
 * values is kept once.
 *
 * With 0 <= b0 < 2^30 and |a2| < 2^30 the sum can not overflow, whatever 32-bit values damaged
 * memory holds: 2^30 2^31 + 2^31 2^31 + 2^30 2^31 = 2^63, less than which it stays. From sound
 * memory, |x| and |y| at most 2^28, it stays below 2^61, and so its whole part fits 32 bits.
 * gainwright.fixed.biquad_reference is the same bit for bit.
 */
#ifndef GW_HIGHPASS_H
#define GW_HIGHPASS_H

#include <stdint.h>

#include "gw_fixed.h"

#define GW_HIGHPASS_FRACTION_BITS 30U
#define GW_HIGHPASS_HALF INT32_C(0x20000000)

typedef struct {
    int32_t b0; /* 0 to 2^30 - 1 */
    int32_t a1;
    int32_t a2; /* -(2^30 - 1) to 2^30 - 1 */
} gw_highpass_coefficients;

/* The last two values of a signal, saturated. */
typedef struct {
    int32_t last;
    int32_t before;
} gw_highpass_past;

static inline void gw_highpass_push(gw_highpass_past *past, int32_t value)
{
    past->before = past->last;
    past->last = value;
}

/* x[k] - 2 x[k-1] + x[k-2], which for saturated values is within +-2^30. */
static inline int32_t gw_highpass_difference(int32_t x, const gw_highpass_past *past)
{
    return (int32_t)(((int64_t)x - (2 * (int64_t)past->last)) + past->before);
}

/* The whole part of the sum of all products; keeps the fraction. */
static inline int32_t gw_highpass_wide_sum(const gw_highpass_coefficients *coefficients,
                                           int32_t difference, const gw_highpass_past *past_y,
                                           int32_t *fraction)
{
    const int64_t sum = *fraction + gw_product_i64(coefficients->b0, difference)
                        + gw_product_i64(coefficients->a1, past_y->last)
                        + gw_product_i64(coefficients->a2, past_y->before);
    const uint64_t below = (uint64_t)sum & UINT64_C(0x3FFFFFFF);
    const uint64_t above = (uint64_t)sum >> GW_HIGHPASS_FRACTION_BITS;

    *fraction = (int32_t)below;
    return gw_signed_i32((uint32_t)(above & UINT32_MAX));
}

/* The same bit for bit, with products of 32 bits only. Fraction bits are twice the bits of a low
 * part, so high times high counts as it is, low times low with the fraction; of what lies between
 * no more is added up than fits 32 bits. Modulo 2^32, so damaged memory gives anything, but no
 * overflow. */
static inline int32_t gw_highpass_narrow_sum(const gw_highpass_coefficients *coefficients,
                                             int32_t difference, const gw_highpass_past *past_y,
                                             int32_t *fraction)
{
    const gw_parts b0 = gw_parts_of(coefficients->b0);
    const gw_parts x = gw_parts_of(difference);
    uint32_t low = (uint32_t)*fraction + (b0.low * x.low);
    uint32_t middle = (b0.high * x.low) + (b0.low * x.high);
    uint32_t below = gw_low_part(middle);
    uint32_t high = (b0.high * x.high) + gw_high_part(middle);
    gw_parts factor = gw_parts_of(coefficients->a1);
    gw_parts y = gw_parts_of(past_y->last);

    low += factor.low * y.low;
    middle = factor.high * y.low;
    high += (factor.high * y.high) + gw_high_part(middle);
    below += gw_low_part(middle);
    middle = factor.low * y.high;
    factor = gw_parts_of(coefficients->a2);
    y = gw_parts_of(past_y->before);
    low += factor.low * y.low;
    high += factor.high * y.high;
    middle += (factor.high * y.low) + (factor.low * y.high) + (low >> 15U);
    below += gw_low_part(middle);
    high += gw_high_part(middle) + (below >> 15U);
    low = (gw_low_part(below) << 15U) | gw_low_part(low);
    *fraction = (int32_t)low;
    return gw_signed_i32(high);
}

/* One sample that is saturated already; remembers it in `past_x`, and what rounding cuts off. That
 * is added to the next sum, so the rounding error has no part at zero frequency: poles near z = 1
 * do not amplify it, and an error at standstill stays within a unit or so. */
static inline int32_t gw_highpass_step(const gw_highpass_coefficients *coefficients,
                                       gw_highpass_past *past_x, const gw_highpass_past *past_y,
                                       int32_t *fraction, int32_t x)
{
    const int32_t difference = gw_highpass_difference(x, past_x);
#if GW_NARROW
    const int32_t y = gw_highpass_narrow_sum(coefficients, difference, past_y, fraction);
#else
    const int32_t y = gw_highpass_wide_sum(coefficients, difference, past_y, fraction);
#endif

    gw_highpass_push(past_x, x);
    return gw_saturate_signal(y);
}

#endif
