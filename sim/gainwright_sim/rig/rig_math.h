/* Rig: small functions of real numbers, without library calls and with few branches. */
#ifndef GW_RIG_MATH_H
#define GW_RIG_MATH_H

#include <math.h>
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

    if (value > 20.0) {
        return 0.0;
    }
    power = 1.0 - t * (1.0 - t * (1.0 / 2.0) * (1.0 - t * (1.0 / 3.0) * (1.0 - t * 0.25)));
    for (i = 0; i < 8; i++) {
        power *= power;
    }
    return power;
}

/* out[i] = sin(2 pi turns[i]) to 1e-9, for |turns| < 2^50; no branches, so that compilers do several
 * at once. Adding and taking away 1.5 * 2^52 rounds to the nearest whole number. */
static inline void rig_sines(const double *restrict turns, double *restrict out, int32_t count)
{
    int32_t i;

    for (i = 0; i < count; i++) {
        const double late = turns[i] - 0.25; /* as a cosine, which is even */
        const double whole = (late + 6755399441055744.0) - 6755399441055744.0;
        const double x = (0.25 - fabs(late - whole)) * 6.283185307179586;
        const double y = x * x;

        out[i] = x
                 * (1.0
                    + y * (-1.0 / 6.0
                           + y * (1.0 / 120.0
                                  + y * (-1.0 / 5040.0
                                         + y * (1.0 / 362880.0
                                                + y * (-1.0 / 39916800.0
                                                       + y * (1.0 / 6227020800.0)))))));
    }
}

#endif
