/* Rig: torques that the axis and its drive add on their own: see machine/disturbances.py. */
#ifndef GW_RIG_DISTURBANCE_H
#define GW_RIG_DISTURBANCE_H

#include "rig_math.h"
#include "rig_model.h"

typedef struct {
    double motor_nm;
    double load_nm;
} rig_added;

/* Sum of sines over the motor angle. */
static inline double rig_orders_at(const rig_orders *o, double angle)
{
    double sum = 0.0;
    int32_t i;

    for (i = 0; i < o->count; i++) {
        sum += o->amplitude[i] * rig_sine(o->turns_per_rad[i] * angle);
    }
    return sum;
}

/* What is added to a torque command that takes effect in this tick; `turns` is the phase of the
 * disturbance from outside. The current sensors' errors need current. */
static inline rig_added rig_disturbance(const rig_disturbances *d, double angle, double torque_nm,
                                        int32_t torque_on, double turns)
{
    rig_added added;

    added.motor_nm = torque_nm * (d->gain_error + rig_orders_at(&d->ripple, angle))
                     + rig_orders_at(&d->cogging, angle);
    added.motor_nm += (torque_on != 0) ? rig_orders_at(&d->offset, angle) : 0.0;
    added.load_nm = rig_orders_at(&d->passing, angle) + d->external_nm * rig_sine(turns);
    return added;
}

/* Angle as the encoder's two signals show it: their errors have one and two periods per line. */
static inline double rig_interpolated(const rig_encoder *e, double angle)
{
    const double lines = e->lines_per_rad * angle;

    return (e->lines_per_rad > 0.0)
               ? angle + e->first_rad * rig_sine(lines) + e->second_rad * rig_sine(2.0 * lines)
               : angle;
}

static inline double rig_counted(const rig_encoder *e, double angle)
{
    return rig_floor(rig_interpolated(e, angle) * e->counts_per_rad) * e->count_rad;
}

#endif
