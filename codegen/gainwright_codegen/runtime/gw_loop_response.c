/* Gainwright: the loop's frequency response. NOT A SAFETY FUNCTION: see gw_fixed.h. */
#include "gw_loop_response.h"

#include "gw_loop_margins.h"
#include "gw_loop_transform.h"

#define HEADROOM_BITS 4U
/* A point holds no more in a period: 8 of Q4.20. */
#define POINT_LIMIT INT32_C(8388607)
#define POINT_LOWEST (-POINT_LIMIT - 1)
/* What sums and points hold at most, 32 periods or 64 samples; others are damaged. */
#define SUM_LIMIT INT32_C(0x1FFFFFFF)
#define SUM_LOWEST (-SUM_LIMIT - 1)
/* Values of `recording`: an order is taken in one control tick, and prepared in the next two. */
#define RECORDING 1
#define STARTING 2
#define ORDERED 3
#define POINT_MOST INT32_C(0x200000) /* 2^GW_TRANSFORM_POINT_BITS */
#define ENERGY_MASK INT64_C(0xFFFFFFFFFFFFF)
#define WEIGHT_MAX 127
#define WEIGHT_BITS 7U
#define WEIGHTS_MASK 4095 /* 32 periods of 127 */

/* Slices of the evaluation, by number. */
#define POINTS_PER_SLICE 32
#define BUTTERFLIES_PER_SLICE 8
#define FIRST_SCALE (GW_RESPONSE_POINTS / POINTS_PER_SLICE)
#define FIRST_TRANSFORM (2 * FIRST_SCALE)
#define FIRST_NOISE (FIRST_TRANSFORM + (GW_TRANSFORM_BUTTERFLIES / BUTTERFLIES_PER_SLICE))
#define FIRST_LINE (FIRST_NOISE + (GW_TRANSFORM_LINES / GW_RESPONSE_NOISE_STEP))
#define LAST_SLICE (FIRST_LINE + GW_TRANSFORM_LINES)
#define IDLE INT32_C(0)

/* ---- Recording: the control tick ---- */

void gw_response_reset(gw_loop_response *response)
{
    int32_t i;

    for (i = 0; i < GW_RESPONSE_POINTS; i++) {
        response->point[i] = 0;
    }
    response->recording = 0;
    response->wanted = 0;
    response->tick = 0;
    response->settling = 0;
    response->sum = 0;
    response->filled = 0;
    response->next = 0;
    response->periods = 0;
    response->cut_off = 0;
    response->again = 0;
    response->window = 0;
    response->weight = 0;
    response->weight_next = 0;
    response->due = 0;
    response->weights = 0;
    response->rung = 0;
    response->eighths = 8;
    response->most_eighths = 8;
    response->slice = IDLE;
    response->evaluated = 1;
    response->largest = 0;
    response->shift = 0;
    response->energy = 0;
    gw_crossings_forget(response);
    gw_margins_begin(response);
    gw_margins_forget(response);
    response->spread = GW_RESPONSE_SPREAD_MAX;
    response->agreeing = 0;
    response->limit_position = 0;
    response->limit_line = 0;
    response->bent_line = 0;
    response->bent = 0;
    response->result_position = 0;
}

/* 127 sin^2(pi i / 64), i = 0 to 32, at least 1. */
static const int8_t half_window[33] = {
    1, 1, 1, 3, 5, 7, 11, 14, 19, 23, 28, 34, 39, 45, 51, 57, 63, 70,
    76, 82, 88, 93, 99, 104, 108, 113, 116, 120, 122, 124, 126, 127, 127
};

/* Weight of a period, counted from 0 to GW_RESPONSE_PERIODS_MAX: Hann's window in its middle; nothing
 * after the last. */
static int32_t weight_of(const gw_loop_response *response, int32_t period)
{
    const int32_t window = gw_clamp_i32(response->window, 1, GW_RESPONSE_PERIODS_MAX);
    const int32_t place = (((2 * period) + 1) * 32) / window;
    int32_t weight = 0;

    if (period < window) {
        weight = half_window[gw_clamp_i32((place > 32) ? (64 - place) : place, 0, 32)];
    }
    return weight;
}

