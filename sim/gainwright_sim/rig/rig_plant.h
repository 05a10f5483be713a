/* Rig: the axis over one control tick, exact for the linear part, friction held over the tick. */
#ifndef GW_RIG_PLANT_H
#define GW_RIG_PLANT_H

#include "rig_model.h"

/* Coulomb torque against the motion, cut to the torque that just stops the mass within the tick. */
static inline double rig_held_friction(double free_speed, double stop_nms_per_rad,
                                       double coulomb_nm)
{
    const double stopping = -free_speed * stop_nms_per_rad;

    return (stopping > coulomb_nm) ? coulomb_nm : ((stopping < -coulomb_nm) ? -coulomb_nm
                                                                            : stopping);
}

static inline void rig_add(double *restrict x, const double *restrict column, double factor,
                           int32_t states)
{
    int32_t i;

    for (i = 0; i < states; i++) {
        x[i] += column[i] * factor;
    }
}

/* `states` is a constant at each call, so that compilers unroll the loops. */
static inline void rig_plant_linear(const rig_plant *plant, double *restrict x, double torque_nm,
                                    int32_t states)
{
    double next[RIG_STATES_MAX];
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
    for (i = 0; i < states; i++) {
        x[i] = next[i];
    }
}

static inline void rig_plant_step(const rig_plant *plant, double *restrict x, double torque_nm,
                                  double motor_coulomb_nm)
{
    double motor_nm;
    double load_nm;

    switch (plant->states) {
    case 3:
        rig_plant_linear(plant, x, torque_nm, 3);
        break;
    case 5:
        rig_plant_linear(plant, x, torque_nm, 5);
        break;
    case 7:
        rig_plant_linear(plant, x, torque_nm, 7);
        break;
    default:
        rig_plant_linear(plant, x, torque_nm, 9);
        break;
    }
    motor_nm = rig_held_friction(x[plant->motor_speed], plant->motor_stop_nms_per_rad,
                                 motor_coulomb_nm);
    load_nm = rig_held_friction(x[plant->load_speed], plant->load_stop_nms_per_rad,
                                plant->load_coulomb_nm);
    rig_add(x, plant->motor, motor_nm, plant->states);
    rig_add(x, plant->load, load_nm, plant->states);
}

#endif
