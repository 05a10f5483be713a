/*
 * Rig: what the speed error's answer to a step says of the whole loop.
 *
 * A step h of the position reference adds Kv h to the speed error at once; from then on the error is
 * the step response of the sensitivity S = 1 / (1 + L), with L opened at the torque command and all
 * three gains inside. Its Fourier transform, times j omega, is S, with no model of the machine.
 *
 * What every move adds by itself (a load that swings from the reversal, cogging) is x in moves one way
 * and y in moves the other way. A measurement is made of up to four steps, in moves that take turns:
 * forward, backward, backward, forward, as seen in the direction of the move. Each answer is taken
 * with the sign of its step: x + S, S - y, S - x, S + y. The first two leave x - y, which is small
 * where both directions are alike; all four leave nothing, and half of them against the other half is
 * what cannot be told from noise.
 */
#ifndef GW_RIG_SENSITIVITY_H
#define GW_RIG_SENSITIVITY_H

#include <math.h>

#include "rig_math.h"
#include "rig_model.h"
#include "rig_slow.h"
#include "rig_swing.h"

#define RIG_STEPS 4
/* Noise is taken from so many lines on either side, and what it may explain is so many times that. */
#define RIG_NOISE_REACH 8
#define RIG_NOISE_TIMES 3.0
#define RIG_OWN_NOISE_TIMES 1.5
#define RIG_SLOW_SHARE 0.3
#define RIG_LEFT_SHARE 0.004
#define RIG_PEAK_REACH 6
#define RIG_BLAMED 0.5 /* wi Kv / w^2 of a load that the loop may have driven */
#define RIG_BETWEEN 1.5
#define RIG_TAIL_PERIODS 6.0 /* of both steps of a half */
#define RIG_OF_STEPS 1.0
#define RIG_SETTLED 4.0 /* time constants of position loop and integral, after which a tail may begin */
#define RIG_MOST_SENSITIVITY 100.0
#define RIG_PI 3.14159265358979323846
#define RIG_DEGREES (180.0 / RIG_PI)

typedef struct {
    rig_complex sum[2][RIG_LINES]; /* of the first and the last two steps */
    rig_complex tail[2][RIG_SLOW_LINES]; /* of what is left after a while */
    rig_complex phasor[RIG_LINES]; /* exp(-j omega t) */
    double mean;                   /* speed error before the step */
    double jump;                   /* of the speed error, by one step */
    double sign;                   /* of the step */
    double sensitivity;            /* largest |S| that noise does not explain */
    double phase_margin_deg;       /* likewise, smallest angle of L from -1 where |L| is 1 */
    double driven;                 /* what still swings: 1 is neither damped nor driven by the loop */
    int32_t undamped;              /* what swings by itself has lost its decay */
    double judged_from_hz;         /* ... which only the steps of longer moves tell; 0: none did */
    int32_t steps;                 /* begun */
    int32_t tail_ticks[2];
    int32_t tail_from;             /* ticks after the step from which only what rings is left */
    int32_t ticks;                 /* since the step */
    int32_t whole_ticks;           /* of the shortest step before */
    rig_swing swing;
    rig_slow slow;
} rig_sensitivity;

/* What is left when the answer itself has settled tells of a load that swings. Where moves are short the
 * tail begins as soon as that, so that something of them is left for it. */
static inline int32_t rig_tail_from(const rig_drive *drive)
{
    const double rate = drive->setting[RIG_INTEGRAL_RATE];
    const double gain = drive->setting[RIG_POSITION_GAIN];
    const double settled = RIG_SETTLED * (1.0 / gain + ((rate > 0.0) ? 1.0 / rate : 0.0));
    const double ticks = settled / drive->tick_s;
    const double most = (double)drive->tail_from_ticks;
    const double least = (double)drive->tail_early_ticks;

    return (int32_t)((ticks > most) ? most : ((ticks < least) ? least : ticks));
}

