/*
 * Gainwright: fixed-point arithmetic.
 *
 * NOT A SAFETY FUNCTION. Firmware that uses this file moves machinery on purpose and drives it to
 * the edge of instability. People stay out of the hazard zone; an independent emergency stop, limit
 * switches and safe torque off must be in place and tested first. Risk assessment, local codes and
 * licensed practice decide.
 *
 * Qm.n has m integer bits without the sign and n fraction bits. Signals are Q4.24, per unit of the
 * drive's rated torque or of the axis' top speed, saturated to -2^28 to 2^28 - 1, which is
 * sixteen times that (29 bits, so that processors with a saturating instruction need just one).
 *
 * Every function is defined for every argument in its stated range: no signed overflow, no right
 * shift of a negative value, no shift by the width or more, no out-of-range conversion
 * (ISO/IEC 9899:1999, 6.5p5, 6.5.7, 6.3.1.3p3). gainwright.fixed.arithmetic is the same bit for bit.
 */
#ifndef GW_FIXED_H
#define GW_FIXED_H

#include <stdint.h>

/* Of the static files gw_*.h and gw_*.c, which are the same in every export; gw_trial.h and
 * gw_machine.h are made for one version. */
#define GW_RUNTIME_VERSION 9

#define GW_SIGNAL_FRACTION_BITS 24U
#define GW_SIGNAL_LIMIT INT32_C(268435455)
#define GW_SIGNAL_LOWEST (-GW_SIGNAL_LIMIT - 1)

/* value, or the nearer of low and high if it lies outside; low <= high. */
static inline int32_t gw_clamp_i32(int32_t value, int32_t low, int32_t high)
{
    return (value < low) ? low : ((value > high) ? high : value);
}

/* 1 if value lies below low or above high, else 0; low <= high. */
static inline uint32_t gw_outside_i32(int32_t value, int32_t low, int32_t high)
{
    return ((value < low) || (value > high)) ? 1U : 0U;
}

/* The same as gw_clamp_i32 for a wide value and limits that fit 32 bits. */
static inline int32_t gw_clamp_i64(int64_t value, int32_t low, int32_t high)
{
    return (value < low) ? low : ((value > high) ? high : (int32_t)value);
}

static inline int32_t gw_saturate_i32(int64_t value)
{
    return gw_clamp_i64(value, INT32_MIN, INT32_MAX);
}

/* Saturate to the range of a Q4.24 signal. */
static inline int32_t gw_saturate_signal(int32_t value)
{
    return gw_clamp_i32(value, GW_SIGNAL_LOWEST, GW_SIGNAL_LIMIT);
}

/* The number that a word is in two's complement. Compilers see that nothing is to be done. */
static inline int32_t gw_signed_i32(uint32_t word)
{
    const uint32_t complement = ~word;

    return (word <= (uint32_t)INT32_MAX) ? (int32_t)word : (-1 - (int32_t)complement);
}

static inline int64_t gw_signed_i64(uint64_t word)
{
    const uint64_t complement = ~word;

    return (word <= (uint64_t)INT64_MAX) ? (int64_t)word : (-1 - (int64_t)complement);
}

/* floor(value / 2^bits), bits 0 to 62. What is shifted has no sign; the sign is put on again. */
static inline int64_t gw_floor_shift_i64(int64_t value, uint32_t bits)
{
    const uint64_t shifted = (uint64_t)value >> bits;
    const uint64_t sign = (value < 0) ? ~(UINT64_MAX >> bits) : UINT64_C(0);

    return gw_signed_i64(shifted | sign);
}

/* floor(value / 2^bits), bits 0 to 30. */
static inline int32_t gw_floor_shift_i32(int32_t value, uint32_t bits)
{
    const uint32_t shifted = (uint32_t)value >> bits;
    const uint32_t sign = (value < 0) ? ~(UINT32_MAX >> bits) : UINT32_C(0);

    return gw_signed_i32(shifted | sign);
}

/* A value = high * 2^15 + low, low 0 to 2^15 - 1; high, which may be negative, modulo 2^32. */
typedef struct {
    uint32_t high;
    uint32_t low;
} gw_parts;

static inline uint32_t gw_high_part(uint32_t value)
{
    return ((value >> 15U) ^ UINT32_C(0x10000)) - UINT32_C(0x10000);
}

static inline uint32_t gw_low_part(uint32_t value)
{
    return value & UINT32_C(0x7FFF);
}

static inline gw_parts gw_parts_of(int32_t value)
{
    gw_parts parts;

    parts.high = gw_high_part((uint32_t)value);
    parts.low = gw_low_part((uint32_t)value);
    return parts;
}

/* value / 2^bits rounded half up, bits 1 to 62: the floor plus the highest bit shifted out, so that
 * no half is added that could overflow. */
static inline int64_t gw_round_shift_i64(int64_t value, uint32_t bits)
{
    const uint32_t fewer = bits - 1U;
    const uint64_t tail = (uint64_t)value >> fewer;
    const uint64_t half = tail & UINT64_C(1);

    return gw_floor_shift_i64(value, bits) + (int64_t)half;
}

/* value / 2^bits rounded half up, bits 1 to 30. */
static inline int32_t gw_round_shift_i32(int32_t value, uint32_t bits)
{
    const uint32_t half = ((uint32_t)value >> (bits - 1U)) & UINT32_C(1);

    return gw_floor_shift_i32(value, bits) + (int32_t)half;
}