/* No more periods than the last measurement but one, which was a move the same way, had room for. */
static int32_t window_for(const gw_loop_response *response, const gw_response_settings *settings)
{
    const int32_t wanted
        = gw_clamp_i32(settings->window + (settings->window_more * response->again), 2,
                       GW_RESPONSE_PERIODS_MAX);
    const int32_t cut_off = gw_clamp_i32(response->cut_off, 0, wanted);

    return (cut_off == 0) ? wanted : gw_transform_larger(cut_off, 2);
}

/* Whether the predicted limit is fewer rungs away. */
static int32_t is_within(const gw_loop_response *response, int32_t rung, int32_t rungs)
{
    const int32_t there = (gw_clamp_i32(rung, 0, GW_RESPONSE_ROOM_MAX) + rungs) * GW_RESPONSE_RUNG;

    return ((response->agreeing > 0) && (response->limit_position < there)) ? 1 : 0;
}

static int32_t eighths_at(const gw_loop_response *response, int32_t rung)
{
    const int32_t full = gw_clamp_i32(
        (is_within(response, rung, GW_RESPONSE_NEAR_RUNGS) != 0) ? GW_RESPONSE_NEAR_EIGHTHS : 8, 1,
        gw_clamp_i32(response->most_eighths, 1, 8));
    const int32_t half = gw_transform_larger(full / 2, 1);
    const int32_t last = gw_margins_eighths(response);
    const int32_t expected
        = (gw_clamp_i32(response->spread, 0, GW_RESPONSE_SPREAD_MAX) * last) / half;
    int32_t most = (last >= full) ? GW_RESPONSE_LITTLE_SPREAD : -1;

    if (is_within(response, rung, GW_RESPONSE_NEAREST_RUNGS) != 0) {
        most = GW_RESPONSE_LEAST_SPREAD;
    }
    if (gw_margins_periods(response) < GW_RESPONSE_HALF_PERIODS) {
        most = -1;
    }
    return ((response->agreeing > 0) && (expected <= most)) ? half : full;
}

/* New sums: what the last ones were says how long these are to be. */
static void begin_sums(gw_loop_response *response, const gw_response_settings *settings, int32_t rung)
{
    const int32_t periods = gw_margins_periods(response);
    const int32_t complete = (periods >= response->window) ? 1 : 0;

    response->again = ((response->rung == rung) && (response->window != 0))
                          ? (gw_clamp_i32(response->again, 0, 14) + 1)
                          : 0;
    response->window = window_for(response, settings);
    response->cut_off = (complete != 0) ? 0 : periods;
    response->eighths = eighths_at(response, rung);
    response->periods = 0;
    response->weights = 0;
    response->next = 0;
    response->rung = rung;
}

/* Sums of another gain, or such as were evaluated, are begun anew; others go on where they stopped. */
static void renew(gw_loop_response *response, const gw_response_settings *settings)
{
    if ((response->evaluated != 0) || (response->rung != response->wanted)) {
        begin_sums(response, settings, response->wanted);
    }
    response->recording = STARTING;
}

static void start(gw_loop_response *response, const gw_response_settings *settings)
{
    response->weight = weight_of(response, gw_margins_periods(response));
    response->sum = 0;
    response->filled = 0;
    response->next = gw_clamp_i32(response->next, 0, GW_RESPONSE_POINTS - 1);
    response->tick = (response->next * settings->stride) - settings->settle_ticks;
    response->tick += (response->tick < 0) ? (GW_RESPONSE_POINTS * settings->stride) : 0;
    response->settling = settings->settle_ticks;
    response->evaluated = 0;
    response->slice = IDLE;
    response->recording = RECORDING;
}

void gw_response_record(gw_loop_response *response, int32_t record, int32_t rung)
{
    if (record == 0) {
        response->recording = 0;
    } else if (response->recording == 0) {
        response->recording = ORDERED;
        response->due = 1;
        response->wanted = rung;
    } else {
        /* It goes on. */
    }
}

void gw_response_prepare(gw_loop_response *response, const gw_response_settings *settings)
{
    if (response->recording == ORDERED) {
        renew(response, settings);
    } else if (response->recording == STARTING) {
        start(response, settings);
    } else {
        response->weight_next
            = weight_of(response, gw_clamp_i32(response->periods, 0, GW_RESPONSE_PERIODS_MAX - 1) + 1);
        response->due = 0;
    }
}