/* Step 0 begins a measurement; `jump` has the sign of the step. */
static inline void rig_sensitivity_start(rig_sensitivity *s, const rig_drive *drive, double jump,
                                         int32_t number)
{
    const rig_complex none = {0.0, 0.0};
    const rig_complex one = {1.0, 0.0};
    int32_t line;

    for (line = 0; line < RIG_LINES; line++) {
        s->phasor[line] = one;
        if (number == 0) {
            s->sum[0][line] = none;
            s->sum[1][line] = none;
        }
        if ((number == 0) && (line < RIG_SLOW_LINES)) {
            s->tail[0][line] = none;
            s->tail[1][line] = none;
        }
    }
    if (number == 0) {
        s->tail_ticks[0] = 0;
        s->tail_ticks[1] = 0;
        s->tail_from = rig_tail_from(drive);
    }
    if ((number == 0) || (s->ticks < s->whole_ticks)) {
        s->whole_ticks = (number == 0) ? RIG_LINE_TICKS_MAX : s->ticks;
    }
    rig_swing_start(&s->swing, number);
    rig_slow_start(&s->slow, number);
    s->sign = (jump < 0.0) ? -1.0 : 1.0;
    s->jump = rig_absolute(jump);
    s->steps = number + 1;
    s->ticks = 0;
}

static inline void rig_sensitivity_rest(rig_sensitivity *s, const rig_drive *drive, double error)
{
    s->mean += drive->step_mean_share * (error - s->mean);
}

static inline void rig_sensitivity_tick(rig_sensitivity *s, const rig_drive *drive, double error)
{
    const double away = s->sign * (error - s->mean);
    const int32_t half = (s->steps > RIG_STEPS / 2) ? 1 : 0;
    rig_complex *sum = s->sum[half];
    rig_complex *block = rig_swing_block(&s->swing, drive);
    int32_t line;

    for (line = 0; line < RIG_LINES; line++) {
        if (s->ticks < drive->line[line].ticks) {
            const double real = s->phasor[line].real;
            const double imaginary = s->phasor[line].imaginary;

            sum[line].real += away * real;
            sum[line].imaginary += away * imaginary;
            if ((line < RIG_SLOW_LINES) && (s->ticks >= s->tail_from)) {
                s->tail[half][line].real += away * real;
                s->tail[half][line].imaginary += away * imaginary;
                block[line].real += away * real;
                block[line].imaginary += away * imaginary;
            }
            s->phasor[line].real = real * drive->line[line].turn_real
                                   - imaginary * drive->line[line].turn_imaginary;
            s->phasor[line].imaginary = real * drive->line[line].turn_imaginary
                                        + imaginary * drive->line[line].turn_real;
        }
    }
    if (s->ticks >= s->tail_from) {
        rig_slow_tick(&s->slow, drive, away);
    }
    s->swing.ticks += (s->ticks >= s->tail_from) ? 1 : 0;
    s->tail_ticks[half] += (s->ticks >= s->tail_from) ? 1 : 0;
    s->ticks += 1;
}

static inline void rig_sensitivity_end(rig_sensitivity *s, const rig_drive *drive)
{
    rig_swing_end(&s->swing, drive, (s->steps > RIG_STEPS / 2) ? 1 : 0);
}

static inline double rig_smaller(double a, double b)
{
    return (a < b) ? a : b;
}

static inline double rig_size_of(rig_complex a)
{
    return sqrt(a.real * a.real + a.imaginary * a.imaginary);
}

/* S of a line, of all steps: (1 - 1/z) times the transform, per jump. */
static inline rig_complex rig_sensitivity_at(const rig_sensitivity *s, const rig_line *line,
                                             int32_t number)
{
    const double jumps = s->jump * s->steps;
    const double real = (1.0 - line->turn_real) / jumps;
    const double imaginary = -line->turn_imaginary / jumps;
    const double sum_real = s->sum[0][number].real + s->sum[1][number].real;
    const double sum_imaginary = s->sum[0][number].imaginary + s->sum[1][number].imaginary;
    const rig_complex found = {real * sum_real - imaginary * sum_imaginary,
                               real * sum_imaginary + imaginary * sum_real};

    return found;
}

/* The first half against the second, as a share of S; 0 as long as there is only one half. */
static inline double rig_noise_at(const rig_sensitivity *s, const rig_drive *drive, int32_t number)
{
    const int32_t at = (number < 0) ? 0 : ((number < RIG_LINES) ? number : RIG_LINES - 1);
    const rig_line *line = &drive->line[at];
    const double real = s->sum[0][at].real - s->sum[1][at].real;
    const double imaginary = s->sum[0][at].imaginary - s->sum[1][at].imaginary;

    return (s->steps == RIG_STEPS)
               ? sqrt((real * real + imaginary * imaginary) * 2.0 * (1.0 - line->turn_real))
                     / (s->jump * s->steps)
               : 0.0;
}

