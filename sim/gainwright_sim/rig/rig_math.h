/* Rig: small functions of real numbers, without calls and with few branches. */
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

#endif
