/*
 * Gainwright: the loop's frequency response, measured while the axis moves at constant speed.
 *
 * NOT A SAFETY FUNCTION: see gw_fixed.h.
 *
 * A periodic torque D (a sum of sines without mean, so that it shifts nothing) is added to the
 * torque command U of the controller. Once the loop has settled, whole periods of U are summed, those in
 * the middle of a measurement with more weight than the first and last (Hann's window), so that a
 * tone of the machine's own reaches a line only if it lies right beside it. At each frequency of D
 * then holds, without any model of the machine,
 *
 *   L = -U / (U + D),   Y = -1 / L = 1 + D / U,
 *
 * and at a gain g times the present one Y / g. The loop is at its limit where Y is real and equal
 * to g. Of several such crossings above the present gain the first counts that two measurements in a
 * row have found; one that comes and goes is noise. Y is what is interpolated
 * from line to line: a resonance is a pole of L, so that 1 / L is nearly straight where it matters
 * and nothing narrow slips through between two lines.
 *
 * Every fourth line has no D: what U has there is noise, and says how far the others are to be
 * trusted.
 *
 * Recording is the control tick's: one word a tick. Evaluation is the sequencer tick's, in slices of
 * bounded length; it owns the sums from the moment at which the control tick has taken the order to
 * stop. gainwright.detector.loop_response is the same bit for bit.
 */
#ifndef GW_LOOP_RESPONSE_H
#define GW_LOOP_RESPONSE_H

#include <stdint.h>

#include "gw_fixed.h"

