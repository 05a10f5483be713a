/*
 * Rig: what a load swings by itself while the answers to steps of the position are watched, and how
 * fast that dies away.
 *
 * rig_sensitivity.h takes what all steps answered alike. A load that swings on and on, held by its
 * friction to one size, answers no step: it swings from move to move, in any phase. So what is left of
 * each answer is judged by its size too.
 *
 * How fast it dies away follows from two equal windows, one behind the other: at any line near a damped
 * sine the ratio of their transforms is exp(-decay T). With the position gain Kv the decay falls along a
 * straight line, d(0) (1 - Kv / limit), as it does with a sensor at the load. The decay at the lowest
 * position gain is kept; a gain at which less than a third of it is left is too near its limit. Ripple and
 * teeth leave lines as well, which never die away.
 */
#ifndef GW_RIG_SWING_H
#define GW_RIG_SWING_H

#include <math.h>

#include "rig_math.h"
#include "rig_model.h"

#define RIG_SWING_BLOCKS 32
#define RIG_SWING_PERIODS 2.5 /* in a window, at least */
#define RIG_SWING_REACH 3     /* lines by which two halves, or two gains, may differ */
#define RIG_SWING_LEFT 0.33   /* of the decay at the lowest position gain, at least */
#define RIG_SWING_GROWN 2.25  /* times the square that it had at the lowest position gain */
#define RIG_SWING_CLEAR_OF_RIPPLE 81.0 /* times the least square, where it also died away ... */
#define RIG_SWING_TOLD 0.15    /* ... 1/s: at the lowest gain, so that it could be told */
#define RIG_SWING_UNDAMPED 0.1 /* 1/s: a decay that cannot be told from none */
#define RIG_SWING_CLEAR 9.0   /* times the least square: what was not there before, and is now */
#define RIG_SWING_LOUD 400.0  /* likewise: 8 % of a step is no ripple of a tuned loop */
#define RIG_SWING_DAMPED 1.0  /* 1/s: the least decay of what was not there before */
#define RIG_HALVES 2

typedef struct {
    double real;
    double imaginary;
} rig_complex;

typedef struct {
    rig_complex block[RIG_SWING_BLOCKS][RIG_SLOW_LINES]; /* of the present step, one behind the other */
    double size[RIG_HALVES][RIG_SLOW_LINES];      /* squares, of whole tails */
    double window[2][RIG_SLOW_LINES];             /* squares, of both windows of them */
    double window_s[RIG_SLOW_LINES];              /* sum over steps of the length of a window ... */
    int32_t windows[RIG_SLOW_LINES];              /* ... and these steps: long enough for the line */
    double tail_s[RIG_HALVES];                    /* sum over steps of whole tails */
    int32_t steps[RIG_HALVES];
    int32_t ticks; /* of the present step's tail */
    double speed_gain;    /* at which the decays below were measured ... */
    double position_gain; /* ... the lowest so far */
    double decay_per_s[RIG_SLOW_LINES];
    double times[RIG_SLOW_LINES]; /* square of the size, over the least; 0: nothing swung */
} rig_swing;

static inline double rig_square_of(rig_complex a)
{
    return a.real * a.real + a.imaginary * a.imaginary;
}

static inline void rig_swing_start(rig_swing *s, int32_t number)
{
    const rig_complex none = {0.0, 0.0};
    int32_t block;
    int32_t line;
    int32_t half;

    s->ticks = 0;
    for (line = 0; line < RIG_SLOW_LINES; line++) {
        for (block = 0; block < RIG_SWING_BLOCKS; block++) {
            s->block[block][line] = none;
        }
        if (number == 0) {
            s->size[0][line] = 0.0;
            s->size[1][line] = 0.0;
            s->window[0][line] = 0.0;
            s->window[1][line] = 0.0;
            s->window_s[line] = 0.0;
            s->windows[line] = 0;
        }
    }
    for (half = 0; (half < RIG_HALVES) && (number == 0); half++) {
        s->tail_s[half] = 0.0;
        s->steps[half] = 0;
    }
}

/* Where this tick's part of a line goes; what comes after the last block counts for nothing. */
static inline rig_complex *rig_swing_block(rig_swing *s, const rig_drive *drive)
{
    const int32_t block = s->ticks / drive->swing_block_ticks;

    return s->block[(block < RIG_SWING_BLOCKS) ? block : RIG_SWING_BLOCKS - 1];
}

/* Hann's window over some blocks, one value a block: what that lets through of other lines lies where
 * a block's own transform has its zeros. */
static inline rig_complex rig_swing_window(const rig_swing *s, int32_t from, int32_t blocks,
                                           int32_t line, int32_t flat)
{
    rig_complex sum = {0.0, 0.0};
    int32_t i;

    for (i = 0; i < blocks; i++) {
        const double weight
            = (flat != 0) ? 1.0 : 1.0 - cos(6.28318530717958648 * (i + 0.5) / blocks);

        sum.real += weight * s->block[from + i][line].real;
        sum.imaginary += weight * s->block[from + i][line].imaginary;
    }
    return sum;
}

