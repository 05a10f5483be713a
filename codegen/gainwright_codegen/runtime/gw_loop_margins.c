/* Gainwright: what the lines of a loop response say. NOT A SAFETY FUNCTION: see gw_fixed.h. */
#include "gw_loop_margins.h"

#include "gw_loop_transform.h"

/* Gains, Q8. */
#define SMALL_MAX INT32_C(32767)
#define SMALLEST_GAIN INT32_C(128)
/* A word has so many bits more than a point. */
#define SHIFT_MAX (32 - GW_TRANSFORM_POINT_BITS)
/* Noise of more than this share of the limit makes a prediction worthless: 4096 / 8. */
#define SPREAD_USABLE INT32_C(512)
/* The same, if the crossing was found again nevertheless: 4096 / 4. */
#define SPREAD_AGAIN INT32_C(1024)
#define AVERAGED_MAX 8
/* A position that is near no other. */
#define NOWHERE (4 * GW_POSITION_MAX)
/* Crossings are at the same frequency if no more lines lie between them. */
#define SAME_PLACE 2
/* A loop is bent where predictions in a row have differed so often by more than noise: friction that
 * changes its direction, at a load that swings, damps the more the less it swings. */
#define BENT_OFTEN 2
/* Octaves to so many halves of a share of noise: 1 / ln 2, and some more. */
#define NOISE_HALVES 3

int32_t gw_margins_periods(const gw_loop_response *response)
{
    return gw_clamp_i32(response->periods, 0, GW_RESPONSE_PERIODS_MAX);
}

int32_t gw_margins_weights(const gw_loop_response *response)
{
    return gw_clamp_i32(response->weights, 0, 127 * GW_RESPONSE_PERIODS_MAX);
}

/* D / U of a line, Q12. */
void gw_margins_ratio(const gw_loop_response *response, const gw_response_settings *settings,
                     int32_t line, int32_t found[2])
{
    const int32_t place = 2 * gw_clamp_i32(line - settings->first_line, 0, GW_TRANSFORM_LINES - 1);

    gw_transform_ratio(response->point, line, &settings->lines[place],
                       gw_margins_weights(response) * gw_margins_eighths(response), settings->exponent,
                       gw_clamp_i32(response->shift, 0, SHIFT_MAX), found);
}

/* Lowers the allowed gain to that at which Y misses the wanted phase margin or peak sensitivity: at
 * a gain g the sensitivity is Y / (Y - g), and the phase margin the angle of Y where |Y| = g. */
static void allow(gw_loop_response *response, const gw_response_settings *settings, int32_t re_q12,
                  int32_t im_q12)
{
    const int32_t re = gw_clamp_i32(gw_floor_shift_i32(re_q12, 4U), -SMALL_MAX, SMALL_MAX);
    const int32_t im = gw_absolute_i32(
        gw_clamp_i32(gw_floor_shift_i32(im_q12, 4U), -SMALL_MAX, SMALL_MAX));
    const uint32_t square = gw_square_u32(re) + gw_square_u32(im);
    const int64_t kept = gw_floor_shift_i64((int64_t)square * settings->inverse_square, 16U)
                         - ((int64_t)im * im);
    int32_t gain = GW_MARGINS_NONE;

    if (re > 0) {
        if (((int64_t)im * GW_RATIO_ONE) < ((int64_t)re * settings->tangent)) {
            gain = gw_transform_root((int32_t)square);
        }
        if (kept >= 0) {
            /* No more than |Y|, and so than what the phase margin allows. */
            const int32_t peak = re - gw_transform_root(gw_saturate_i32(kept));

            gain = (peak >= SMALLEST_GAIN) ? peak : gain;
        }
    }
    if ((gain >= SMALLEST_GAIN) && (gain < response->allowed)) {
        response->allowed = gain;
    }
}

static int32_t ratio_in_range(int32_t value)
{
    return gw_clamp_i32(value, -(GW_RATIO_MAX + GW_RATIO_ONE), GW_RATIO_MAX + GW_RATIO_ONE);
}

static int32_t is_noise_line(int32_t line)
{
    return ((line % GW_RESPONSE_NOISE_STEP) == GW_RESPONSE_NOISE_PLACE) ? 1 : 0;
}

static int32_t first_used(const gw_response_settings *settings)
{
    return settings->first_line + is_noise_line(settings->first_line);
}

static int32_t is_in_gap(const gw_response_settings *settings, int32_t line)
{
    return ((line > settings->gap_from) && (line < settings->gap_to)) ? 1 : 0;
}

/* Middle of the way from the line before, then the line itself. No loop oscillates at the first ones,
 * where its own lag is small; in the last part of the band only crossings count. */
