/* The loop response from any content of memory, with any settings that can be exported. */
#include "gw_any.h"
#include "gw_loop_response.h"

#define ANY gw_any_int32(INT32_MIN, INT32_MAX)

static int8_t shape[GW_RESPONSE_POINTS * 64];
static int16_t lines[GW_RESPONSE_POINTS];

static void any_settings(gw_response_settings *settings)
{
    int32_t i;

    for (i = 0; i < (GW_RESPONSE_POINTS * 64); i++) {
        shape[i] = (int8_t)gw_any_int32(-127, 127);
    }
    for (i = 0; i < GW_RESPONSE_POINTS; i++) {
        lines[i] = (int16_t)gw_any_int32(-32767, 32767);
    }
    settings->shape = shape;
    settings->lines = lines;
    settings->step = gw_any_int32(0, 1 << 18);
    settings->stride = gw_any_int32(1, 64);
    settings->point_shift = gw_any_int32(0, 6);
    settings->settle_ticks = gw_any_int32(0, 64 * GW_RESPONSE_POINTS);
    settings->least_periods = gw_any_int32(1, GW_RESPONSE_PERIODS_MAX);
    settings->window = gw_any_int32(2, GW_RESPONSE_PERIODS_MAX);
    settings->window_more = gw_any_int32(0, GW_RESPONSE_PERIODS_MAX);
    settings->first_line = gw_any_int32(1, 255);
    settings->last_line = gw_any_int32(1, 255);
    settings->gap_from = gw_any_int32(1, 255);
    settings->gap_to = gw_any_int32(1, 255);
    settings->flat_line = gw_any_int32(0, 255);
    settings->exponent = gw_any_int32(0, 16);
    settings->tangent = gw_any_int32(0, 1 << 16);
    settings->inverse_square = gw_any_int32(0, 1 << 16);
    settings->margin = gw_any_int32(0, 1 << 16);
    settings->octave = gw_any_int32(0, 1 << 20);
    settings->agreement = gw_any_int32(0, 1 << 16);
    settings->shaken = gw_any_int32(-(1 << 20), 1 << 20);
}

static void any_response(gw_loop_response *response)
{
    int32_t i;

    for (i = 0; i < GW_RESPONSE_POINTS; i++) {
        response->point[i] = ANY;
    }
    response->recording = ANY;
    response->wanted = ANY;
    response->tick = ANY;
    response->settling = ANY;
    response->sum = ANY;
    response->filled = ANY;
    response->next = ANY;
    response->periods = ANY;
    response->cut_off = ANY;
    response->again = ANY;
    response->window = ANY;
    response->weight = ANY;
    response->weight_next = ANY;
    response->due = ANY;
    response->weights = ANY;
    response->rung = ANY;
    response->eighths = ANY;
    response->most_eighths = ANY;
    response->slice = ANY;
    response->evaluated = ANY;
    response->largest = ANY;
    response->shift = ANY;
    response->energy = gw_any_int64(INT64_MIN, INT64_MAX);
    for (i = 0; i < GW_RESPONSE_LINES_KEPT; i++) {
        response->last_re[i] = ANY;
        response->last_im[i] = ANY;
    }
    response->allowed = ANY;
    for (i = 0; i < GW_RESPONSE_CROSSINGS; i++) {
        response->crossing[i] = ANY;
        response->crossing_line[i] = ANY;
        response->crossing_noise[i] = ANY;
    }
    for (i = 0; i < GW_RESPONSE_PARTS; i++) {
        response->noise_lines[i] = ANY;
        response->noise_most[i] = ANY;
        response->noise[i] = gw_any_int64(INT64_MIN, INT64_MAX);
    }
    for (i = 0; i < GW_RESPONSE_NOISE_PLACES; i++) {
        response->noise_at[i] = (uint16_t)gw_any_int32(0, UINT16_MAX);
    }
    for (i = 0; i <= GW_RESPONSE_CROSSINGS; i++) {
        response->known[i] = ANY;
        response->known_line[i] = ANY;
    }
    response->spread = ANY;
    response->agreeing = ANY;
    response->limit_position = ANY;
    response->limit_line = ANY;
    response->bent_line = ANY;
    response->bent = ANY;
    response->result_position = ANY;
}

static gw_loop_response response;

void gw_check_response_all(void)
{
    gw_response_settings settings;
    int32_t findings[GW_RESPONSE_FINDING_COUNT];
    int32_t inverse[2];

    any_settings(&settings);
    any_response(&response);
    switch (gw_any_int32(0, 6)) {
    case 0:
        (void)gw_response_sample(&response, &settings, ANY);
        break;
    case 1:
        gw_response_record(&response, ANY, ANY);
        break;
    case 2:
        gw_response_evaluate(&response, &settings);
        break;
    case 3:
        gw_response_findings(&response, &settings, ANY, findings);
        break;
    case 4:
        gw_response_prepare(&response, &settings);
        break;
    case 5:
        gw_response_line(&response, &settings, ANY, inverse);
        break;
    default:
        gw_response_reset(&response);
        break;
    }
}
