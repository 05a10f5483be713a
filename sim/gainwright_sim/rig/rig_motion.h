/*
 * Rig: the drive's move generator. Time-optimal trapezoid of speed towards a target that may change
 * at any time, then a moving average, which limits the jerk to acceleration / averaging time and
 * can never leave the hull of the positions it averages.
 */
#ifndef GW_RIG_MOTION_H
#define GW_RIG_MOTION_H

#include "rig_model.h"

typedef struct {
    double position; /* of the trapezoid */
    double speed;
    double sum;   /* of the ring of positions */
    double smooth; /* averaged position: the reference */
    double smooth_speed;
    int32_t next;
    int32_t cruise_ticks; /* ticks since the trapezoid reached cruise speed */
    int32_t rest_ticks;   /* ticks since it came to rest */
    double ring[RIG_SMOOTHING_MAX];
} rig_motion;

static inline void rig_motion_start(rig_motion *m, const rig_drive *drive, double position)
{
    int32_t i;

    m->position = position;
    m->speed = 0.0;
    m->smooth = position;
    m->smooth_speed = 0.0;
    m->sum = position * drive->smoothing_ticks;
    m->next = 0;
    m->cruise_ticks = 0;
    m->rest_ticks = drive->smoothing_ticks;
    for (i = 0; i < drive->smoothing_ticks; i++) {
        m->ring[i] = position;
    }
}

/* Speed of the trapezoid one tick on, for a distance still to go. */
static inline double rig_trapezoid_speed(double speed, double distance, const rig_drive *drive)
{
    const double change = drive->acceleration_rad_per_s2 * drive->tick_s;
    const double direction = (distance < 0.0) ? -1.0 : 1.0;
    const double ahead = direction * speed; /* positive: towards the target */
    const double after = ahead + change;
    double wanted;

    /* May it be one step faster and still stop in time? One tick of travel is kept in hand. */
    if (after * after <= 2.0 * drive->acceleration_rad_per_s2
                             * (direction * distance - after * drive->tick_s)) {
        /* A lower cruise speed than before is reached by a ramp too. */
        wanted = (after > drive->cruise_rad_per_s) ? drive->cruise_rad_per_s : after;
        wanted = (ahead - change > wanted) ? ahead - change : wanted;
    } else if (ahead * ahead <= 2.0 * drive->acceleration_rad_per_s2
                                    * (direction * distance - ahead * drive->tick_s)) {
        wanted = ahead;
    } else {
        wanted = ahead - change;
    }
    return direction * wanted;
}

static inline void rig_trapezoid_step(rig_motion *m, const rig_drive *drive, double target,
                                      int32_t enabled)
{
    const double change = drive->acceleration_rad_per_s2 * drive->tick_s;
    const double distance = target - m->position;

    if (enabled == 0) {
        m->speed = (m->speed > change) ? m->speed - change
                                       : ((m->speed < -change) ? m->speed + change : 0.0);
        m->position += m->speed * drive->tick_s;
    } else if ((distance <= 2.0 * change * drive->tick_s)
               && (distance >= -2.0 * change * drive->tick_s) && (m->speed <= 2.0 * change)
               && (m->speed >= -2.0 * change)) {
        m->position = target;
        m->speed = 0.0;
    } else {
        m->speed = rig_trapezoid_speed(m->speed, distance, drive);
        m->position += m->speed * drive->tick_s;
    }
}

static inline void rig_motion_step(rig_motion *m, const rig_drive *drive, double target,
                                   int32_t enabled)
{
    const double cruise = drive->cruise_rad_per_s;
    const double before = m->smooth;

    rig_trapezoid_step(m, drive, target, enabled);
    m->sum += m->position - m->ring[m->next];
    m->ring[m->next] = m->position;
    m->next = (m->next + 1 < drive->smoothing_ticks) ? m->next + 1 : 0;
    m->smooth = m->sum * drive->smoothing_share;
    m->smooth_speed = (m->smooth - before) * drive->ticks_per_s;
    m->cruise_ticks = ((m->speed >= cruise) || (m->speed <= -cruise)) ? m->cruise_ticks + 1 : 0;
    m->rest_ticks = (m->speed == 0.0) ? m->rest_ticks + 1 : 0;
}

static inline int32_t rig_motion_cruising(const rig_motion *m, const rig_drive *drive)
{
    return (m->cruise_ticks > drive->smoothing_ticks) ? 1 : 0;
}

static inline int32_t rig_motion_resting(const rig_motion *m, const rig_drive *drive)
{
    return (m->rest_ticks >= drive->smoothing_ticks) ? 1 : 0;
}

#endif
