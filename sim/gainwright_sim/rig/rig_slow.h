/*
 * Rig: loads that swing too slowly for the lines of rig_swing.h, which want periods by the dozen.
 *
 * Where one load swings far more than anything else, what is left of the answers to steps is one
 * damped sine, in each step with a phase of its own. It is fitted by least squares: of a grid of
 * frequencies and decays the pair counts that explains most. One and a fifth of a period is enough.
 * What explains less than nine tenths is not one load that swings; what takes less torque than teeth or
 * cogging do is left to them.
 *
 * At such a load the motor all but stands, and the loop damps it if wi Kv is below w^2: above that it
 * must keep a decay of its own.
 */
#ifndef GW_RIG_SLOW_H
#define GW_RIG_SLOW_H

#include <math.h>

#include "rig_math.h"
#include "rig_model.h"

#define RIG_SLOW_STEPS 4
#define RIG_SLOW_BINS 128
#define RIG_SLOW_TRIED 73 /* frequencies: ... */
#define RIG_SLOW_LOWEST 7.5 /* rad/s: 1.2 Hz ... */
#define RIG_SLOW_RATIO 1.04 /* ... to 20 Hz */
#define RIG_SLOW_DECAYS 14
#define RIG_SLOW_PERIODS 1.2    /* in the tail of the shortest step, at least */
#define RIG_SLOW_EXPLAINED 0.9  /* of the squares */
#define RIG_SLOW_TORQUE 0.08    /* of the jump of the torque by the step, at least */
#define RIG_SLOW_NEAR 1.2       /* ratio of frequencies that may be one load's at two gains */
#define RIG_SLOW_LEFT 0.33      /* of the decay at the lowest position gain, at least */
#define RIG_SLOW_UNDAMPED 0.09  /* of its size lost in the shortest tail: cannot be told from nothing */
#define RIG_SLOW_BLAMED 0.6     /* wi Kv / w^2: up to 1 the loop damps the load */
#define RIG_SLOW_SETTLED 3.0    /* time constants after which the step's own answer is over */

typedef struct {
    double omega_rad_per_s; /* 0: nothing swings so slowly */
    double decay_per_s;
} rig_slow_load;

typedef struct {
    double bin[RIG_SLOW_STEPS][RIG_SLOW_BINS]; /* sums of the tails of the steps' answers */
    int32_t ticks[RIG_SLOW_STEPS];
    int32_t step;
    rig_slow_load found;
    rig_slow_load before; /* at the lowest position gain of this speed gain */
    double speed_gain;
    double position_gain;
    double from_rad_per_s; /* what swings as fast would have been found; 0: the tails are too short */
} rig_slow;

/* Orthogonal directions in a tail that tell nothing: its mean, and the end of the step's answer. */
typedef struct {
    double unit[2][RIG_SLOW_BINS];
    double left[RIG_SLOW_BINS]; /* of the tail, without them */
    int32_t units;
    int32_t bins;
} rig_slow_tail;

static inline void rig_slow_start(rig_slow *s, int32_t number)
{
    int32_t bin;

    s->step = number;
    s->ticks[number] = 0;
    for (bin = 0; bin < RIG_SLOW_BINS; bin++) {
        s->bin[number][bin] = 0.0;
    }
}

static inline void rig_slow_tick(rig_slow *s, const rig_drive *drive, double away)
{
    const int32_t bin = s->ticks[s->step] / drive->slow_bin_ticks;

    if (bin < RIG_SLOW_BINS) {
        s->bin[s->step][bin] += away;
        s->ticks[s->step] += 1;
    }
}

static inline double rig_slow_product(const double *a, const double *b, int32_t count)
{
    double sum = 0.0;
    int32_t i;

    for (i = 0; i < count; i++) {
        sum += a[i] * b[i];
    }
    return sum;
}

/* Takes out of `from` what goes in the direction of `unit`. */
static inline void rig_slow_take(double *from, const double *unit, int32_t count)
{
    const double part = rig_slow_product(from, unit, count);
    int32_t i;

    for (i = 0; i < count; i++) {
        from[i] -= part * unit[i];
    }
}

static inline double rig_slow_unit(double *of, int32_t count)
{
    const double size = sqrt(rig_slow_product(of, of, count)) + 1e-300;
    int32_t i;

    for (i = 0; i < count; i++) {
        of[i] /= size;
    }
    return size;
}

/* The tail of a step, without its mean, and without exp(-Kv t) where that is not over. */
static inline void rig_slow_prepare(const rig_slow *s, const rig_drive *drive, int32_t step,
                                    rig_slow_tail *tail)
{
    const double bin_s = drive->slow_bin_ticks * drive->tick_s;
    const double gain = drive->setting[RIG_POSITION_GAIN];
    int32_t i;

    tail->bins = s->ticks[step] / drive->slow_bin_ticks;
    tail->units = (gain * bin_s * tail->bins < 2.0 * RIG_SLOW_SETTLED) ? 2 : 1;
    for (i = 0; i < tail->bins; i++) {
        tail->unit[0][i] = 1.0;
        tail->unit[1][i] = exp(-gain * bin_s * i);
        tail->left[i] = s->bin[step][i];
    }
    (void)rig_slow_unit(tail->unit[0], tail->bins);
    rig_slow_take(tail->unit[1], tail->unit[0], tail->bins);
    (void)rig_slow_unit(tail->unit[1], tail->bins);
    for (i = 0; i < tail->units; i++) {
        rig_slow_take(tail->left, tail->unit[i], tail->bins);
    }
}