static void take_response(gw_loop_response *response, const gw_response_settings *settings,
                          int32_t line, int32_t re, int32_t im)
{
    int32_t i;

    for (i = 0; i < GW_RESPONSE_LINES_KEPT; i++) {
        response->last_re[i] = ratio_in_range(response->last_re[i]);
        response->last_im[i] = ratio_in_range(response->last_im[i]);
    }
    if (((line - first_used(settings)) > GW_RESPONSE_LINES_KEPT)
        && (is_in_gap(settings, line - 1) == 0)
        && ((response->last_im[1] < 0) != (response->last_im[0] < 0))) {
        gw_crossings_look(response, settings, line, re, im);
    }
    if (gw_crossings_part(settings, line) < 2) {
        if (line != first_used(settings)) {
            allow(response, settings, gw_transform_half_of_sum(response->last_re[0], re),
                  gw_transform_half_of_sum(response->last_im[0], im));
        }
        allow(response, settings, re, im);
    }
    for (i = GW_RESPONSE_LINES_KEPT - 1; i > 0; i--) {
        response->last_re[i] = response->last_re[i - 1];
        response->last_im[i] = response->last_im[i - 1];
    }
    response->last_re[0] = re;
    response->last_im[0] = im;
}

void gw_margins_begin(gw_loop_response *response)
{
    int32_t i;

    gw_crossings_begin(response);
    for (i = 0; i < GW_RESPONSE_LINES_KEPT; i++) {
        response->last_re[i] = 0;
        response->last_im[i] = 0;
    }
    response->allowed = GW_MARGINS_NONE;
}

void gw_margins_forget(gw_loop_response *response)
{
    int32_t i;

    for (i = 0; i <= GW_RESPONSE_CROSSINGS; i++) {
        response->known[i] = NOWHERE;
        response->known_line[i] = 0;
    }
}

static int32_t is_in_band(const gw_response_settings *settings, int32_t line)
{
    const int32_t first = gw_clamp_i32(settings->first_line, 1, GW_TRANSFORM_LINES - 1);

    return ((line >= first) && (line <= settings->last_line)) ? 1 : 0;
}

void gw_margins_take_noise(gw_loop_response *response, const gw_response_settings *settings,
                           int32_t place)
{
    const int32_t line = (place * GW_RESPONSE_NOISE_STEP) + GW_RESPONSE_NOISE_PLACE;

    if (is_in_band(settings, line) != 0) {
        int32_t found[2];

        gw_margins_ratio(response, settings, line, found);
        gw_crossings_add_noise(response, gw_crossings_part(settings, line), place, found);
    }
}

void gw_margins_take_line(gw_loop_response *response, const gw_response_settings *settings,
                          int32_t line)
{
    if ((is_in_band(settings, line) != 0) && (is_noise_line(line) == 0)) {
        int32_t found[2];

        gw_margins_ratio(response, settings, line, found);
        take_response(response, settings, line, found[0] + GW_RATIO_ONE, found[1]);
    }
}

/* 4096 * log2(value / 2^bits), value from 1 on. */
static int32_t logarithm(int32_t value, int32_t bits)
{
    const int32_t size = gw_transform_bits((uint32_t)value);
    const int32_t scaled = gw_clamp_i32(gw_transform_scaled(value, 16 - size), 0, 65535);
    uint32_t rest = (uint32_t)scaled;
    int32_t found = (size - 1) - bits;
    int32_t i;

    for (i = 0; i < 12; i++) {
        rest = (rest * rest) >> 15;
        found *= 2;
        if (rest >= UINT32_C(0x10000)) {
            found += 1;
            rest >>= 1;
        }
    }
    return found;
}

/* Position of a multiple of the present gain. */
static int32_t position(const gw_loop_response *response, const gw_response_settings *settings,
                        int32_t value, int32_t bits)
{
    const int32_t rung = gw_clamp_i32(response->rung, 0, GW_RESPONSE_ROOM_MAX);
    const int32_t way = gw_multiply_floor_i32(
        logarithm(gw_transform_larger(value, 1), bits), settings->octave, 12U);

    return gw_clamp_i32((rung * GW_RESPONSE_RUNG) + way, -GW_POSITION_MAX, GW_POSITION_MAX);
}

/* How far the nearest crossing is that was found before at this frequency. */
static int32_t nearest_known(const gw_loop_response *response, int32_t place, int32_t line)
{
    const int32_t here = gw_clamp_i32(line, 0, GW_TRANSFORM_LINES);
    int32_t nearest = INT32_MAX;
    int32_t i;

    for (i = 0; i <= GW_RESPONSE_CROSSINGS; i++) {
        const int32_t known = gw_clamp_i32(response->known[i], -GW_POSITION_MAX, NOWHERE);
        const int32_t there = gw_clamp_i32(response->known_line[i], 0, GW_TRANSFORM_LINES);
        const int32_t way = gw_absolute_i32(place - known);

        if ((gw_absolute_i32(here - there) <= SAME_PLACE) && (way < nearest)) {
            nearest = way;
        }
    }
    return nearest;
}

