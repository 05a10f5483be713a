/*
 * Rig: how the load rings after a small shake, how fast that dies away, and at which gain of the
 * load's position it would not.
 *
 * A shake moves the reference, at constant speed, out and back by a smooth bump. A measurement is made
 * of four moves with shakes forward, forward, backward, backward; the first and the third go the same
 * way, and so do the second and the fourth. What the move itself makes the load do (a reversal, teeth
 * that pass, the fan next to it) is the same in both of a pair, so that their difference is the ringing
 * alone: A exp(-s t) cos(w t + p). Its transforms over two equal windows, one behind the other, have the
 * ratio exp(-s T) at any frequency near w.
 *
 * Decays at several gains fall on a straight line, own decay x (1 - gain / limit); see DEVELOPERS.
 */
#ifndef GW_RIG_RINGING_H
#define GW_RIG_RINGING_H

#include <math.h>

#include "rig_math.h"
#include "rig_model.h"
#include "rig_motion.h"
#include "rig_sensitivity.h"

#define RIG_SHAKES 4
#define RIG_PAIRS 2
#define RIG_RING_POINTS 8
#define RIG_RING_LEAST_PERIODS 2.5 /* in one window */
#define RIG_RING_SPEED_SHARE 0.05  /* of the load's way in a tick, in its mean */
#define RIG_RING_EARLY 1           /* length of windows in which the frequency is looked for ... */
#define RIG_RING_REACH 6           /* ... to so many lines */
#define RIG_RING_LEFT 0.1          /* of the ringing in the second window, at least */
#define RIG_RING_COUNTS 2.0        /* amplitude of the ringing in counts of the sensor, at least */
#define RIG_RING_SAME 0.03         /* of a decay: so near it is the same at another speed */
/* One decay alone tells the least that the limit can be: of masses in a row on a motor that stands no
 * swinging loses more than so much of its decay per unit of gain; a single mass loses 0.5. */
#define RIG_RING_STEEPEST 0.65

/* Sums of one pair of moves for one length of windows: the difference of both moves. */
typedef struct {
    rig_complex window[2][RIG_RING_LINES];
} rig_ring_sums;

typedef struct {
    rig_ring_sums sums[RIG_RING_LENGTHS][RIG_PAIRS];
    rig_complex phasor[RIG_RING_LINES];
    double bump_rad;       /* of the reference, at this tick */
    double bump_rad_per_s;
    int32_t number;    /* of the shake asked for, negative: none */
    int32_t ticks;     /* sequencer ticks since the shake began; -1: the old speed goes on, -2: not yet */
    int32_t steady_ticks;     /* of constant speed before the shake */
    double place_rad[RIG_PAIRS]; /* of the motor where the first shake of a pair began */
    double late;             /* part of a tick by which this shake began behind that place */
    double ahead_rad;        /* of the motor before its reference, without what it swings by */
    double motor_before_rad; /* one tick ago */
    double load_before_rad;
    double load_way_rad; /* per tick, forwards, smoothed */
    int32_t turned;      /* the load went back in this measurement */
    double turned_gain;  /* of the last measurement in which it did ... */
    double turned_speed;
    double turned_decay; /* ... and what it told; 0: nothing */
    int32_t control_ticks; /* control ticks since then */
    int32_t heard;     /* this shake has been listened to */
    int32_t cut_off;   /* ... not to its end */
    int32_t shakes;    /* listened to, in this measurement */
    int32_t evaluated;
    /* Found by the last evaluation. */
    int32_t sure;
    double decay_per_s;
    double spread_per_s; /* half of what the two pairs differ by */
    double frequency_hz;
    double amplitude_rad; /* in the first window, of one shake */
    /* Of all gains so far. */
    double gain[RIG_RING_POINTS];
    double decay[RIG_RING_POINTS];
    int32_t points;
    double limit;     /* gain at which the line crosses zero; the least it can be with one point */
    double own_decay; /* where the line meets gain 0 */
} rig_ringing;

/* The trial asks for shake `number`, 0 to 3 in turn; 0 begins a measurement. */
static inline void rig_ringing_ask(rig_ringing *s, int32_t number)
{
    if (number == s->number) {
        return;
    }
    if (number >= 0) {
        s->ticks = -1;
        s->heard = 0;
        s->cut_off = 0;
        s->evaluated = 0;
    }
    if (number == 0) {
        int32_t length;
        int32_t line;

        s->shakes = 0;
        s->turned = 0;
        for (length = 0; length < RIG_RING_LENGTHS; length++) {
            for (line = 0; line < RIG_RING_LINES; line++) {
                const rig_complex none = {0.0, 0.0};

                s->sums[length][0].window[0][line] = none;
                s->sums[length][0].window[1][line] = none;
                s->sums[length][1].window[0][line] = none;
                s->sums[length][1].window[1][line] = none;
            }
        }
    }
    s->number = number;
}

