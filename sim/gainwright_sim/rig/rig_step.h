/*
 * Rig: a small step of the position reference, and what the drive measures of the answer.
 *
 * The answer y goes from 0 to 1. A position loop of gain Kv around an ideal speed loop would answer
 * with 1 - exp(-Kv t), and what was left of the error before the step would fade in the same way;
 * swinging is what the answer does about that.
 */
#ifndef GW_RIG_STEP_H
#define GW_RIG_STEP_H

#include "rig_math.h"
#include "rig_model.h"
#include "rig_sensitivity.h"

#define RIG_STEP_COUNTS 4.0

typedef struct {
    int32_t wanted; /* the trial may ask for steps */
    int32_t on;
    double mean_rad;   /* reference minus position before the step */
    double unrest_rad; /* largest distance of that from its mean, of the last moments */
    double height_rad; /* with the sign of the move */
    double expected;   /* answer of the ideal loop */
    double unrest;     /* half of that, as a share of the step: what the step does not answer for */
    double overshoot;  /* largest y - 1 beyond that */
    double swinging;   /* largest |y - expected| beyond that, of the last moments */
    double creep_rad;  /* mean distance from the expected position */
    double swing_rad;  /* largest distance from that, of the last moments */
    double least_rad;  /* the least of these at the end of a step, 0: none yet */
    int32_t ticks;     /* since the step */
    rig_sensitivity loop;
    int32_t number; /* of the step in a measurement of margins, negative: in none */
    int32_t judged; /* margins are those of all steps so far */
} rig_step;

/* What the position swings at the end of a step; below a few counts nothing can be told apart. */
static inline void rig_step_remember(rig_step *s, const rig_drive *drive)
{
    const double floor_rad = RIG_STEP_COUNTS * drive->encoder.count_rad;
    const double swing = (s->swing_rad > floor_rad) ? s->swing_rad : floor_rad;

    s->least_rad = ((s->least_rad <= 0.0) || (swing < s->least_rad)) ? swing : s->least_rad;
}

/* So high that the speed controller's torque jumps by a share of its limit, and that the axis does
 * not turn round. */
static inline void rig_step_set(rig_step *s, const rig_drive *drive, int32_t on, int32_t number,
                                double speed)
{
    const double gain = drive->setting[RIG_SPEED_GAIN];
    const double position_gain = drive->setting[RIG_POSITION_GAIN];
    const double by_torque = drive->step_torque_nm / ((gain > 0.0) ? gain : 1.0);
    const double jump = (by_torque < drive->step_speed) ? by_torque : drive->step_speed;

    if ((on != 0) && (s->on == 0) && (position_gain > 0.0)) {
        s->height_rad = (((speed < 0.0) != ((number == 1) || (number == 2))) ? -jump : jump) / position_gain;
        /* Half of it: a crest may fall on the peak of the answer, or not. */
        s->unrest = 0.5 * s->unrest_rad / rig_absolute(s->height_rad);
        s->expected = 0.0;
        s->overshoot = 0.0;
        s->swinging = 0.0;
        s->creep_rad = 0.0;
        s->swing_rad = 0.0;
        s->ticks = 0;
        s->number = number;
        if (number >= 0) {
            rig_sensitivity_start(&s->loop, drive, s->height_rad * position_gain, number);
        }
    }
    if ((on == 0) && (s->on != 0) && (s->number >= 0)) {
        rig_sensitivity_end(&s->loop, drive);
    }
    if ((on == 0) && (s->on != 0) && (s->ticks >= drive->step_ticks)
        && (position_gain >= drive->step_least_gain)) {
        rig_step_remember(s, drive);
    }
    s->on = on;
}

/* What creeps is no swinging: the distance's own mean is taken out. */
static inline void rig_step_swing(rig_step *s, const rig_drive *drive, double away_rad)
{
    const double swing = rig_absolute(away_rad - s->creep_rad);

    s->creep_rad += drive->step_mean_share * (away_rad - s->creep_rad);
    s->swing_rad *= 1.0 - drive->step_forget_share;
    s->swing_rad = (swing > s->swing_rad) ? swing : s->swing_rad;
}

/* Step to be added to the reference; `error` is reference minus position, without the step. */
static inline double rig_step_tick(rig_step *s, const rig_drive *drive, double error)
{
    double answer;
    double away;
    double beyond;

    if (s->wanted == 0) {
        return 0.0;
    }
    if (s->on == 0) {
        s->mean_rad += drive->step_mean_share * (error - s->mean_rad);
        s->unrest_rad *= 1.0 - drive->step_forget_share;
        away = rig_absolute(error - s->mean_rad);
        s->unrest_rad = (away > s->unrest_rad) ? away : s->unrest_rad;
        return 0.0;
    }
    answer = (s->mean_rad * (1.0 - s->expected) - error) / s->height_rad;
    beyond = answer - 1.0 - s->unrest;
    s->overshoot = (beyond > s->overshoot) ? beyond : s->overshoot;
    s->ticks += 1;
    away = rig_absolute(answer - s->expected);
    rig_step_swing(s, drive, (answer - s->expected) * s->height_rad);
    away -= s->unrest;
    s->swinging *= 1.0 - drive->step_forget_share;
    s->swinging = (away > s->swinging) ? away : s->swinging;
    s->expected += drive->setting[RIG_POSITION_GAIN] * drive->tick_s * (1.0 - s->expected);
    return s->height_rad;
}

/* The speed error, step included. */
static inline void rig_step_listen(rig_step *s, const rig_drive *drive, double error)
{
    if (s->wanted == 0) {
        return;
    }
    if ((s->on != 0) && (s->number >= 0)) {
        rig_sensitivity_tick(&s->loop, drive, error);
    } else if (s->on == 0) {
        rig_sensitivity_rest(&s->loop, drive, error);
    } else {
        /* A step of the search. */
    }
}

/* Swinging against the least so far, 128: as much. */
static inline int32_t rig_step_growth(const rig_step *s)
{
    return (s->least_rad > 0.0) ? (int32_t)rig_limited(rig_floor(128.0 * s->swing_rad / s->least_rad),
                                                       (double)RIG_SHARE_LIMIT)
                                : 0;
}

static inline int32_t rig_step_share(double value)
{
    return (int32_t)rig_limited(rig_floor(256.0 * value + 0.5), (double)RIG_SHARE_LIMIT);
}

#endif
