/* Rig: torques that the axis and its drive add on their own: see machine/disturbances.py. */
#ifndef GW_RIG_DISTURBANCE_H
#define GW_RIG_DISTURBANCE_H

#include "rig_math.h"
#include "rig_model.h"

typedef struct {
    double motor_nm;
    double load_nm;
} rig_added;

static inline double rig_sum(const double *values, int32_t first, int32_t end)
{
    double sum = 0.0;
    int32_t i;

    for (i = first; i < end; i++) {
        sum += values[i];
    }
    return sum;
}

/* What is added to a torque command that takes effect in this tick; `turns` is the phase of the
 * disturbance from outside. The current sensors' errors need current. */
static inline rig_added rig_disturbance(const rig_disturbances *d, double angle, double torque_nm,
                                        int32_t torque_on, double turns)
{
    const int32_t pairs_end = d->end + (d->end & 1);
    double phase[RIG_SINES_MAX];
    double sine[RIG_SINES_MAX];
    rig_added added;
    int32_t i;

    for (i = 0; i < pairs_end; i++) {
        phase[i] = d->turns_per_rad[i] * angle;
    }
    if (d->external_turns_per_tick > 0.0) {
        phase[d->end - 1] = turns;
    }
    rig_sines(phase, sine, pairs_end);
    for (i = 0; i < pairs_end; i++) {
        sine[i] *= d->amplitude[i];
    }
    added.motor_nm = torque_nm * (d->gain_error + rig_sum(sine, 0, d->ripple_end))
                     + rig_sum(sine, d->ripple_end,
                               (torque_on != 0) ? d->offset_end : d->cogging_end);
    added.load_nm = rig_sum(sine, d->offset_end, d->end);
    return added;
}

/* Angle as the encoder's two signals show it: their errors have one and two periods per line. */
static inline double rig_interpolated(const rig_encoder *e, double angle)
{
    double phase[2];
    double sine[2];

    if (e->lines_per_rad <= 0.0) {
        return angle;
    }
    phase[0] = e->lines_per_rad * angle;
    phase[1] = 2.0 * phase[0];
    rig_sines(phase, sine, 2);
    return angle + e->first_rad * sine[0] + e->second_rad * sine[1];
}

static inline double rig_counted(const rig_encoder *e, double angle)
{
    return rig_floor(rig_interpolated(e, angle) * e->counts_per_rad) * e->count_rad;
}

#endif