/* What noise may explain of |S|. Below the detector's band, where nothing else would notice, a load
 * that rings on from step to step looks like noise: only a part of |S| is explained there. */
static inline double rig_explained(const rig_sensitivity *s, const rig_drive *drive, int32_t number,
                                   double size)
{
    const double counts = drive->line[number].noise / (s->jump * sqrt((double)s->steps));
    const double own = RIG_OWN_NOISE_TIMES * rig_noise_at(s, drive, number);
    double squares = 0.0;
    double around;
    int32_t near;

    for (near = number - RIG_NOISE_REACH; near <= number + RIG_NOISE_REACH; near++) {
        const double noise = rig_noise_at(s, drive, near);

        squares += noise * noise;
    }
    around = RIG_NOISE_TIMES * sqrt(squares / (2.0 * RIG_NOISE_REACH + 1.0)) + counts;
    around = (own > around) ? own : around;
    return ((number < RIG_SLOW_LINES) && (around > RIG_SLOW_SHARE * size)) ? RIG_SLOW_SHARE * size
                                                                           : around;
}

/* L = 1 / S - 1. */
static inline rig_complex rig_open_loop(rig_complex s)
{
    const double square = s.real * s.real + s.imaginary * s.imaginary + 1e-12;
    const rig_complex loop = {s.real / square - 1.0, -s.imaginary / square};

    return loop;
}

/* |S| where |L| becomes 1 between two lines of which |S| is known; 0 where it does not. */
static inline double rig_crossing(rig_complex a, rig_complex b, double here, double there)
{
    const double size = rig_size_of(a);
    const double next = rig_size_of(b);
    rig_complex from;
    double share;
    double found;
    double most;

    if ((size > 1.0) == (next > 1.0)) {
        return 0.0;
    }
    share = (size - 1.0) / (size - next);
    from.real = 1.0 + a.real + share * (b.real - a.real);
    from.imaginary = a.imaginary + share * (b.imaginary - a.imaginary);
    found = 1.0 / (rig_size_of(from) + 1e-9);
    most = RIG_BETWEEN * ((there > here) ? there : here);
    return (found < most) ? found : most;
}

/* Amplitude of what is left of the answer, as a share of the jump; 0 where it is not of the steps. */
static inline double rig_left(const rig_sensitivity *s, int32_t line)
{
    const double ticks = s->tail_ticks[0] + s->tail_ticks[1];
    const rig_complex first = s->tail[0][line];
    const rig_complex last = s->tail[1][line];
    const rig_complex sum = {first.real + last.real, first.imaginary + last.imaginary};
    const rig_complex difference = {first.real - last.real, first.imaginary - last.imaginary};
    const double size = rig_size_of(sum);

    if ((ticks <= 0.0) || ((s->steps == RIG_STEPS) && (size < RIG_OF_STEPS * rig_size_of(difference)))) {
        return 0.0;
    }
    return 2.0 * size / (ticks * s->jump);
}

/* Largest |S| that there can be at a line, whatever the machine. Seen from the motor, mechanics are
 * passive: their phase stays within 90 degrees. What the controller and the drive's lag leave of the
 * other 90 is how near L can come to -1. */
static inline double rig_most_sensitivity(const rig_drive *drive, double omega, int32_t at_one)
{
    const double left = 0.5 * RIG_PI - omega * drive->lag_s
                        - atan(drive->setting[RIG_INTEGRAL_RATE] / omega)
                        - atan(drive->setting[RIG_POSITION_GAIN] / omega);

    if (left <= 0.0) {
        return RIG_MOST_SENSITIVITY;
    }
    return (at_one != 0) ? 0.5 / sin(0.5 * left) : 1.0 / sin(left);
}

/* Whether something swings at a line that all steps answered alike. */
static inline int32_t rig_answers_on(const rig_sensitivity *s, int32_t line)
{
    const double left = rig_left(s, line);

    return ((left > RIG_LEFT_SHARE) && (left >= rig_left(s, line - 1)) && (left >= rig_left(s, line + 1))
            && (left > 2.0 * rig_left(s, line - RIG_PEAK_REACH)))
               ? 1
               : 0;
}

