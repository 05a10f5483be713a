/* Rig: small functions of real numbers, without library calls and with few branches. */
#ifndef GW_RIG_MATH_H
#define GW_RIG_MATH_H

#include <stdint.h>

/* Largest whole number not above value, for |value| < 2^62. */
static inline double rig_floor(double value)
{
    const double whole = (double)(int64_t)value; /* towards zero */

    return (whole > value) ? whole - 1.0 : whole;
}

/* value, or the nearer of -limit and limit; limit >= 0. */
static inline double rig_limited(double value, double limit)
{
    return (value > limit) ? limit : ((value < -limit) ? -limit : value);
}

static inline double rig_absolute(double value)
{
    return (value < 0.0) ? -value : value;
}

/* exp(-value) for value >= 0, to 1e-6, by arithmetic alone: the same on every processor. */
static inline double rig_decay(double value)
{
    const double t = value * (1.0 / 256.0);
    double power;
    int32_t i;

    if (value > 40.0) {
        return 0.0;
    }
    power = 1.0 - t * (1.0 - t * (1.0 / 2.0) * (1.0 - t * (1.0 / 3.0) * (1.0 - t * 0.25)));
    for (i = 0; i < 8; i++) {
        power *= power;
    }
    return power;
}

/* sin(2 pi turns), to 1e-8, by arithmetic alone. */
static inline double rig_sine(double turns)
{
    const double rest = turns - rig_floor(turns + 0.5);
    const double near = (rest > 0.25) ? 0.5 - rest : ((rest < -0.25) ? -0.5 - rest : rest);
    const double x = near * 6.283185307179586;
    const double y = x * x;

    return x * (1.0 - y * (1.0 / 6.0) * (1.0 - y * (1.0 / 20.0) * (1.0 - y * (1.0 / 42.0) * (1.0 - y * (1.0 / 72.0)
               * (1.0 - y * (1.0 / 110.0) * (1.0 - y * (1.0 / 156.0)))))));
}

#endif
