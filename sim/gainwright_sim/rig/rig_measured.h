/*
 * Rig: what the drive knows of its axis, and what it reports. Everything here comes from what a
 * drive has: its encoder, its current sensors and its own reference; never from the simulated state.
 */
#ifndef GW_RIG_MEASURED_H
#define GW_RIG_MEASURED_H

#include "rig_math.h"
#include "rig_model.h"
#include "rig_motion.h"

#define RIG_MEAN_MAX 1024

typedef struct {
    double position_rad;         /* of the encoder at this control tick, in whole counts */
    double speed_rad_per_s;      /* what the speed loop sees: behind the speed filter */
    double torque_nm;            /* of the current sensors at this control tick */
    double mean_speed_rad_per_s; /* of the positions over the last mean_ticks sequencer ticks */
    int32_t speed_share;         /* mean speed towards the target, 256 = cruise speed */
    int32_t standstill;
    int32_t target_reached;
    int32_t cruising;
    int32_t overspeed;
    int32_t following_error; /* share of the largest allowed */
    int32_t must_move;
    int32_t in_window; /* sequencer ticks within the position window, so far */
    int32_t next;
    double ring[RIG_MEAN_MAX]; /* positions at the last sequencer ticks */
} rig_measured;

static inline void rig_measured_start(rig_measured *m, const rig_drive *drive, double position)
{
    int32_t i;

    m->position_rad = position;
    m->speed_rad_per_s = 0.0;
    m->torque_nm = 0.0;
    m->in_window = 0;
    m->next = 0;
    for (i = 0; i < drive->mean_ticks; i++) {
        m->ring[i] = position;
    }
}

static inline int32_t rig_speed_share(double speed, double cruise)
{
    return (int32_t)rig_limited(rig_floor(256.0 * speed / cruise + 0.5), (double)RIG_SHARE_LIMIT);
}

/* Once per sequencer tick: the mean speed, and what follows from it. */
static inline void rig_measured_report(rig_measured *m, const rig_drive *drive,
                                       const rig_motion *motion, double target)
{
    const double away = target - m->position_rad;
    const double towards = (away < 0.0) ? -1.0 : 1.0;
    const double cruise = drive->cruise_rad_per_s;
    double ahead;

    m->mean_speed_rad_per_s = (m->position_rad - m->ring[m->next]) * drive->means_per_s;
    m->ring[m->next] = m->position_rad;
    m->next = (m->next + 1 < drive->mean_ticks) ? m->next + 1 : 0;
    ahead = towards * m->mean_speed_rad_per_s;
    m->speed_share = rig_speed_share(ahead, cruise);
    m->standstill = (rig_absolute(ahead) <= drive->standstill_rad_per_s) ? 1 : 0;
    m->overspeed = (rig_absolute(ahead) > drive->overspeed_rad_per_s) ? 1 : 0;
    m->following_error
        = (int32_t)rig_limited(rig_floor(rig_absolute(motion->smooth - m->position_rad)
                                             * drive->following_error_per_rad
                                         + 0.5),
                               (double)RIG_FOLLOWING_LIMIT);
    m->must_move = (rig_absolute(motion->smooth_speed) >= drive->must_move_rad_per_s) ? 1 : 0;
    m->cruising = rig_motion_cruising(motion, drive);
    m->in_window = ((rig_motion_resting(motion, drive) != 0) && (motion->position == target)
                    && (rig_absolute(away) <= drive->position_window_rad))
                       ? m->in_window + 1
                       : 0;
    m->target_reached = (m->in_window > drive->position_window_ticks) ? 1 : 0;
}

#endif
