/*
 * Rig: friction compensation of the drive, measured on the way. While the reference neither speeds up
 * nor slows down and the axis really moves, the drive takes the mean torque of its speed controller.
 * Half the difference between the two directions is friction, half their sum is weight. At the start
 * of each move friction is fed forward with the sign of the speed reference, and the integral part is
 * led to the weight, so that it need not unwind first. Neither changes a closed loop: the limit of
 * stability is what it was.
 */
#ifndef GW_RIG_COMPENSATION_H
#define GW_RIG_COMPENSATION_H

#include "rig_math.h"
#include "rig_model.h"
#include "rig_motion.h"

typedef struct {
    double mean_speed; /* low-passed measured speed */
    double mean_nm;    /* low-passed torque of the controller in this part of the move */
    double torque_nm[2]; /* at the end of the last such part downwards, upwards */
    int32_t known[2];
    double friction_nm;  /* as measured */
    double weight_nm;
    double applied_nm; /* friction that is fed forward in this move */
    double led;        /* how far the integral part has been led to the weight in this move, 0 to 1 */
    int32_t direction; /* of the speed reference */
    int32_t ticks;      /* of this part so far */
    int32_t upwards;
} rig_compensation;

/* The drive forgets what it has measured. */
static inline void rig_compensation_start(rig_compensation *c)
{
    c->known[0] = 0;
    c->known[1] = 0;
    c->friction_nm = 0.0;
    c->weight_nm = 0.0;
    c->applied_nm = 0.0;
    c->led = 0.0;
    c->direction = 0;
    c->mean_speed = 0.0;
    c->ticks = 0;
}

/* Share of the friction that belongs to a speed reference: it changes sign without a step. */
static inline double rig_compensation_share(const rig_drive *drive, double reference)
{
    return rig_limited(reference * drive->compensation_per_speed, 1.0);
}

static inline void rig_compensation_learn(rig_compensation *c, const rig_drive *drive)
{
    c->torque_nm[c->upwards] = c->mean_nm;
    c->known[c->upwards] = 1;
    if ((c->known[0] != 0) && (c->known[1] != 0)) {
        const double half = 0.5 * (c->torque_nm[1] - c->torque_nm[0]);

        c->weight_nm = c->torque_nm[1] - half;
        c->friction_nm = (half < 0.0) ? 0.0 : rig_limited(half, drive->compensation_limit_nm);
    }
}

/* Whether a torque measured now is friction and weight alone, of a motion in direction `upwards`. */
static inline int32_t rig_compensation_steady(const rig_compensation *c, const rig_drive *drive,
                                              const rig_motion *motion)
{
    const int32_t moves = (rig_absolute(c->mean_speed) > drive->compensation_least_speed) ? 1 : 0;
    const int32_t same = ((c->ticks == 0) || ((c->mean_speed > 0.0) == (c->upwards != 0))) ? 1 : 0;

    return ((rig_motion_cruising(motion, drive) != 0) || (rig_motion_resting(motion, drive) != 0))
               ? moves * same
               : 0;
}

/* Once per control tick, after the controller; `torque_nm` is its torque with what is fed forward. */
static inline void rig_compensation_step(rig_compensation *c, const rig_drive *drive,
                                         const rig_motion *motion, double torque_nm, double speed)
{
    c->mean_speed += drive->compensation_share * (speed - c->mean_speed);
    if (rig_compensation_steady(c, drive, motion) == 0) {
        if (c->ticks >= drive->compensation_ticks) {
            rig_compensation_learn(c, drive);
        }
        c->ticks = 0;
        return;
    }
    c->mean_nm = (c->ticks == 0)
                     ? torque_nm
                     : c->mean_nm + drive->compensation_share * (torque_nm - c->mean_nm);
    c->ticks += 1;
    c->upwards = (c->mean_speed > 0.0) ? 1 : 0;
}

/* Once per control tick, before the controller; returns the torque of the integral part. */
static inline double rig_compensation_lead(rig_compensation *c, const rig_drive *drive,
                                           double reference, double integral_nm)
{
    const double share = rig_compensation_share(drive, reference);
    const double size = rig_absolute(share);
    const int32_t direction = (share > 0.0) - (share < 0.0);
    double led = c->led;

    if (direction != c->direction) {
        c->direction = direction;
        c->applied_nm = c->friction_nm;
        led = 0.0;
    }
    c->led = (size > led) ? size : led;
    if ((c->led == led) || (c->known[0] == 0) || (c->known[1] == 0)) {
        return integral_nm;
    }
    return integral_nm + (c->weight_nm - integral_nm) * (c->led - led) / (1.0 - led);
}

static inline double rig_compensation_torque(const rig_compensation *c, const rig_drive *drive,
                                             double reference)
{
    return c->applied_nm * rig_compensation_share(drive, reference);
}

#endif