/* The lowest crossing that was found before; GW_RESPONSE_CROSSINGS if there is none, or one below it
 * that was found at its frequency, but at another gain: that is in doubt. */
static int32_t found_again(const gw_loop_response *response, const gw_response_settings *settings,
                           const int32_t positions[GW_RESPONSE_CROSSINGS])
{
    int32_t found = GW_RESPONSE_CROSSINGS;
    int32_t going = 1;
    int32_t i;

    for (i = 0; i < GW_RESPONSE_CROSSINGS; i++) {
        const int32_t way = nearest_known(response, positions[i], response->crossing_line[i]);

        if ((going != 0) && (way <= (2 * GW_POSITION_MAX)) && (positions[i] != NOWHERE)) {
            found = (way <= settings->agreement) ? i : found;
            going = 0;
        }
    }
    return found;
}

/* The lowest crossing that noise lets count; the lowest of all, if none does. */
static int32_t lowest_clear(const gw_loop_response *response)
{
    int32_t found = 0;
    int32_t i;

    for (i = GW_RESPONSE_CROSSINGS - 1; i >= 0; i--) {
        found = (response->crossing_noise[i] <= SPREAD_USABLE) ? i : found;
    }
    return found;
}

/* Noise spoils a result downwards: the higher of two that differ counts. */
static int32_t merged_result(int32_t before, int32_t result, int32_t weight, int32_t agreement)
{
    int32_t merged = before + ((result - before) / weight);

    if (gw_absolute_i32(result - before) > agreement) {
        merged = gw_transform_larger(result, before);
    }
    return merged;
}

/* The mean of predictions that agree gains by one more; one that is new begins anew. */
static void agree(gw_loop_response *response, const gw_response_settings *settings, int32_t again,
                  int32_t limit, int32_t result)
{
    const int32_t agreed = gw_clamp_i32(response->agreeing, 0, 254);
    const int32_t before = gw_clamp_i32(response->limit_position, -GW_POSITION_MAX, GW_POSITION_MAX);
    const int32_t result_before
        = gw_clamp_i32(response->result_position, -GW_POSITION_MAX, GW_POSITION_MAX);
    const int32_t weight = gw_clamp_i32(agreed, 0, AVERAGED_MAX - 1) + 1;

    /* What is found again was kept by a prediction, so there is one to compare with. */
    if ((again != 0) && (gw_absolute_i32(limit - before) <= settings->agreement)) {
        response->limit_position = before + ((limit - before) / weight);
        response->result_position
            = merged_result(result_before, result, weight, settings->agreement);
        response->agreeing = agreed + 1;
    } else {
        if ((agreed > 0) && ((limit - before) > settings->agreement)) {
            /* So far it is in doubt, and no step up may rest on it. */
            response->spread = GW_RESPONSE_SPREAD_MAX;
        }
        response->limit_position = limit;
        response->result_position = result;
        /* That a lower one is none takes more than one to say. */
        response->agreeing = ((again != 0) && (limit < before)) ? 2 : 1;
    }
}

static int32_t is_near(int32_t line, int32_t other)
{
    return (gw_absolute_i32(gw_clamp_i32(line, 0, GW_TRANSFORM_LINES)
                            - gw_clamp_i32(other, 0, GW_TRANSFORM_LINES))
            <= SAME_PLACE) ? 1 : 0;
}

/* Whether two predictions at the same frequency differ by more than their noise together. */
static int32_t is_apart(const gw_loop_response *response, const gw_response_settings *settings,
                        int32_t limit, int32_t noise)
{
    const int32_t before = gw_clamp_i32(response->limit_position, -GW_POSITION_MAX, GW_POSITION_MAX);
    const int64_t share = gw_product_i64(NOISE_HALVES * noise, settings->octave);
    const int64_t most = settings->agreement + gw_floor_shift_i64(share, 13U);

    return ((response->agreeing > 0) && ((int64_t)gw_absolute_i32(limit - before) > most)) ? 1 : 0;
}

