/*
 * Rig: what the drive measures of a whole move, and of standing after it: how far the position was
 * from its reference, how far it went past the end, what swings there, and whether it sticks and
 * jumps.
 *
 * Hunting, the cycle of a loop with integral action and static friction, is sticking, jumping over
 * the target, sticking on the other side, for ever (Armstrong-Helouvry & Amin 1996, Automatica
 * 32(5):679). So jumps count only from rest to rest, only if each goes the other way, and only while
 * they do not get smaller: an axis that comes to rest in ever smaller jumps does not hunt. What swings
 * seems to stand where it turns round, but shorter than it takes from one side to the other; with an
 * amplitude of a few counts nobody can tell these apart, so small jumps do not count. A load that swings
 * on its spring and pulls a motor with friction to and fro lets it stand for about as long as it slips,
 * longer only where it hardly overcomes the friction, and then the jumps get smaller soon. An axis that
 * hunts waits until the integral has grown by twice the friction: several times as long as it jumps.
 */
#ifndef GW_RIG_PROFILE_H
#define GW_RIG_PROFILE_H

#include "rig_math.h"
#include "rig_motion.h"

#define RIG_PROFILE_COUNTS 2.0  /* encoder counts that nothing can be said about */
#define RIG_STUCK_COUNTS 1.5    /* a position within so many counts stands ... */
#define RIG_STUCK_TICKS 20      /* ... and sticks after so many sequencer ticks, and ... */
#define RIG_STUCK_TIMES 2       /* ... so many times as long as it took from where it stuck before */
#define RIG_CREEP_COUNTS 8.0    /* so near to that place it has not left it */
#define RIG_JUMP_COUNTS 24.0    /* a shorter way from rest to rest is no jump */
#define RIG_JUMP_KEPT 0.7       /* a jump that is less than this share of the first in its row fades */
#define RIG_JUMP_APART 400      /* sequencer ticks from one that counts to the next that does: what dies
                                 * away has faded meanwhile */
#define RIG_SWING_TICKS 500     /* sequencer ticks of one look at what swings */
#define RIG_PROFILE_LIMIT 4095  /* largest distance reported */
#define RIG_JUMPS_LIMIT 255

typedef struct {
    int32_t on;
    double target_rad;
    double direction; /* of the move */
    double error_rad;   /* largest distance from the reference since the move began */
    double over_rad;    /* largest way past the target */
    double low_rad;     /* of the present look at the load, or at the motor */
    double high_rad;
    double swing_rad;   /* half the height of the last look */
    int32_t look_ticks; /* since the present look began */
    double stuck_rad;   /* where the position stands */
    int32_t stuck_ticks;
    int32_t stood; /* it has stuck before */
    double stood_rad; /* ... there */
    int32_t away_ticks; /* since it left that place */
    int32_t paused;     /* elsewhere it stood for too short a time to stick */
    double paused_rad;  /* ... there */
    double jump_rad;    /* with sign, the last jump */
    double row_rad;     /* size of the first in the row */
    int32_t counted_ticks; /* since the last that counted */
    int32_t jumps;      /* in a row: to and fro, none smaller than the one before */
} rig_profile;

static inline void rig_profile_start(rig_profile *p, double target_rad, double position_rad)
{
    p->target_rad = target_rad;
    p->direction = (target_rad < position_rad) ? -1.0 : 1.0;
    p->error_rad = 0.0;
    p->over_rad = 0.0;
    p->swing_rad = 0.0;
    p->look_ticks = 0;
    p->stuck_rad = position_rad;
    p->stuck_ticks = 0;
    p->stood = 0;
    p->stood_rad = position_rad;
    p->away_ticks = 0;
    p->paused = 0;
    p->jump_rad = 0.0;
    p->row_rad = 0.0;
    p->counted_ticks = 0;
    p->jumps = 0;
}

static inline void rig_profile_jump(rig_profile *p)
{
    const double jump = p->stuck_rad - p->stood_rad;
    const int32_t back = (jump * p->jump_rad < 0.0) ? 1 : 0;
    const int32_t kept = (rig_absolute(jump) >= RIG_JUMP_KEPT * p->row_rad) ? 1 : 0;
    const int32_t more = (p->jumps < RIG_JUMPS_LIMIT) ? p->jumps + 1 : p->jumps;

    if ((back == 0) || (kept == 0)) {
        p->jumps = 1;
        p->row_rad = rig_absolute(jump);
        p->counted_ticks = 0;
    } else if (p->counted_ticks >= RIG_JUMP_APART) {
        p->jumps = more;
        p->counted_ticks = 0;
    } else {
        /* Too soon to tell whether it fades. */
    }
    p->jump_rad = jump;
}