/* Square of a tail's transform at which the swinging is RIG_LEFT_SHARE of the jump, in a half. */
static inline double rig_least_square(const rig_sensitivity *s, const rig_drive *drive)
{
    const double ticks = s->swing.tail_s[0] / drive->tick_s / (double)s->swing.steps[0];
    const double least = 0.5 * RIG_LEFT_SHARE * ticks * s->jump;

    return least * least * (double)s->swing.steps[0];
}

/* A load that hangs on a spring shows in what is left. At its frequency the motor all but stands, and
 * what the load feels of the controller is the real part of Kp (1 + wi/s) (1 + Kv/s), which is
 * Kp (1 - wi Kv / w^2): the loop damps it if wi Kv is below w^2. The lowest such frequency counts that
 * answers the steps; and whether one above the bound swings by itself and has lost its decay. */
static inline void rig_judge_load(rig_sensitivity *s, const rig_drive *drive, int32_t first)
{
    const double product = drive->setting[RIG_POSITION_GAIN] * drive->setting[RIG_INTEGRAL_RATE];
    const double least = rig_least_square(s, drive);
    int32_t line;

    s->driven = 0.0;
    s->undamped = 0;
    s->judged_from_hz = 0.0;
    while ((first < RIG_SLOW_LINES)
           && (drive->line[first].omega_rad_per_s * s->tail_ticks[0] * drive->tick_s
               < 2.0 * RIG_PI * RIG_TAIL_PERIODS)) {
        first += 1;
    }
    rig_swing_keep(&s->swing, drive, RIG_PEAK_REACH, least);
    for (line = first + RIG_PEAK_REACH; line < RIG_SLOW_LINES - RIG_PEAK_REACH; line++) {
        const double omega = drive->line[line].omega_rad_per_s;
        const double driven = product / (omega * omega);

        if ((s->judged_from_hz == 0.0) && (s->swing.windows[line] == s->steps)) {
            s->judged_from_hz = omega / (2.0 * RIG_PI);
        }
        if ((s->driven == 0.0) && (rig_answers_on(s, line) != 0)) {
            s->driven = driven;
        }
        if ((driven > RIG_BLAMED) && (rig_swing_driven(&s->swing, line, RIG_PEAK_REACH, least) != 0)) {
            s->undamped = 1;
        }
    }
    if (rig_slow_judge(&s->slow, drive, s->steps, s->jump) != 0) {
        s->undamped = 1;
    }
    if ((s->slow.from_rad_per_s > 0.0)
        && ((s->judged_from_hz == 0.0) || (s->slow.from_rad_per_s < 2.0 * RIG_PI * s->judged_from_hz))) {
        s->judged_from_hz = s->slow.from_rad_per_s / (2.0 * RIG_PI);
    }
}

/* Lines that were watched for too short a time say nothing. */
static inline void rig_sensitivity_judge(rig_sensitivity *s, const rig_drive *drive)
{
    const int32_t ticks = (s->ticks < s->whole_ticks) ? s->ticks : s->whole_ticks;
    rig_complex before = {0.0, 0.0};
    double crossing = 0.5;
    double size_before = 0.0;
    int32_t line = 0;
    int32_t first;

    s->sensitivity = 0.0;
    while ((line < RIG_LINES) && (ticks < drive->line[line].least_ticks)) {
        line += 1;
    }
    for (first = line; line < RIG_LINES; line++) {
        const rig_complex found = rig_sensitivity_at(s, &drive->line[line], line);
        const double size = rig_size_of(found);
        const double explained = rig_explained(s, drive, line, size);
        const rig_complex loop = rig_open_loop(found);
        const double omega = drive->line[line].omega_rad_per_s;
        const double sure = rig_smaller(size - explained, rig_most_sensitivity(drive, omega, 0));

        s->sensitivity = (sure > s->sensitivity) ? sure : s->sensitivity;
        if (line > first) {
            const double at_one
                = rig_smaller(rig_crossing(before, loop, size_before, size) - explained,
                              rig_most_sensitivity(drive, omega, 1));

            crossing = (at_one > crossing) ? at_one : crossing;
        }
        before = loop;
        size_before = size;
    }
    s->phase_margin_deg = 2.0 * RIG_DEGREES * asin(0.5 / crossing);
    rig_judge_load(s, drive, first);
}

#endif