/* Periods are complete: their weights are what the sums are to be divided by. */
static void end_period(gw_loop_response *response)
{
    response->weights = (response->weights & WEIGHTS_MASK) + (response->weight & WEIGHT_MAX);
    response->periods = gw_clamp_i32(response->periods, 0, GW_RESPONSE_PERIODS_MAX - 1) + 1;
    response->weight = response->weight_next;
    response->due = 1;
}

/* The first period overwrites what was there before. */
static void end_point(gw_loop_response *response, const gw_response_settings *settings, int32_t sum)
{
    const int32_t next = response->next & (GW_RESPONSE_POINTS - 1);
    const int32_t mean
        = gw_clamp_i32(gw_floor_shift_i32(sum, (uint32_t)settings->point_shift), POINT_LOWEST, POINT_LIMIT);
    const int32_t weighted
        = gw_floor_shift_i32(mean * (response->weight & WEIGHT_MAX), WEIGHT_BITS);

    response->point[next]
        = ((response->periods == 0) ? 0 : gw_clamp_i32(response->point[next], SUM_LOWEST, SUM_LIMIT))
          + weighted;
    response->sum = 0;
    response->filled = 0;
    response->next = (next + 1) & (GW_RESPONSE_POINTS - 1);
    if (next == (GW_RESPONSE_POINTS - 1)) {
        end_period(response);
    }
}

/* A sum of at most 64 samples of 24 bits. */
static void add_sample(gw_loop_response *response, const gw_response_settings *settings,
                       int32_t filtered_torque)
{
    const int32_t sample
        = gw_clamp_i32(gw_floor_shift_i32(filtered_torque, HEADROOM_BITS), POINT_LOWEST, POINT_LIMIT);
    const int32_t filled = gw_clamp_i32(response->filled, 0, 63) + 1;

    if (filled < settings->stride) {
        response->sum = gw_clamp_i32(response->sum, SUM_LOWEST, SUM_LIMIT) + sample;
        response->filled = filled;
    } else {
        end_point(response, settings, gw_clamp_i32(response->sum, SUM_LOWEST, SUM_LIMIT) + sample);
    }
}

int32_t gw_response_sample(gw_loop_response *response, const gw_response_settings *settings,
                           int32_t filtered_torque)
{
    const int32_t ticks = GW_RESPONSE_POINTS * settings->stride;
    int32_t torque = 0;

    if (response->recording == RECORDING) {
        const int32_t tick
            = ((response->tick >= 0) && (response->tick < ticks)) ? response->tick : 0;

        torque = settings->shape[tick] * (settings->step * gw_margins_eighths(response));
        response->tick = ((tick + 1) < ticks) ? (tick + 1) : 0;
        if (response->settling > 0) {
            response->settling -= 1;
        } else {
            add_sample(response, settings, filtered_torque);
        }
    } else {
        /* Nothing is given. */
    }
    return torque;
}

/* ---- Evaluation: the sequencer tick ---- */

int32_t gw_response_pending(const gw_loop_response *response, const gw_response_settings *settings)
{
    return ((response->recording == 0) && (response->evaluated == 0)
            && (response->periods >= settings->least_periods))
               ? 1
               : 0;
}

/* Points before `next` hold a part of one period more than the others: its share is taken out. */
static void level_points(gw_loop_response *response, int32_t first)
{
    const int32_t part = response->weight & WEIGHT_MAX;
    const int32_t share = (part * 32768) / gw_transform_larger(gw_margins_weights(response) + part, 1);
    int32_t largest = (first == 0) ? 0 : response->largest;
    int32_t i;

    for (i = first; i < (first + POINTS_PER_SLICE); i++) {
        if (i < response->next) {
            response->point[i]
                = gw_subtract_i32(response->point[i], gw_multiply_floor_i32(response->point[i], share, 15U));
        }
        largest = gw_transform_larger(largest, gw_absolute_i32(response->point[i]));
    }
    response->largest = largest;
}

/* Scaled points have at most POINT_MOST; others are damaged. */
static void add_energy(gw_loop_response *response, int32_t first)
{
    int64_t energy = (first == 0) ? 0 : (response->energy & ENERGY_MASK);
    int32_t i;

    for (i = first; i < (first + POINTS_PER_SLICE); i++) {
        const int32_t point = gw_clamp_i32(response->point[i], -POINT_MOST, POINT_MOST);

        energy += gw_product_i64(point, point);
    }
    response->energy = energy;
}