static inline void rig_profile_stood(rig_profile *p, double place_rad)
{
    p->stood = 1;
    p->stood_rad = place_rad;
    p->away_ticks = 0;
    p->paused = 0;
}

/* Where is it? Having left a place where it only paused, it begins anew from there. */
static inline void rig_profile_place(rig_profile *p, double position_rad, double count_rad)
{
    const double near_rad = RIG_CREEP_COUNTS * count_rad;

    if (rig_absolute(position_rad - p->stuck_rad) > RIG_STUCK_COUNTS * count_rad) {
        if ((p->stuck_ticks >= RIG_STUCK_TICKS)
            && (rig_absolute(p->stuck_rad - p->stood_rad) >= RIG_JUMP_COUNTS * count_rad)) {
            p->paused = 1;
            p->paused_rad = p->stuck_rad;
        }
        p->stuck_rad = position_rad;
        p->stuck_ticks = 0;
    } else {
        p->stuck_ticks += 1;
    }
    if ((p->paused != 0) && (rig_absolute(position_rad - p->paused_rad) > near_rad)) {
        rig_profile_stood(p, p->paused_rad);
        p->jumps = 0;
        p->jump_rad = 0.0;
    }
    p->away_ticks = (rig_absolute(position_rad - p->stood_rad) > near_rad) ? p->away_ticks + 1 : 0;
}

/* One tick of standing still, or of a slip. */
static inline void rig_profile_stick(rig_profile *p, double position_rad, double count_rad)
{
    rig_profile_place(p, position_rad, count_rad);
    p->counted_ticks += 1;
    if (p->stuck_ticks < RIG_STUCK_TICKS) {
        return;
    }
    if (p->stood == 0) {
        rig_profile_stood(p, p->stuck_rad);
    } else if ((rig_absolute(p->stuck_rad - p->stood_rad) >= RIG_JUMP_COUNTS * count_rad)
               && (p->stuck_ticks >= RIG_STUCK_TIMES * (p->away_ticks - p->stuck_ticks))) {
        rig_profile_jump(p);
        rig_profile_stood(p, p->stuck_rad);
    } else {
        /* It stands where it stood, or not long enough. */
    }
}

static inline void rig_profile_look(rig_profile *p, double seen_rad)
{
    if (p->look_ticks == 0) {
        p->low_rad = seen_rad;
        p->high_rad = seen_rad;
    }
    p->low_rad = (seen_rad < p->low_rad) ? seen_rad : p->low_rad;
    p->high_rad = (seen_rad > p->high_rad) ? seen_rad : p->high_rad;
    p->look_ticks += 1;
    if (p->look_ticks >= RIG_SWING_TICKS) {
        p->swing_rad = 0.5 * (p->high_rad - p->low_rad);
        p->look_ticks = 0;
    }
}

/* Once per sequencer tick; `seen_rad` is the sensor at the load where there is one. */
static inline void rig_profile_tick(rig_profile *p, const rig_drive *drive, const rig_motion *motion,
                                    int32_t watched, double target_rad, double position_rad,
                                    double seen_rad)
{
    const double behind = rig_absolute(motion->smooth - position_rad);
    const double over = p->direction * (position_rad - target_rad);

    if ((watched != 0) && ((p->on == 0) || (target_rad != p->target_rad))) {
        rig_profile_start(p, target_rad, position_rad);
    }
    p->on = watched;
    if (watched == 0) {
        return;
    }
    p->error_rad = (behind > p->error_rad) ? behind : p->error_rad;
    if ((rig_motion_resting(motion, drive) != 0) && (motion->position == target_rad)) {
        p->over_rad = (over > p->over_rad) ? over : p->over_rad;
        rig_profile_stick(p, position_rad, drive->encoder.count_rad);
        rig_profile_look(p, seen_rad);
    }
}

/* A distance, less what counts hide, as the time that cruise speed takes for it: 0.1 ms. */
static inline int32_t rig_profile_share(const rig_drive *drive, double full_cruise, double distance_rad)
{
    const double beyond = distance_rad - RIG_PROFILE_COUNTS * drive->encoder.count_rad;

    return (beyond > 0.0) ? (int32_t)rig_limited(rig_floor(10000.0 * beyond / full_cruise + 0.5),
                                                 (double)RIG_PROFILE_LIMIT)
                          : 0;
}

#endif
