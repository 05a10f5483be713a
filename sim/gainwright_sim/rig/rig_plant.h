/* Rig: the axis over one control tick, exact for the linear part, friction held over the tick. */
#ifndef GW_RIG_PLANT_H
#define GW_RIG_PLANT_H

#include "rig_math.h"
#include "rig_model.h"

/* Coulomb torque against the motion, cut to the torque that just stops the mass within the tick. */
static inline double rig_held_friction(double free_speed, double stop_nms_per_rad,
                                       double coulomb_nm)
{
    return rig_limited(-free_speed * stop_nms_per_rad, coulomb_nm);
}

/* `states` is a constant at each call, so that compilers unroll the loops. */
static inline void rig_plant_tick(const rig_plant *restrict plant, double *restrict x,
                                  double torque_nm, double motor_coulomb_nm, int32_t states)
{
    const int32_t motor_speed = states / 2;
    const int32_t load_speed = states - 2;
    double next[RIG_STATES_MAX];
    double motor_nm;
    double load_nm;
    int32_t i;
    int32_t j;

    for (i = 0; i < states; i++) {
        next[i] = plant->command[i] * torque_nm + plant->constant[i];
    }
    for (j = 0; j < states; j++) {
        for (i = 0; i < states; i++) {
            next[i] += plant->a[j * states + i] * x[j];
        }
    }
    motor_nm = rig_held_friction(next[motor_speed], plant->motor_stop_nms_per_rad,
                                 motor_coulomb_nm);
    load_nm = rig_held_friction(next[load_speed], plant->load_stop_nms_per_rad,
                                plant->load_coulomb_nm);
    for (i = 0; i < states; i++) {
        x[i] = next[i] + plant->motor[i] * motor_nm + plant->load[i] * load_nm;
    }
}

static inline void rig_plant_step(const rig_plant *plant, double *x, double torque_nm,
                                  double motor_coulomb_nm)
{
    switch (plant->states) {
    case 3:
        rig_plant_tick(plant, x, torque_nm, motor_coulomb_nm, 3);
        break;
    case 5:
        rig_plant_tick(plant, x, torque_nm, motor_coulomb_nm, 5);
        break;
    case 7:
        rig_plant_tick(plant, x, torque_nm, motor_coulomb_nm, 7);
        break;
    default:
        rig_plant_tick(plant, x, torque_nm, motor_coulomb_nm, 9);
        break;
    }
}

#endif