/* Counts where the loop is not linear; 1 if it is bent here. */
static int32_t is_bent(gw_loop_response *response, const gw_response_settings *settings,
                       int32_t limit, int32_t line, int32_t noise)
{
    if ((is_near(line, response->limit_line) != 0)
        && (is_apart(response, settings, limit, noise) != 0)) {
        response->bent = (is_near(line, response->bent_line) != 0)
                             ? (gw_clamp_i32(response->bent, 0, 254) + 1)
                             : 1;
        response->bent_line = line;
    }
    return ((response->bent >= BENT_OFTEN) && (is_near(line, response->bent_line) != 0)) ? 1 : 0;
}

/* How far the effective torque command of the sums lies above 1, 1/256 rung. */
static int32_t effective(const gw_loop_response *response, const gw_response_settings *settings)
{
    const int32_t mean = gw_clamp_i64(
        gw_floor_shift_i64(response->energy, 21U), 1, INT32_MAX); /* 512 points, and 2^12 */
    const int32_t shift = gw_clamp_i32(response->shift, 0, SHIFT_MAX) + 13;
    const int32_t weights = gw_transform_larger(gw_margins_weights(response), 1);
    const int32_t root = gw_floor_shift_i32(logarithm(mean, 0), 1U);

    return gw_multiply_floor_i32((root + (shift * GW_RATIO_ONE)) - logarithm(weights, 0),
                                 settings->octave, 12U);
}

/* The motor was shaken so much that friction may have changed its direction: the sums say nothing of
 * the loop as it is in use, and the next ones are made with half the test signal. */
static int32_t is_shaken(gw_loop_response *response, const gw_response_settings *settings)
{
    const int32_t rung = gw_clamp_i32(response->rung, 0, GW_RESPONSE_ROOM_MAX) * GW_RESPONSE_RUNG;
    const int32_t shaken
        = ((effective(response, settings) - rung) > settings->shaken) ? 1 : 0;

    if (shaken != 0) {
        response->most_eighths = gw_transform_larger(gw_margins_eighths(response) / 2, 1);
    }
    return shaken;
}

static void remember(gw_loop_response *response, const int32_t positions[GW_RESPONSE_CROSSINGS])
{
    int32_t i;

    for (i = 0; i < GW_RESPONSE_CROSSINGS; i++) {
        response->known[i] = positions[i];
        response->known_line[i] = response->crossing_line[i];
    }
}

static int32_t result_below(const gw_loop_response *response, const gw_response_settings *settings,
                            int32_t limit)
{
    int32_t result = limit - settings->margin;

    if (response->allowed < GW_MARGINS_NONE) {
        const int32_t allowed = position(response, settings, response->allowed, 8);

        result = (allowed < result) ? allowed : result;
    }
    return result;
}

/* Of what was known, one counts on: the next that agrees with it makes two. */
static void say_nothing(gw_loop_response *response, int32_t spread)
{
    response->spread = spread;
    response->agreeing = gw_clamp_i32(response->agreeing, 0, 1);
}

void gw_margins_conclude(gw_loop_response *response, const gw_response_settings *settings)
{
    const int32_t spread_before = gw_clamp_i32(response->spread, 0, GW_RESPONSE_SPREAD_MAX);
    int32_t positions[GW_RESPONSE_CROSSINGS];
    int32_t again;
    int32_t place;
    int32_t i;

    for (i = 0; i < GW_RESPONSE_CROSSINGS; i++) {
        positions[i] = NOWHERE;
        if (response->crossing[i] < GW_MARGINS_NONE) {
            positions[i] = position(response, settings, response->crossing[i], 12);
        }
    }
    place = found_again(response, settings, positions);
    again = (place < GW_RESPONSE_CROSSINGS) ? 1 : 0;
    place = (again != 0) ? place : lowest_clear(response);
    response->spread = GW_RESPONSE_SPREAD_MAX;
    if (response->crossing[place] < GW_MARGINS_NONE) {
        response->spread = gw_clamp_i32(response->crossing_noise[place], 0, GW_RESPONSE_SPREAD_MAX);
    }
    if (is_shaken(response, settings) != 0) {
        response->spread = GW_RESPONSE_SPREAD_MAX;
    }
    if (response->spread > ((again != 0) ? SPREAD_AGAIN : SPREAD_USABLE)) {
        say_nothing(response, response->spread);
    } else if (is_bent(response, settings, positions[place], response->crossing_line[place],
                       spread_before + response->spread) != 0) {
        say_nothing(response, GW_RESPONSE_SPREAD_MAX);
    } else {
        response->known[GW_RESPONSE_CROSSINGS]
            = (response->agreeing > 0) ? response->limit_position : NOWHERE;
        response->known_line[GW_RESPONSE_CROSSINGS] = response->limit_line;
        agree(response, settings, again, positions[place],
              result_below(response, settings, positions[place]));
        response->limit_line = response->crossing_line[place];
        remember(response, positions);
    }
    response->evaluated = 1;
}