/* The bump of the reference, in each control tick: a whole period of a raised cosine. */
static inline void rig_ringing_shake(rig_ringing *s, const rig_drive *drive)
{
    s->bump_rad = 0.0;
    s->bump_rad_per_s = 0.0;
    if ((s->number >= 0) && (s->ticks >= 0) && (s->control_ticks < drive->shake_ticks)) {
        const double turn = 2.0 * RIG_PI / drive->shake_ticks;
        const double sign = (s->number >= RIG_SHAKES / 2) ? -1.0 : 1.0;
        const double half = 0.5 * sign * drive->shake_rad;

        s->bump_rad = half * (1.0 - cos(turn * s->control_ticks));
        s->bump_rad_per_s = half * turn * drive->ticks_per_s * sin(turn * s->control_ticks);
        s->control_ticks += 1;
    }
}

static inline void rig_ringing_add(rig_ringing *s, const rig_drive *drive, double twist)
{
    const int32_t at = s->ticks - drive->ring_from_ticks;
    const int32_t pair = s->number % RIG_PAIRS;
    const double value = (s->number >= RIG_SHAKES / 2) ? -twist : twist;
    int32_t length;
    int32_t line;

    for (length = 0; length < RIG_RING_LENGTHS; length++) {
        const int32_t whole = drive->ring_ticks[length];
        const int32_t window = (at < whole) ? 0 : 1;
        const double hann = 1.0 - cos(2.0 * RIG_PI * (at - window * whole + 0.5) / whole);
        rig_complex *sum = s->sums[length][pair].window[window];

        for (line = 0; (line < RIG_RING_LINES) && (at < 2 * whole); line++) {
            sum[line].real += hann * value * s->phasor[line].real;
            sum[line].imaginary += hann * value * s->phasor[line].imaginary;
        }
    }
    for (line = 0; line < RIG_RING_LINES; line++) {
        const rig_complex old = s->phasor[line];

        s->phasor[line].real = old.real * drive->ring_line[line].turn_real
                               - old.imaginary * drive->ring_line[line].turn_imaginary;
        s->phasor[line].imaginary = old.real * drive->ring_line[line].turn_imaginary
                                    + old.imaginary * drive->ring_line[line].turn_real;
    }
}

/* Whether the shake begins: the first two some time after the speed has become constant, the others
 * where the motor was then. The same angle, and not the same time, since cogging and teeth go by the
 * angle, and a loop closed over the load at a low gain lets the motor's angle drift from move to move.
 * What the motor swings by is left out: it would begin a shake early or late. */
static inline int32_t rig_ringing_due(rig_ringing *s, const rig_drive *drive, const rig_motion *motion)
{
    const int32_t pair = s->number % RIG_PAIRS;
    const double motor_rad = motion->smooth + s->ahead_rad;
    const double beyond = motor_rad - s->place_rad[pair];
    const double way = motion->smooth_speed * drive->sequencer_ticks * drive->tick_s;

    s->late = 0.0;
    if (s->number < RIG_SHAKES / 2) {
        s->place_rad[pair] = motor_rad;
        return (s->steady_ticks >= drive->shake_after_ticks) ? 1 : 0;
    }
    if ((motion->smooth_speed > 0.0) ? (beyond < 0.0) : (beyond > 0.0)) {
        return 0;
    }
    if (rig_absolute(beyond) < rig_absolute(way)) {
        s->late = beyond / way;
    }
    return 1;
}

/* Whether the load goes back while it is heard: its friction is no constant then. */
static inline void rig_ringing_watch(rig_ringing *s, const rig_motion *motion, double load_rad)
{
    const double way = (motion->smooth_speed > 0.0) ? load_rad - s->load_before_rad
                                                    : s->load_before_rad - load_rad;

    s->load_way_rad += RIG_RING_SPEED_SHARE * (way - s->load_way_rad);
    if (s->load_way_rad <= 0.0) {
        s->turned = 1;
    }
}

static inline void rig_ringing_begin(rig_ringing *s)
{
    const rig_complex one = {1.0, 0.0};
    int32_t line;

    s->ticks = 0;
    s->control_ticks = 0;
    s->load_way_rad = 0.0;
    for (line = 0; line < RIG_RING_LINES; line++) {
        s->phasor[line] = one;
    }
}

