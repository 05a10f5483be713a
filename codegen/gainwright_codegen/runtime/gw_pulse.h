/*
 * Gainwright: test pulse, a short alternating torque added to the torque command.
 *
 * NOT A SAFETY FUNCTION: see gw_fixed.h.
 *
 * The shape is a table of Q0.15 samples, one per control tick, played once; the height is Q4.24 per
 * unit of rated torque. No memory gives more torque than the height that the pulse was started
 * with, or reads beyond the shape: a damaged height ends the pulse and stays visible.
 */
#ifndef GW_PULSE_H
#define GW_PULSE_H

#include <stdint.h>

#include "gw_fixed.h"

#define GW_PULSE_IDLE INT32_MAX
#define GW_PULSE_DAMAGED INT32_C(-1)

typedef struct {
    const int16_t *shape; /* Q0.15, any 16 bits */
    int32_t ticks;        /* samples in shape */
} gw_pulse_shape;

typedef struct {
    int32_t next;       /* sample to play next; at or past the end when idle, negative if damaged */
    int32_t height;     /* Q4.24 */
    int32_t complement; /* -1 - height: a second copy, to tell a damaged height */
} gw_pulse;

static inline int32_t gw_pulse_complement(int32_t height)
{
    return -1 - height;
}

static inline void gw_pulse_reset(gw_pulse *pulse)
{
    pulse->next = GW_PULSE_IDLE;
    pulse->height = 0;
    pulse->complement = -1;
}

static inline void gw_pulse_start(gw_pulse *pulse, int32_t height, int32_t complement)
{
    pulse->next = 0;
    pulse->height = height;
    pulse->complement = complement;
}

/* height * sample / 2^15, rounded half up, sample of 16 bits; no larger than the height, so it fits: tables have no
 * height below 0, and INT32_MIN, whose opposite does not fit, gives itself. */
static inline int32_t gw_pulse_torque(int32_t height, int32_t sample)
{
#if GW_NARROW
    const gw_parts parts = gw_parts_of(height);
    const uint32_t whole = parts.high * (uint32_t)sample;
    const uint32_t rest = (parts.low * (uint32_t)sample) + UINT32_C(16384);

    return gw_signed_i32(whole + gw_high_part(rest));
#else
    const int64_t raised = gw_product_i64(height, sample) + INT64_C(16384);
    const uint64_t whole = ((uint64_t)raised >> 15U) & UINT32_MAX;

    return gw_signed_i32((uint32_t)whole);
#endif
}

/* Torque to add in this control tick, Q4.24; 0 when idle or damaged. */
static inline int32_t gw_pulse_sample(gw_pulse *pulse, const gw_pulse_shape *shape)
{
    const int32_t next = pulse->next;
    int32_t torque = 0;

    if ((next >= 0) && (next < shape->ticks)) {
        if (pulse->complement == gw_pulse_complement(pulse->height)) {
            torque = gw_pulse_torque(pulse->height, shape->shape[next]);
            pulse->next = next + 1;
        } else {
            pulse->next = GW_PULSE_DAMAGED;
        }
    }
    return torque;
}

#endif
