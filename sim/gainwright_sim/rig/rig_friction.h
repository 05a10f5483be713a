/*
 * Rig: Coulomb friction on the first and the last mass, solved together.
 *
 * Friction torques m and l are held over a tick. Of what they add to the way that both masses go in
 * the tick, (d_m, d_l) = free way + R (m, l), R is the response of the exact discretisation:
 * symmetric (reciprocity) and positive. Coulomb's law on the ways, a mass that moves has its full
 * friction against its way and a mass at rest any torque up to it, is the optimality condition of
 *
 *     least of 1/2 (m, l) R (m, l)' + (m, l) (free way)'   over |m| <= M, |l| <= L,
 *
 * so that there is one solution; its work, torque times way, is never positive, and a mass that
 * sticks goes no way at all. What speed is left at the end of the tick is then taken away by an
 * impulse, as far as the tick's friction impulse of at most M Ts allows: that too only takes energy.
 */
#ifndef GW_RIG_FRICTION_H
#define GW_RIG_FRICTION_H

#include "rig_math.h"
#include "rig_model.h"

typedef struct {
    double motor_nm;
    double load_nm;
} rig_pair;

/* The load's friction for a given one of the motor. */
static inline double rig_load_friction(const rig_response *r, double load_way, double motor_nm,
                                       double load_level_nm)
{
    return rig_limited(-(load_way + r->motor_load * motor_nm) * r->per_load, load_level_nm);
}

/* The motor's way rises with motor_nm in three straight pieces: load held back one way, load at
 * rest, load held back the other way. If the middle piece has its zero outside itself, the piece on
 * that side has it. */
static inline rig_pair rig_friction_pair(const rig_response *r, double motor_way, double load_way,
                                         double motor_level_nm, double load_level_nm)
{
    const double share = r->motor_load * r->per_load;
    const double both = -(motor_way - share * load_way) * r->per_motor_beside_load;
    const double load = -(load_way + r->motor_load * both) * r->per_load;
    const double slipping = rig_limited(load, load_level_nm);
    const double one = -(motor_way + r->motor_load * slipping) * r->per_motor;
    rig_pair pair;

    pair.motor_nm = rig_limited((slipping == load) ? both : one, motor_level_nm);
    pair.load_nm = rig_load_friction(r, load_way, pair.motor_nm, load_level_nm);
    return pair;
}

/* Change of a speed towards 0 by what impulse of friction is left in the tick. */
static inline double rig_stopped(double speed, double torque_nm, double level_nm,
                                 double speed_per_torque)
{
    const double least = -(level_nm + torque_nm) * speed_per_torque;
    const double most = (level_nm - torque_nm) * speed_per_torque;

    return speed + ((-speed > most) ? most : ((-speed < least) ? least : -speed));
}

/* Friction at a speed: breakaway at rest, falling to Coulomb's beyond the Stribeck speed. */
static inline double rig_friction_level(const rig_friction *f, double speed)
{
    const double share = speed * f->per_stribeck_speed;

    return (f->breakaway_nm > 0.0) ? f->coulomb_nm + f->breakaway_nm * rig_decay(share * share)
                                   : f->coulomb_nm;
}

#endif