/* `late` is taken off by interpolation: half a tick is enough to leave something of strong teeth. */
static inline void rig_ringing_move(rig_ringing *s, const rig_drive *drive, const rig_motion *motion,
                                    double motor_rad, double load_rad)
{
    const int32_t steady = rig_motion_cruising(motion, drive);
    const double twist = load_rad - motor_rad;
    const double before = s->load_before_rad - s->motor_before_rad;

    if ((s->number < 0) || (s->heard != 0) || (s->cut_off != 0)) {
        return;
    }
    if (s->ticks < 0) {
        if (steady == 0) {
            s->ticks = -2; /* the old speed has ended */
            s->steady_ticks = 0;
        } else if (s->ticks == -2) {
            s->steady_ticks += 1;
            if (rig_ringing_due(s, drive, motion) != 0) {
                rig_ringing_begin(s);
            }
        } else {
            /* Still the old speed. */
        }
        return;
    }
    s->ticks += 1;
    if (steady == 0) {
        s->cut_off = 1;
    } else if (s->ticks >= drive->ring_from_ticks) {
        rig_ringing_watch(s, motion, load_rad);
        rig_ringing_add(s, drive, twist - s->late * (twist - before));
        if (s->ticks - drive->ring_from_ticks + 1 >= 2 * drive->ring_ticks[RIG_RING_LENGTHS - 1]) {
            s->heard = 1;
            s->shakes += 1;
        }
    } else {
        /* What dies away fast is not listened to; but the load's speed is followed from there on. */
        s->load_way_rad = rig_absolute(motor_rad - s->motor_before_rad);
    }
}

/* Once per sequencer tick; motor and load as measured. */
static inline void rig_ringing_tick(rig_ringing *s, const rig_drive *drive, const rig_motion *motion,
                                    double motor_rad, double load_rad)
{
    rig_ringing_move(s, drive, motion, motor_rad, load_rad);
    s->ahead_rad += drive->ring_slow_share * (motor_rad - motion->smooth - s->ahead_rad);
    s->motor_before_rad = motor_rad;
    s->load_before_rad = load_rad;
}

static inline double rig_ring_energy(const rig_ring_sums *sums, int32_t window, int32_t line)
{
    const rig_complex a = sums->window[window][line];

    return a.real * a.real + a.imaginary * a.imaginary;
}

static inline double rig_ring_both(const rig_ringing *s, int32_t length, int32_t window, int32_t line)
{
    return rig_ring_energy(&s->sums[length][0], window, line)
           + rig_ring_energy(&s->sums[length][1], window, line);
}

/* Frequency of the ringing: that of the line, and what its phase turns from window to window. */
static inline double rig_ring_frequency(const rig_ringing *s, const rig_drive *drive, int32_t length,
                                        int32_t line)
{
    const double window_s = drive->ring_ticks[length] * drive->sequencer_ticks * drive->tick_s;
    double real = 0.0;
    double imaginary = 0.0;
    int32_t pair;

    for (pair = 0; pair < RIG_PAIRS; pair++) {
        const rig_complex a = s->sums[length][pair].window[0][line];
        const rig_complex b = s->sums[length][pair].window[1][line];

        real += a.real * b.real + a.imaginary * b.imaginary;
        imaginary += a.real * b.imaginary - a.imaginary * b.real;
    }
    return (drive->ring_line[line].omega_rad_per_s + atan2(imaginary, real) / window_s) / (2.0 * RIG_PI);
}

/* Line with the largest energy in the first window, of those from `low` to `high` with enough periods
 * in it; -1 if there is none. */
static inline int32_t rig_ring_line(const rig_ringing *s, const rig_drive *drive, int32_t length,
                                    int32_t low, int32_t high)
{
    const double window_s = drive->ring_ticks[length] * drive->sequencer_ticks * drive->tick_s;
    int32_t best = -1;
    int32_t line;

    for (line = (low > 0) ? low : 0; (line <= high) && (line < RIG_RING_LINES); line++) {
        if ((drive->ring_line[line].omega_rad_per_s * window_s >= 2.0 * RIG_PI * RIG_RING_LEAST_PERIODS)
            && ((best < 0) || (rig_ring_both(s, length, 0, line) > rig_ring_both(s, length, 0, best)))) {
            best = line;
        }
    }
    return best;
}