/* value * 2^bits, saturated, bits 0 to 30. */
static inline int32_t gw_shift_left_i32(int32_t value, uint32_t bits)
{
    const uint64_t factor = UINT64_C(1) << bits;

    return gw_saturate_i32((int64_t)value * (int64_t)factor);
}

static inline int32_t gw_add_i32(int32_t a, int32_t b)
{
    return gw_saturate_i32((int64_t)a + (int64_t)b);
}

static inline int32_t gw_subtract_i32(int32_t a, int32_t b)
{
    return gw_saturate_i32((int64_t)a - (int64_t)b);
}

/* -value; the most negative number gives INT32_MAX. */
static inline int32_t gw_negate_i32(int32_t value)
{
    return (value == INT32_MIN) ? INT32_MAX : -value;
}

/* |value|; the most negative number gives INT32_MAX. */
static inline int32_t gw_absolute_i32(int32_t value)
{
    return (value < 0) ? gw_negate_i32(value) : value;
}

/* Counts of 16 bits that only ever change go round. */
#define GW_COUNT_MAX UINT32_C(65535)

/* 1 where a processor multiplies 32 by 32 bits to no more than 32: the filters do it by parts. */
#ifndef GW_NARROW
#if defined(__ARM_ARCH_6M__) || defined(__ARM_ARCH_8M_BASE__)
#define GW_NARROW 1
#else
#define GW_NARROW 0
#endif
#endif
/* Single products: clang is to spare the call of its library; gcc's own, called, costs less than the
 * halves in place ... */
#ifndef GW_NARROW_MULTIPLY
#if defined(__clang__)
#define GW_NARROW_MULTIPLY GW_NARROW
#else
#define GW_NARROW_MULTIPLY 0
#endif
#endif
/* ... but for squares, which clang finds in the halves of a product by itself. */
#ifndef GW_NARROW_SQUARE
#if defined(__clang__)
#define GW_NARROW_SQUARE 0
#else
#define GW_NARROW_SQUARE GW_NARROW
#endif
#endif

#define GW_HALF_MASK UINT32_C(65535)

/* floor(value / 2^16), by a sign that is put on again: -2^15 to 2^15 - 1. */
static inline int32_t gw_high_half(int32_t value)
{
    const uint32_t half = ((uint32_t)value >> 16U) ^ UINT32_C(0x8000);

    return (int32_t)half - INT32_C(0x8000);
}

/* a * b in full width from halves, whose products fit 32 bits: less than what compilers call there for
 * 64 by 64 bits. */
static inline int64_t gw_product_of_halves_i64(int32_t a, int32_t b)
{
    const uint32_t a_low = (uint32_t)a & GW_HALF_MASK;
    const uint32_t b_low = (uint32_t)b & GW_HALF_MASK;
    const int32_t a_high = gw_high_half(a);
    const int32_t b_high = gw_high_half(b);
    const uint32_t low = a_low * b_low;
    const uint32_t carried = low >> 16U;
    const int32_t middle = (a_high * (int32_t)b_low) + (int32_t)carried;
    const uint32_t kept = (uint32_t)middle & GW_HALF_MASK;
    const int32_t both = ((int32_t)a_low * b_high) + (int32_t)kept;
    const int32_t high = (a_high * b_high) + gw_high_half(middle) + gw_high_half(both);
    const uint32_t below = (((uint32_t)both & GW_HALF_MASK) << 16U) | (low & GW_HALF_MASK);

    return gw_signed_i64(((uint64_t)(uint32_t)high << 32U) | below);
}

/* a * b in full width. */
static inline int64_t gw_product_i64(int32_t a, int32_t b)
{
#if GW_NARROW_MULTIPLY
    return gw_product_of_halves_i64(a, b);
#else
    return (int64_t)a * (int64_t)b;
#endif
}

/* value * value in full width from halves, value -2^30 to 2^30. */
static inline int64_t gw_square_of_halves_i64(int32_t value)
{
    const uint32_t size = (uint32_t)gw_absolute_i32(value);
    const uint32_t low = size & GW_HALF_MASK;
    const uint32_t high = size >> 16U;
    const uint32_t top = high * high; /* MISRA C:2012 10.8 */
    const uint32_t middle = 2U * high * low;
    const uint32_t bottom = low * low;
    const uint64_t outer = ((uint64_t)top << 32U) | bottom;
    const uint64_t inner = (uint64_t)middle << 16U;
    const uint64_t square = outer + inner;

    return (int64_t)square;
}

/* value * value in full width, value -2^30 to 2^30. */
static inline int64_t gw_square_i64(int32_t value)
{
#if GW_NARROW_SQUARE
    return gw_square_of_halves_i64(value);
#else
    return gw_product_i64(value, value);
#endif
}

/* value * value, value -46340 to 46340. */
static inline uint32_t gw_square_u32(int32_t value)
{
    const int32_t square = value * value;

    return (uint32_t)square;
}

/* A checksum with one word more: a rotated exclusive or, so that one changed bit always shows. */
static inline uint32_t gw_checksum_with(uint32_t checksum, uint32_t word)
{
    return (((checksum & UINT32_C(0x07FFFFFF)) * 32U) | (checksum >> 27)) ^ word;
}

/* a * b / 2^bits, rounded toward minus infinity, saturated, bits 0 to 62. */
static inline int32_t gw_multiply_floor_i32(int32_t a, int32_t b, uint32_t bits)
{
    return gw_saturate_i32(gw_floor_shift_i64(gw_product_i64(a, b), bits));
}

#endif