/* Squares of a tail that a damped sine of any phase and size explains; `turn` is its way from bin to bin. */
static inline double rig_slow_explained(const rig_slow_tail *tail, double turn_real, double turn_imaginary)
{
    double wave[2][RIG_SLOW_BINS];
    double explained = 0.0;
    double real = 1.0;
    double imaginary = 0.0;
    int32_t i;

    for (i = 0; i < tail->bins; i++) {
        const double before = real;

        wave[0][i] = real;
        wave[1][i] = imaginary;
        real = before * turn_real - imaginary * turn_imaginary;
        imaginary = before * turn_imaginary + imaginary * turn_real;
    }
    for (i = 0; i < 2; i++) {
        double part;
        int32_t unit;

        for (unit = 0; unit < tail->units; unit++) {
            rig_slow_take(wave[i], tail->unit[unit], tail->bins);
        }
        if (i == 1) {
            rig_slow_take(wave[1], wave[0], tail->bins);
        }
        (void)rig_slow_unit(wave[i], tail->bins);
        part = rig_slow_product(tail->left, wave[i], tail->bins);
        explained += part * part;
    }
    return explained;
}

static inline double rig_slow_omega(int32_t number)
{
    double omega = RIG_SLOW_LOWEST;
    int32_t i;

    for (i = 0; i < number; i++) {
        omega *= RIG_SLOW_RATIO;
    }
    return omega;
}

/* The sine that explains most of all tails; none where it takes too little torque, or explains too
 * little, or may be faster than all that were tried. */
static inline rig_slow_load rig_slow_fit(const rig_slow *s, const rig_drive *drive,
                                         const rig_slow_tail *tail, int32_t steps, double jump)
{
    static const double decays[RIG_SLOW_DECAYS]
        = {-0.3, -0.15, 0.0, 0.05, 0.1, 0.15, 0.2, 0.3, 0.45, 0.7, 1.0, 1.5, 2.5, 4.0};
    const double bin_s = drive->slow_bin_ticks * drive->tick_s;
    const double last = 0.999 * rig_slow_omega(RIG_SLOW_TRIED - 1);
    rig_slow_load best = {0.0, 0.0};
    double most = 0.0;
    double all = 0.0;
    double bins = 0.0;
    double lag;
    int32_t tried;
    int32_t step;

    for (tried = 0; tried < RIG_SLOW_TRIED * RIG_SLOW_DECAYS; tried++) {
        const double omega = rig_slow_omega(tried / RIG_SLOW_DECAYS);
        const double shrinks = exp(-decays[tried % RIG_SLOW_DECAYS] * bin_s);
        double explained = 0.0;

        for (step = 0; (step < steps) && (omega >= s->from_rad_per_s); step++) {
            explained += rig_slow_explained(&tail[step], shrinks * cos(omega * bin_s),
                                            shrinks * sin(omega * bin_s));
        }
        if (explained > most) {
            most = explained;
            best.omega_rad_per_s = omega;
            best.decay_per_s = decays[tried % RIG_SLOW_DECAYS];
        }
    }
    for (step = 0; step < steps; step++) {
        all += rig_slow_product(tail[step].left, tail[step].left, tail[step].bins);
        bins += tail[step].bins;
    }
    lag = drive->setting[RIG_INTEGRAL_RATE] / (best.omega_rad_per_s + 1e-300);
    if ((most < RIG_SLOW_EXPLAINED * all) || (best.omega_rad_per_s >= last)
        || (sqrt(2.0 * (1.0 + lag * lag) * most / (bins + 1e-300))
            < RIG_SLOW_TORQUE * jump * drive->slow_bin_ticks)) {
        best.omega_rad_per_s = 0.0;
    }
    return best;
}

/* Whether a slow load swings that the loop drives, and that has lost its decay. */
static inline int32_t rig_slow_judge(rig_slow *s, const rig_drive *drive, int32_t steps,
                                     double jump)
{
    const double bin_s = drive->slow_bin_ticks * drive->tick_s;
    const double product = drive->setting[RIG_POSITION_GAIN] * drive->setting[RIG_INTEGRAL_RATE];
    rig_slow_tail tail[RIG_SLOW_STEPS];
    double shortest_s = RIG_SLOW_BINS * bin_s;
    double kept;
    double ratio;
    int32_t step;

    for (step = 0; step < steps; step++) {
        rig_slow_prepare(s, drive, step, &tail[step]);
        if (tail[step].bins * bin_s < shortest_s) {
            shortest_s = tail[step].bins * bin_s;
        }
    }
    kept = RIG_SLOW_UNDAMPED / (shortest_s + 1e-9);
    s->from_rad_per_s = 6.28318530717958648 * RIG_SLOW_PERIODS / (shortest_s + 1e-9);
    s->found = rig_slow_fit(s, drive, tail, steps, jump);
    if (s->from_rad_per_s >= rig_slow_omega(RIG_SLOW_TRIED - 1)) {
        s->from_rad_per_s = 0.0;
    }
    if ((drive->setting[RIG_SPEED_GAIN] != s->speed_gain)
        || (drive->setting[RIG_POSITION_GAIN] <= s->position_gain)) {
        s->speed_gain = drive->setting[RIG_SPEED_GAIN];
        s->position_gain = drive->setting[RIG_POSITION_GAIN];
        s->before = s->found;
    }
    ratio = s->before.omega_rad_per_s / (s->found.omega_rad_per_s + 1e-9);
    if ((ratio < RIG_SLOW_NEAR) && (ratio * RIG_SLOW_NEAR > 1.0)
        && (RIG_SLOW_LEFT * s->before.decay_per_s > kept)) {
        kept = RIG_SLOW_LEFT * s->before.decay_per_s;
    }
    return ((s->found.omega_rad_per_s > 0.0) && (s->found.decay_per_s < kept)
            && (product > RIG_SLOW_BLAMED * s->found.omega_rad_per_s * s->found.omega_rad_per_s))
               ? 1
               : 0;
}

#endif
