/* Gainwright: the loop's frequency response. NOT A SAFETY FUNCTION: see gw_fixed.h. */
#include "gw_loop_response.h"

#include "gw_loop_margins.h"
#include "gw_loop_transform.h"

#define HEADROOM_BITS 4U

/* Slices of the evaluation, by number. */
#define POINTS_PER_SLICE 32
#define BUTTERFLIES_PER_SLICE 8
#define FIRST_SCALE (GW_RESPONSE_POINTS / POINTS_PER_SLICE)
#define FIRST_TRANSFORM (2 * FIRST_SCALE)
#define FIRST_LINE (FIRST_TRANSFORM + (GW_TRANSFORM_BUTTERFLIES / BUTTERFLIES_PER_SLICE))
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
    response->tick = 0;
    response->settling = 0;
    response->sum = 0;
    response->filled = 0;
    response->next = 0;
    response->periods = 0;
    response->rung = 0;
    response->eighths = 8;
    response->slice = IDLE;
    response->evaluated = 1;
    response->largest = 0;
    response->shift = 0;
    response->last_re = 0;
    response->last_im = 0;
    response->limit = GW_MARGINS_NONE;
    response->allowed = GW_MARGINS_NONE;
    response->limit_line = 0;
    gw_margins_begin(response);
    response->spread = GW_RESPONSE_SPREAD_MAX;
    response->agreeing = 0;
    response->limit_position = 0;
    response->result_position = 0;
}

static int32_t stride_of(const gw_response_settings *settings)
{
    return gw_clamp_i32(settings->stride, 1, 64);
}

static int32_t eighths_at(const gw_loop_response *response, int32_t rung)
{
    const int32_t near = (gw_clamp_i32(rung, 0, GW_RESPONSE_ROOM_MAX) + GW_RESPONSE_NEAR_RUNGS)
                         * GW_RESPONSE_RUNG;

    return ((response->agreeing > 0) && (response->limit_position < near))
               ? GW_RESPONSE_NEAR_EIGHTHS
               : 8;
}

/* Sums of another gain, or such as were evaluated, are begun anew; others go on where they stopped. */
void gw_response_record(gw_loop_response *response, const gw_response_settings *settings,
                        int32_t record, int32_t rung)
{
    const int32_t stride = stride_of(settings);

    if ((record != 0) && (response->recording == 0)) {
        if ((response->evaluated != 0) || (response->rung != rung)) {
            response->periods = 0;
            response->next = 0;
            response->rung = rung;
            response->eighths = eighths_at(response, rung);
        }
        response->sum = 0;
        response->filled = 0;
        response->next = gw_clamp_i32(response->next, 0, GW_RESPONSE_POINTS - 1);
        response->tick = response->next * stride;
        response->settling = settings->settle_periods * (GW_RESPONSE_POINTS * stride);
        response->evaluated = 0;
        response->slice = IDLE;
    }
    response->recording = (record != 0) ? 1 : 0;
}

/* The first period overwrites what was there before. */
static void end_point(gw_loop_response *response)
{
    const int32_t next = gw_clamp_i32(response->next, 0, GW_RESPONSE_POINTS - 1);
    const int32_t before = (response->periods == 0) ? 0 : response->point[next];

    response->point[next] = gw_add_i32(before, response->sum);
    response->sum = 0;
    response->filled = 0;
    response->next = next + 1;
    if (response->next >= GW_RESPONSE_POINTS) {
        response->next = 0;
        response->periods = gw_margins_periods(response) + 1;
    }
}

static void add_sample(gw_loop_response *response, int32_t stride, int32_t filtered_torque)
{
    response->sum = gw_add_i32(response->sum, gw_round_shift_i32(filtered_torque, HEADROOM_BITS));
    response->filled = gw_clamp_i32(response->filled, 0, stride) + 1;
    if (response->filled >= stride) {
        end_point(response);
    }
}

int32_t gw_response_sample(gw_loop_response *response, const gw_response_settings *settings,
                           int32_t filtered_torque)
{
    const int32_t stride = stride_of(settings);
    const int32_t ticks = GW_RESPONSE_POINTS * stride;
    int32_t torque = 0;

    if (response->recording != 0) {
        const int32_t tick = gw_clamp_i32(response->tick, 0, ticks - 1);

        torque = gw_multiply_round_i32(settings->height, settings->shape[tick] * gw_margins_eighths(response),
                                       10U);
        if (response->settling > 0) {
            response->settling -= 1;
        } else if (response->periods < GW_RESPONSE_PERIODS_MAX) {
            add_sample(response, stride, filtered_torque);
        } else {
            /* Enough. */
        }
        response->tick = ((tick + 1) < ticks) ? (tick + 1) : 0;
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

/* Points before `next` hold one period more than the others: its share is taken out. */
static void level_points(gw_loop_response *response, int32_t first)
{
    const int32_t more = gw_margins_periods(response) + 1;
    int32_t largest = (first == 0) ? 0 : response->largest;
    int32_t i;

    for (i = first; i < (first + POINTS_PER_SLICE); i++) {
        if (i < response->next) {
            response->point[i] -= response->point[i] / more;
        }
        largest = gw_transform_larger(largest, gw_absolute_i32(response->point[i]));
    }
    response->largest = largest;
}

static void scale_points(gw_loop_response *response, int32_t first)
{
    const int32_t shift = gw_transform_larger(gw_transform_bits((uint32_t)gw_transform_larger(response->largest, 0)) - GW_TRANSFORM_POINT_BITS, 0);
    int32_t i;

    for (i = first; (shift > 0) && (i < (first + POINTS_PER_SLICE)); i++) {
        response->point[i] = gw_round_shift_i32(response->point[i], (uint32_t)shift);
    }
    response->shift = shift;
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
        } else if (slice < FIRST_LINE) {
            transform(response, slice - FIRST_TRANSFORM);
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
