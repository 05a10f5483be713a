/* Rig: the axis over one control tick, exact for the linear part, friction held over the tick. */
#ifndef GW_RIG_PLANT_H
#define GW_RIG_PLANT_H

#include "rig_disturbance.h"
#include "rig_friction.h"
#include "rig_model.h"

/* Adds friction to the free motion `next`, of which x is the state before. */
static inline void rig_rub(const rig_plant *restrict plant, double *restrict x,
                           double *restrict next, double brake_nm, int32_t states)
{
    const int32_t motor_speed = states / 2;
    const int32_t load_speed = states - 2;
    const int32_t load_angle = motor_speed - 1;
    const double motor_level
        = rig_friction_level(&plant->motor_friction, x[motor_speed]) + brake_nm;
    const double load_level = rig_friction_level(&plant->load_friction, x[load_speed]);
    const rig_pair pair = rig_friction_pair(&plant->response, next[0] - x[0],
                                            next[load_angle] - x[load_angle], motor_level,
                                            load_level);
    const double motor_angle = x[0];
    const double held_load_angle = x[load_angle];
    int32_t i;

    for (i = 0; i < states; i++) {
        x[i] = next[i] + plant->motor[i] * pair.motor_nm + plant->load[i] * pair.load_nm;
    }
    x[motor_speed] = rig_stopped(x[motor_speed], pair.motor_nm, motor_level,
                                 plant->motor_friction.speed_per_torque);
    x[load_speed] = rig_stopped(x[load_speed], pair.load_nm, load_level,
                                plant->load_friction.speed_per_torque);
    /* What sticks goes no way, not even by rounding. */
    x[0] = (rig_absolute(pair.motor_nm) < motor_level) ? motor_angle : x[0];
    x[load_angle] = (rig_absolute(pair.load_nm) < load_level) ? held_load_angle : x[load_angle];
}

/* `states` is a constant at each call, so that compilers unroll the loops. */
static inline void rig_plant_tick(const rig_plant *restrict plant, double *restrict x,
                                  double torque_nm, rig_added added, double brake_nm,
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
    if (plant->disturbances.present != 0) {
        for (i = 0; i < states; i++) {
            next[i] += plant->motor[i] * added.motor_nm + plant->load[i] * added.load_nm;
        }
    }
    rig_rub(plant, x, next, brake_nm, states);
}

/* `added` counts only where the plant has disturbances. */
static inline void rig_plant_step(const rig_plant *plant, double *x, double torque_nm,
                                  rig_added added, double brake_nm)
{
    switch (plant->states) {
    case 3:
        rig_plant_tick(plant, x, torque_nm, added, brake_nm, 3);
        break;
    case 5:
        rig_plant_tick(plant, x, torque_nm, added, brake_nm, 5);
        break;
    case 7:
        rig_plant_tick(plant, x, torque_nm, added, brake_nm, 7);
        break;
    default:
        rig_plant_tick(plant, x, torque_nm, added, brake_nm, 9);
        break;
    }
}

#endif