#ifdef __cplusplus
extern "C" {
#endif

#define GW_RESPONSE_POINTS 512
#define GW_RESPONSE_PERIODS_MAX INT32_C(32)
/* A line k with k % GW_RESPONSE_NOISE_STEP == GW_RESPONSE_NOISE_PLACE has no excitation. */
#define GW_RESPONSE_NOISE_STEP 4
#define GW_RESPONSE_NOISE_PLACE 2
/* The nearer the limit, the more the loop adds to the test signal: within so many rungs of it, as
 * predicted, less is given. Where that lets expect little noise every other measurement has half of
 * it, so that a loop whose answer depends on the height shows; and those nearest to the limit, which say
 * what margins there are, have where it lets expect still less. 4096 is the limit. */
#define GW_RESPONSE_NEAR_RUNGS INT32_C(32)
#define GW_RESPONSE_NEAR_EIGHTHS INT32_C(6)
#define GW_RESPONSE_NEAREST_RUNGS INT32_C(20)
#define GW_RESPONSE_LITTLE_SPREAD INT32_C(256)
#define GW_RESPONSE_LEAST_SPREAD INT32_C(160)
/* ... and where there is room for so many periods. */
#define GW_RESPONSE_HALF_PERIODS 5
/* Positions on the gain ladder: 1/256 of a rung. */
#define GW_RESPONSE_RUNG INT32_C(256)
/* Noise, as a share of the limit: 4096 = 1. */
#define GW_RESPONSE_SPREAD_MAX INT32_C(65535)
#define GW_RESPONSE_ROOM_MAX INT32_C(127)
/* Crossings of an evaluation that are kept: the lowest ones. */
#define GW_RESPONSE_CROSSINGS 6
#define GW_RESPONSE_LINES_KEPT 3
/* Lines without excitation. */
#define GW_RESPONSE_NOISE_PLACES (GW_RESPONSE_POINTS / 2 / GW_RESPONSE_NOISE_STEP)
/* Of the band, in which noise is told apart. */
#define GW_RESPONSE_PARTS 3

typedef struct {
    const int8_t *shape;    /* of one period, up to 127, GW_RESPONSE_POINTS * stride */
    const int16_t *lines;   /* D of each line from first_line on, behind the high-pass: re, im */
    int32_t step;           /* times shape and 8 or less: torque, Q4.24; up to 2^18 */
    int32_t stride;         /* control ticks summed to one point, 1 to 64 */
    int32_t point_shift;    /* 2^point_shift is stride or more: sums become means */
    int32_t settle_ticks;   /* control ticks before anything is summed, up to a period */
    int32_t least_periods;  /* without so many there is nothing to evaluate, 1 to ..._PERIODS_MAX */
    int32_t window;         /* periods of a whole measurement, 2 to ..._PERIODS_MAX */
    int32_t window_more;    /* so many more with each measurement at the same rung, 0 to 32 */
    int32_t first_line;     /* 1 to 255 */
    int32_t last_line;      /* first_line to 255 */
    int32_t gap_from;       /* between these two lines the drive's lag lets no loop oscillate: what */
    int32_t gap_to;         /* crosses there is noise; last_line both: there is no such gap */
    int32_t flat_line;      /* up to it, D of all lines is about the same; then it falls */
    int32_t exponent;       /* D of a period is lines * 2^exponent, 0 to 16 */
    int32_t tangent;        /* of the wanted phase margin, Q12 */
    int32_t inverse_square; /* of the wanted peak sensitivity, Q16 */
    int32_t margin;         /* wanted gain margin, 1/256 rung */
    int32_t octave;         /* factor of 2, 1/256 rung */
    int32_t agreement;      /* predictions of the limit that differ by no more agree, 1/256 rung */
    int32_t shaken;         /* effective torque command by which the speed controller of rung 0 answers
                             * the speed that shakes the motor too much, as points have it: 1/256 rung
                             * that it lies above 1 */
} gw_response_settings;

typedef struct {
    /* Written by the control tick while it records, by the sequencer tick while it evaluates. */
    int32_t point[GW_RESPONSE_POINTS];
    /* Written by the control tick. */
    int32_t recording; /* 1: D is given; 2, 3: it will be, once gw_response_prepare has set it up */
    int32_t wanted;    /* rung of the sums that begin then */
    int32_t tick;      /* of the period */
    int32_t settling;  /* control ticks until sums begin */
    int32_t sum;       /* of the point that is being filled */
    int32_t filled;    /* control ticks in it */
    int32_t next;      /* point that is being filled */
    int32_t periods;   /* complete ones since sums began */
    int32_t cut_off;   /* periods of the measurement before, 0: it was not cut off */
    int32_t again;     /* measurements at this rung before this one, 0 to 15 */
    int32_t window;    /* so many make the measurement: fewer where the last one this way was cut off */
    int32_t weight;    /* of the present period, 0 to 127 */
    int32_t weight_next; /* of the one after it, once it is prepared */
    int32_t due;       /* 1: there is something to prepare */
    int32_t weights;   /* of the complete ones together */
    int32_t rung;      /* that all sums belong to */
    int32_t eighths;   /* of the height that the test signal has in them, 1 to 8 */
    int32_t most_eighths; /* ... in any: half of it after each measurement that shook the motor */
    /* Written by the sequencer tick. */
    int32_t slice;     /* of the evaluation: what to do next; GW_RESPONSE_IDLE: nothing */
    int32_t evaluated; /* 1: the sums have been used up */
    int32_t largest;
    int32_t shift;
    int64_t energy;   /* sum of the squares of all points */
    int32_t last_re[GW_RESPONSE_LINES_KEPT]; /* Y of the lines before, the nearest first, Q12 */
    int32_t last_im[GW_RESPONSE_LINES_KEPT];
    int32_t allowed;  /* smallest gain at which another wanted margin is missed, Q8 */
    int32_t crossing[GW_RESPONSE_CROSSINGS];      /* lowest first, in multiples of the gain, Q12 */
    int32_t crossing_line[GW_RESPONSE_CROSSINGS]; /* where they are */
    int32_t crossing_noise[GW_RESPONSE_CROSSINGS]; /* their noise, as a share of them, 4096 = 1 */
    int32_t noise_lines[GW_RESPONSE_PARTS]; /* without excitation: up to flat_line, twice that, above */
    int32_t noise_most[GW_RESPONSE_PARTS];  /* largest |U / D| of them, Q16 */
    int64_t noise[GW_RESPONSE_PARTS];       /* sum of |U / D|^2 of them, Q32 */
    uint16_t noise_at[GW_RESPONSE_NOISE_PLACES]; /* |U / D| of each, Q16 */
    int32_t spread;   /* noise at the limit, 4096 = 1 */
    int32_t agreeing; /* successive predictions that agree, 0: none */
    int32_t known[GW_RESPONSE_CROSSINGS + 1]; /* crossings of the evaluation before, 1/256 rung from
                                               * rung 0 on, and the mean that agreed before it */
    int32_t known_line[GW_RESPONSE_CROSSINGS + 1]; /* where they are */
    int32_t limit_position;  /* mean of those that agree, likewise */
    int32_t limit_line;      /* where the last of them is */
    int32_t bent_line;       /* where predictions differed by more than noise ... */
    int32_t bent;            /* ... so often, 0 to 255 */
    int32_t result_position; /* largest gain with all wanted margins, likewise */
} gw_loop_response;

/* What it says, as inputs of the trial. */
enum gw_response_finding {
    GW_RESPONSE_MEASURED_PERIODS,  /* complete, not evaluated yet, 0 to GW_RESPONSE_PERIODS_MAX */
    GW_RESPONSE_EVALUATED,         /* 1: nothing is left to evaluate */
    GW_RESPONSE_PREDICTIONS,       /* successive ones that agree, 0 to 255 */
    GW_RESPONSE_PREDICTION_SPREAD, /* noise of the last one: 4096 is the limit itself */
    GW_RESPONSE_RUNGS_TO_LIMIT,    /* whole rungs from the present one to the predicted limit */
    GW_RESPONSE_RUNGS_TO_RESULT,   /* ... to the highest with all wanted margins; may be negative */
    GW_RESPONSE_FINDING_COUNT
};

void gw_response_reset(gw_loop_response *response);

/* By the control tick, when it takes an order: record, or stop recording. */
void gw_response_record(gw_loop_response *response, int32_t record, int32_t rung);
/* What is due, by a control tick in which no block ends, within a period: the two parts of a
 * beginning, after which D is given, then in each period the weight of the next. */
void gw_response_prepare(gw_loop_response *response, const gw_response_settings *settings);
/* One control tick: takes the filtered torque command of the controller, Q4.24, and returns the
 * torque to add, 0 while it does not record. */
int32_t gw_response_sample(gw_loop_response *response, const gw_response_settings *settings,
                           int32_t filtered_torque);

/* One slice of the evaluation, by the sequencer tick, while the control tick does not record. */
void gw_response_evaluate(gw_loop_response *response, const gw_response_settings *settings);

/* 1 while sums wait for their evaluation. */
int32_t gw_response_pending(const gw_loop_response *response, const gw_response_settings *settings);

void gw_response_findings(const gw_loop_response *response, const gw_response_settings *settings,
                          int32_t rung, int32_t findings[GW_RESPONSE_FINDING_COUNT]);
void gw_response_no_findings(int32_t findings[GW_RESPONSE_FINDING_COUNT]);

/* Y of a line of the last evaluation, Q12, |re| and |im| at most 2^27: for who shows it. */
void gw_response_line(const gw_loop_response *response, const gw_response_settings *settings,
                      int32_t line, int32_t inverse[2]);

#ifdef __cplusplus
}
#endif

#endif
