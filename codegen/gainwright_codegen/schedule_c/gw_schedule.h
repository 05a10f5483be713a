/*
 * Gainwright runtime: a gain that follows the position of the axis.
 *
 * NOT A SAFETY FUNCTION. Between two points the gain goes straight from one to the other, so that it
 * is never above the larger nor below the smaller of them (monotone interpolation); beyond the ends it
 * is that of the end. Rounded towards the gain of the lower position. Whoever uses a schedule verifies
 * the axis at places between its points, too: each was found by a trial at one place.
 */
#ifndef GW_SCHEDULE_H
#define GW_SCHEDULE_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

typedef struct {
    const int32_t *position_um; /* of the load, strictly rising, -2^30 to 2^30 */
    const int32_t *gain;        /* words of the stage's ladder, above 0 */
    int32_t points;             /* 2 or more */
    int32_t gain_fraction_bits; /* as in gw_machine.stage[] of the same machine and trial */
} gw_schedule;

/* Gain at a position of the load in um, in the format of the stage's ladder. No divisor is zero:
 * positions rise strictly. */
static inline int32_t gw_schedule_gain(const gw_schedule *schedule, int32_t position_um)
{
    const int32_t last = schedule->points - 1;
    int32_t at = 0;
    int32_t gain;

    if (position_um <= schedule->position_um[0]) {
        gain = schedule->gain[0];
    } else if (position_um >= schedule->position_um[last]) {
        gain = schedule->gain[last];
    } else {
        while (position_um >= schedule->position_um[at + 1]) {
            at += 1;
        }
        gain = schedule->gain[at]
               + (int32_t)((((int64_t)schedule->gain[at + 1] - schedule->gain[at])
                            * ((int64_t)position_um - schedule->position_um[at]))
                           / ((int64_t)schedule->position_um[at + 1] - schedule->position_um[at]));
    }
    return gain;
}

#ifdef __cplusplus
}
#endif

#endif