/* Decay of one length of windows, near a line; 0 where too little is left to tell. */
static inline int32_t rig_ring_decay(rig_ringing *s, const rig_drive *drive, int32_t length,
                                     int32_t near)
{
    const double ticks = drive->ring_ticks[length];
    const double window_s = ticks * drive->sequencer_ticks * drive->tick_s;
    const int32_t line = rig_ring_line(s, drive, length, near - RIG_RING_REACH, near + RIG_RING_REACH);
    double first;
    double last;
    double of_pair[RIG_PAIRS];
    int32_t pair;

    if (line < 0) {
        return 0;
    }
    first = rig_ring_both(s, length, 0, line);
    last = rig_ring_both(s, length, 1, line);
    for (pair = 0; pair < RIG_PAIRS; pair++) {
        const rig_ring_sums *sums = &s->sums[length][pair];

        of_pair[pair] = log((rig_ring_energy(sums, 0, line) + 1e-300)
                            / (rig_ring_energy(sums, 1, line) + 1e-300))
                        / (2.0 * window_s);
    }
    s->frequency_hz = rig_ring_frequency(s, drive, length, line);
    /* Hann's window sums to its ticks, a cosine has half of its amplitude at its line, and two pairs of
     * two shakes are four. */
    s->amplitude_rad = sqrt(2.0 * first) / (ticks * RIG_PAIRS);
    s->decay_per_s = log((first + 1e-300) / (last + 1e-300)) / (2.0 * window_s);
    s->spread_per_s = 0.5 * rig_absolute(of_pair[0] - of_pair[1]);
    return ((s->amplitude_rad > RIG_RING_COUNTS * drive->load_count_rad)
            && (last > RIG_RING_LEFT * RIG_RING_LEFT * first))
               ? 1
               : 0;
}

/* Straight line through decays at all gains so far, of which the last is the newest. */
static inline void rig_ring_extrapolate(rig_ringing *s)
{
    double mean_gain = 0.0;
    double mean_decay = 0.0;
    double square = 0.0;
    double product = 0.0;
    double slope = RIG_RING_STEEPEST;
    int32_t i;

    for (i = 0; i < s->points; i++) {
        mean_gain += s->gain[i] / s->points;
        mean_decay += s->decay[i] / s->points;
    }
    for (i = 0; i < s->points; i++) {
        square += (s->gain[i] - mean_gain) * (s->gain[i] - mean_gain);
        product -= (s->gain[i] - mean_gain) * (s->decay[i] - mean_decay);
    }
    if (s->points > 1) {
        slope = product / square;
    }
    s->own_decay = mean_decay + slope * mean_gain;
    s->limit = (slope > 1e-9) ? s->own_decay / slope : 0.0;
}

/* A gain that was measured before is measured anew. */
static inline void rig_ring_remember(rig_ringing *s, double gain)
{
    int32_t i = 0;

    while ((i < s->points) && (s->gain[i] != gain)) {
        i += 1;
    }
    i = (i < RIG_RING_POINTS) ? i : RIG_RING_POINTS - 1;
    s->gain[i] = gain;
    s->decay[i] = s->decay_per_s;
    s->points = (i < s->points) ? s->points : i + 1;
    rig_ring_extrapolate(s);
}

/* A load that goes back shows its friction, which depends on how much of each swing goes back. A decay
 * that is the same at another speed is not made by that: the load has no friction that counts. */
static inline int32_t rig_ring_same(rig_ringing *s, const rig_drive *drive)
{
    const double gain = drive->setting[RIG_LOAD_POSITION_GAIN];
    const double speed = drive->cruise_rad_per_s;
    const int32_t same = ((gain == s->turned_gain) && (speed != s->turned_speed)
                          && (rig_absolute(s->decay_per_s - s->turned_decay)
                              < RIG_RING_SAME * s->turned_decay))
                             ? 1
                             : 0;

    s->turned_gain = gain;
    s->turned_speed = speed;
    s->turned_decay = (s->sure != 0) ? s->decay_per_s : 0.0;
    return same;
}

/* Once all four shakes have been listened to; the longest windows that tell count. */
static inline void rig_ringing_judge(rig_ringing *s, const rig_drive *drive)
{
    /* What rings is the loudest early: later a tone that a move does not repeat may be louder. */
    int32_t near;
    int32_t length;

    if ((s->evaluated != 0) || (s->shakes < RIG_SHAKES) || (s->heard == 0)) {
        return;
    }
    s->sure = 0;
    near = rig_ring_line(s, drive, RIG_RING_EARLY, 0, RIG_RING_LINES - 1);
    for (length = RIG_RING_LENGTHS - 1; (length >= 0) && (s->sure == 0); length--) {
        s->sure = rig_ring_decay(s, drive, length, near);
    }
    if (s->turned != 0) {
        s->sure = ((rig_ring_same(s, drive) != 0) && (s->sure != 0)) ? 1 : 0;
    }
    s->evaluated = 1;
    if (s->sure != 0) {
        rig_ring_remember(s, drive->setting[RIG_LOAD_POSITION_GAIN]);
    }
}

#endif
