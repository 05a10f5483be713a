/*
 * Gainwright: test pulse, a short alternating torque added to the torque command.
 *
 * NOT A SAFETY FUNCTION: see gw_fixed.h.
 *
 * The shape is a table of Q0.15 samples, one per control tick, played once; the height is Q4.24 per
 * unit of rated torque.
 */
#ifndef GW_PULSE_H
#define GW_PULSE_H

#include <stdint.h>

#include "gw_fixed.h"

typedef struct {
    const int16_t *shape; /* Q0.15 */
    int32_t ticks;        /* samples in shape */
} gw_pulse_shape;

typedef struct {
    int32_t next;   /* sample to play next; at or past the end when idle */
    int32_t height; /* Q4.24 */
} gw_pulse;

static inline void gw_pulse_reset(gw_pulse *pulse)
{
    pulse->next = INT32_MAX;
    pulse->height = 0;
}

static inline void gw_pulse_start(gw_pulse *pulse, int32_t height)
{
    pulse->next = 0;
    pulse->height = height;
}

/* Torque to add in this control tick, Q4.24; 0 when idle. */
static inline int32_t gw_pulse_sample(gw_pulse *pulse, const gw_pulse_shape *shape)
{
    int32_t torque = 0;

    if (pulse->next < shape->ticks) {
        torque = gw_multiply_round_i32(pulse->height, shape->shape[pulse->next], 15U);
        pulse->next += 1;
    }
    return torque;
}

#endif