/* A step is over: its tail is added to those before it in the half. */
static inline void rig_swing_end(rig_swing *s, const rig_drive *drive, int32_t half)
{
    const int32_t found = s->ticks / drive->swing_block_ticks;
    const int32_t blocks = (found < RIG_SWING_BLOCKS) ? found : RIG_SWING_BLOCKS - 1;
    const double block_s = drive->swing_block_ticks * drive->tick_s;
    const double window_s = block_s * (double)(blocks / 2);
    int32_t line;

    s->tail_s[half] += block_s * blocks;
    s->steps[half] += 1;
    for (line = 0; line < RIG_SLOW_LINES; line++) {
        s->size[half][line] += rig_square_of(rig_swing_window(s, 0, blocks, line, 1));
        if (drive->line[line].omega_rad_per_s * window_s >= 6.28318530717958648 * RIG_SWING_PERIODS) {
            s->window[0][line] += rig_square_of(rig_swing_window(s, 0, blocks / 2, line, 0));
            s->window[1][line]
                += rig_square_of(rig_swing_window(s, blocks / 2, blocks / 2, line, 0));
            s->window_s[line] += window_s;
            s->windows[line] += 1;
        }
    }
}

/* Whether something swings at a line in one half: it stands out, and is more than `least` of a step,
 * given as the square of a tail's transform. */
static inline int32_t rig_swings(const rig_swing *s, int32_t half, int32_t line, int32_t reach,
                                 double least)
{
    const double *size = s->size[half];

    return ((line >= reach) && (line < RIG_SLOW_LINES - reach) && (size[line] > least)
            && (size[line] >= size[line - 1]) && (size[line] >= size[line + 1])
            && (size[line] > 4.0 * size[line - reach]) && (size[line] > 4.0 * size[line + reach]))
               ? 1
               : 0;
}

/* ... in every half that there is; the second one may lie a few lines off. */
static inline int32_t rig_swings_on(const rig_swing *s, int32_t line, int32_t reach, double least)
{
    int32_t near;

    if (rig_swings(s, 0, line, reach, least) == 0) {
        return 0;
    }
    for (near = line - RIG_SWING_REACH; near <= line + RIG_SWING_REACH; near++) {
        if ((s->steps[1] == 0) || (rig_swings(s, 1, near, reach, least) != 0)) {
            return 1;
        }
    }
    return 0;
}

/* Decay at a line, of all steps; 0 where the windows are too short to tell. */
static inline double rig_swing_decay(const rig_swing *s, int32_t line)
{
    return (s->windows[line] == 0)
               ? 0.0
               : log((s->window[0][line] + 1e-300) / (s->window[1][line] + 1e-300))
                     * (double)s->windows[line] / (2.0 * s->window_s[line]);
}

/* Keeps the decays of the lowest position gain that this speed gain has been measured with. */
static inline void rig_swing_keep(rig_swing *s, const rig_drive *drive, int32_t reach, double least)
{
    const double gain = drive->setting[RIG_SPEED_GAIN];
    int32_t line;

    if ((gain == s->speed_gain) && (drive->setting[RIG_POSITION_GAIN] > s->position_gain)) {
        return;
    }
    s->speed_gain = gain;
    s->position_gain = drive->setting[RIG_POSITION_GAIN];
    for (line = 0; line < RIG_SLOW_LINES; line++) {
        s->times[line] = ((s->windows[line] > 0) && (rig_swings_on(s, line, reach, least) != 0))
                             ? s->size[0][line] / (least + 1e-300)
                             : 0.0;
        s->decay_per_s[line] = rig_swing_decay(s, line);
    }
}

/* Place of what swung near a line at the lowest position gain; negative: nothing did. */
static inline int32_t rig_swing_before(const rig_swing *s, int32_t line)
{
    int32_t off;

    for (off = 0; off <= RIG_SWING_REACH; off++) {
        if ((line - off >= 0) && (s->times[line - off] > 0.0)) {
            return line - off;
        }
        if ((line + off < RIG_SLOW_LINES) && (s->times[line + off] > 0.0)) {
            return line + off;
        }
    }
    return -1;
}

/* Whether something swings at a line that has lost too much of its decay. What ripple or teeth leave in
 * the speed error is as large at any position gain, as the motor all but stands for them; what swings by
 * itself has become larger, or is larger than ripple in a tuned loop. */
static inline int32_t rig_swing_driven(const rig_swing *s, int32_t line, int32_t reach, double least)
{
    const double decay = rig_swing_decay(s, line);
    const int32_t before = rig_swing_before(s, line);
    const double times = s->size[0][line] / (least + 1e-300);
    double kept;

    if ((s->windows[line] == 0) || (rig_swings_on(s, line, reach, least) == 0)) {
        return 0;
    }
    if (before < 0) {
        return ((times > RIG_SWING_CLEAR) && (decay < RIG_SWING_DAMPED)) ? 1 : 0;
    }
    kept = RIG_SWING_LEFT * s->decay_per_s[before];
    return (((times > RIG_SWING_GROWN * s->times[before])
             || ((times > RIG_SWING_CLEAR_OF_RIPPLE) && (s->decay_per_s[before] > RIG_SWING_TOLD)))
            && (decay < kept))
                   || ((times > RIG_SWING_LOUD)
                       && (decay < ((kept > RIG_SWING_UNDAMPED) ? kept : RIG_SWING_UNDAMPED)))
               ? 1
               : 0;
}

#endif