static void scale_points(gw_loop_response *response, int32_t first)
{
    const int32_t shift = gw_transform_larger(gw_transform_bits((uint32_t)gw_transform_larger(response->largest, 0)) - GW_TRANSFORM_POINT_BITS, 0);
    int32_t i;

    for (i = first; (shift > 0) && (i < (first + POINTS_PER_SLICE)); i++) {
        response->point[i] = gw_round_shift_i32(response->point[i], (uint32_t)shift);
    }
    response->shift = shift;
    add_energy(response, first);
}

void gw_response_line(const gw_loop_response *response, const gw_response_settings *settings,
                      int32_t line, int32_t inverse[2])
{
    const int32_t inside = gw_clamp_i32(line, settings->first_line, settings->last_line);

    gw_margins_ratio(response, settings, inside, inverse);
    inverse[0] = gw_add_i32(inverse[0], GW_RATIO_ONE);
}

static void transform(gw_loop_response *response, int32_t slice)
{
    int32_t i;

    for (i = 0; i < BUTTERFLIES_PER_SLICE; i++) {
        gw_transform_butterfly(response->point, (slice * BUTTERFLIES_PER_SLICE) + i);
    }
    gw_margins_begin(response);
}

void gw_response_evaluate(gw_loop_response *response, const gw_response_settings *settings)
{
    const int32_t slice = gw_clamp_i32(response->slice, 0, LAST_SLICE);

    if (gw_response_pending(response, settings) != 0) {
        response->slice = slice + 1;
        if (slice < FIRST_SCALE) {
            level_points(response, slice * POINTS_PER_SLICE);
        } else if (slice < FIRST_TRANSFORM) {
            scale_points(response, (slice - FIRST_SCALE) * POINTS_PER_SLICE);
        } else if (slice < FIRST_NOISE) {
            transform(response, slice - FIRST_TRANSFORM);
        } else if (slice < FIRST_LINE) {
            gw_margins_take_noise(response, settings, slice - FIRST_NOISE);
        } else if ((slice < LAST_SLICE) && ((slice - FIRST_LINE) <= settings->last_line)) {
            gw_margins_take_line(response, settings, slice - FIRST_LINE);
        } else {
            gw_margins_conclude(response, settings);
            response->slice = IDLE;
        }
    }
}

static int32_t whole_rungs(int32_t from, int32_t position_there)
{
    const int32_t rungs = gw_floor_shift_i32(gw_clamp_i32(position_there, -GW_POSITION_MAX, GW_POSITION_MAX), 8U)
                          - gw_clamp_i32(from, 0, GW_RESPONSE_ROOM_MAX);

    return gw_clamp_i32(rungs, -GW_RESPONSE_ROOM_MAX, GW_RESPONSE_ROOM_MAX);
}

void gw_response_no_findings(int32_t findings[GW_RESPONSE_FINDING_COUNT])
{
    int32_t i;

    for (i = 0; i < (int32_t)GW_RESPONSE_FINDING_COUNT; i++) {
        findings[i] = 0;
    }
    findings[GW_RESPONSE_PREDICTION_SPREAD] = GW_RESPONSE_SPREAD_MAX;
}

void gw_response_findings(const gw_loop_response *response, const gw_response_settings *settings,
                          int32_t rung, int32_t findings[GW_RESPONSE_FINDING_COUNT])
{
    gw_response_no_findings(findings);
    findings[GW_RESPONSE_MEASURED_PERIODS] = gw_margins_periods(response);
    findings[GW_RESPONSE_EVALUATED]
        = ((response->recording == 0) && (gw_response_pending(response, settings) == 0)) ? 1 : 0;
    if (response->agreeing > 0) {
        findings[GW_RESPONSE_PREDICTIONS] = gw_clamp_i32(response->agreeing, 0, 255);
        findings[GW_RESPONSE_PREDICTION_SPREAD]
            = gw_clamp_i32(response->spread, 0, GW_RESPONSE_SPREAD_MAX);
        findings[GW_RESPONSE_RUNGS_TO_LIMIT] = whole_rungs(rung, response->limit_position);
        findings[GW_RESPONSE_RUNGS_TO_RESULT] = whole_rungs(rung, response->result_position);
    }
}
