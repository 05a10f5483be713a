/* Gainwright: where a loop response is real, and its noise. NOT A SAFETY FUNCTION: see gw_fixed.h. */
#include "gw_loop_crossings.h"

#include "gw_loop_transform.h"

/* Crossings nearer than this to the present gain are noise: the loop is quiet at it. */
#define NEAREST_CROSSING INT32_C(4300)
/* From so much noise on, means of lines tell a crossing better than the two beside it: 4096 / 33. */
#define NOISE_OF_MEANS INT32_C(124)
/* Noise as large as a crossing leaves nothing of it: it may be noise alone. In the last part of the
 * band, where most drives let no loop oscillate, half of that does. */
#define NOISE_ALONE INT32_C(4096)
#define NOISE_ALONE_LAST INT32_C(2048)
/* A line without excitation that is so many times as loud as usual tells of a tone of the machine's
 * own, and of the lines around it. */
#define LOUD_TIMES INT32_C(3)

void gw_crossings_begin(gw_loop_response *response)
{
    int32_t i;

    for (i = 0; i < GW_RESPONSE_CROSSINGS; i++) {
        response->crossing[i] = GW_CROSSING_NONE;
        response->crossing_line[i] = 0;
        response->crossing_noise[i] = GW_RESPONSE_SPREAD_MAX;
    }
    for (i = 0; i < GW_RESPONSE_PARTS; i++) {
        response->noise[i] = 0;
        response->noise_most[i] = 0;
        response->noise_lines[i] = 0;
    }
}

void gw_crossings_forget(gw_loop_response *response)
{
    int32_t i;

    for (i = 0; i < GW_RESPONSE_NOISE_PLACES; i++) {
        response->noise_at[i] = 0U;
    }
}

/* |U| / |D| of a line without excitation, within 7 %. */
void gw_crossings_add_noise(gw_loop_response *response, int32_t part, int32_t place,
                            const int32_t found[2])
{
    const int32_t re = gw_absolute_i32(found[0]);
    const int32_t im = gw_absolute_i32(found[1]);
    const int32_t most = gw_transform_larger(re, im);
    const int32_t least = (re + im) - most;
    const int32_t modulus = most + (3 * (least / 8));
    const int32_t share = gw_clamp_i32(INT32_C(0x10000000) / gw_transform_larger(modulus, 1), 0, 65535);

    response->noise[part] = (response->noise[part] & INT64_C(0xFFFFFFFFFFFF))
                            + gw_product_i64(share, share);
    response->noise_most[part] = gw_transform_larger(response->noise_most[part], share);
    response->noise_lines[part] = gw_clamp_i32(response->noise_lines[part], 0, 255) + 1;
    response->noise_at[gw_clamp_i32(place, 0, GW_RESPONSE_NOISE_PLACES - 1)] = (uint16_t)share;
}

/* Noise in a part of the band, |U| / |D| in Q16. The noisiest line does not count: it may be a tone. */
static int32_t noise_in(const gw_loop_response *response, int32_t part)
{
    const int32_t most = gw_clamp_i32(response->noise_most[part], 0, 65535);
    const int32_t lines = gw_clamp_i32(response->noise_lines[part], 0, 256);
    const int64_t all = response->noise[part] & INT64_C(0xFFFFFFFFFFFF);
    const int64_t mean = (lines > 2) ? ((all - gw_product_i64(most, most)) / (lines - 1)) : all;

    return gw_clamp_i32(gw_transform_root(gw_clamp_i64(mean, 0, INT32_MAX)), 0, 65535);
}

static int32_t noise_around(const gw_loop_response *response, int32_t line)
{
    return (int32_t)response->noise_at[gw_clamp_i32(line, 0, GW_TRANSFORM_LINES - 1)
                                       / GW_RESPONSE_NOISE_STEP];
}

/* Noise of the two lines before one: the usual one, or that of a tone beside them. */
static int32_t noise_before(const gw_loop_response *response, int32_t usual, int32_t line)
{
    const int32_t beside = gw_transform_larger(noise_around(response, line - 1),
                                               noise_around(response, line - 2));

    return (beside > (LOUD_TIMES * usual)) ? beside : usual;
}

static int64_t square_of(int32_t re, int32_t im)
{
    return gw_product_i64(re, re) + gw_product_i64(im, im);
}

/* The lowest crossings are kept, in their order: of the last of them room is made. */
static void keep_crossing(gw_loop_response *response, int32_t at, int32_t line, int32_t noise)
{
    int32_t i = GW_RESPONSE_CROSSINGS - 1;

    if (at < response->crossing[i]) {
        for (; (i > 0) && (at < response->crossing[i - 1]); i--) {
            response->crossing[i] = response->crossing[i - 1];
            response->crossing_line[i] = response->crossing_line[i - 1];
            response->crossing_noise[i] = response->crossing_noise[i - 1];
        }
        response->crossing[i] = at;
        response->crossing_line[i] = line;
        response->crossing_noise[i] = noise;
    }
}

/* Share of the way, Q15, at which the straight line between two responses, with different signs of
 * the imaginary part, is real. */
static int32_t way_to_real(int32_t im, int32_t next_im)
{
    const int32_t before = gw_absolute_i32(im);
    const int32_t sum = before + gw_absolute_i32(next_im);
    const int32_t bits = gw_transform_larger(gw_transform_bits((uint32_t)sum) - 16, 0);
    const int32_t way = gw_transform_larger(gw_floor_shift_i32(sum, (uint32_t)bits), 1);
    const int32_t part = gw_clamp_i32(gw_floor_shift_i32(before, (uint32_t)bits), 0, 65535);

    return gw_clamp_i32((part * 32767) / way, 0, 32767);
}

/* Real part there. */
static int32_t real_between(int32_t re, int32_t im, int32_t next_re, int32_t next_im)
{
    return re + gw_multiply_floor_i32(next_re - re, way_to_real(im, next_im), 15U);
}

/* Noise of a crossing between two lines, as a share of it, 4096 = 1. Y = 1 + D / U of a line is the
 * noisier the farther out it lies, as the square of |Y|. */
static int32_t noise_between(const gw_loop_response *response, int32_t share, int32_t at)
{
    const int64_t before = square_of(response->last_re[1], response->last_im[1]) / at;
    const int64_t after = square_of(response->last_re[0], response->last_im[0]) / at;
    const int64_t way = way_to_real(response->last_im[1], response->last_im[0]);
    const int64_t far = before + gw_floor_shift_i64((after - before) * way, 15U);

    return gw_clamp_i64(gw_floor_shift_i64((int64_t)share * far, 16U), 0, GW_RESPONSE_SPREAD_MAX);
}

/* In noise, where means of two lines on either side, which lie on the same straight line as the two
 * beside the crossing, have it, unless that differs by more than noise does. What counts is the noise
 * that lines had as near as the crossing: where they are far out Y is bent. */
static int32_t in_noise(int32_t at, int32_t mean, int32_t share)
{
    const int64_t noise = gw_floor_shift_i64(gw_product_i64(share, at), 16U);
    const int64_t way = (int64_t)mean - at;
    const int64_t most = 2 * gw_floor_shift_i64(gw_product_i64(at, gw_saturate_i32(noise)), 12U);

    return ((noise >= NOISE_OF_MEANS) && (way <= most) && (-way <= most)) ? mean : at;
}

/* Between the two lines before this one. */
void gw_crossings_look(gw_loop_response *response, const gw_response_settings *settings, int32_t line,
                       int32_t re, int32_t im)
{
    const int32_t *const last_re = response->last_re;
    const int32_t *const last_im = response->last_im;
    const int32_t at = real_between(last_re[1], last_im[1], last_re[0], last_im[0]);

    if (at >= NEAREST_CROSSING) {
        const int32_t part = gw_crossings_part(settings, line - 1);
        const int32_t usual = noise_in(response, part);
        const int32_t share = noise_before(response, usual, line);
        const int32_t before = gw_transform_half_of_sum(last_im[2], last_im[1]);
        const int32_t after = gw_transform_half_of_sum(last_im[0], im);
        const int32_t mean
            = real_between(gw_transform_half_of_sum(last_re[2], last_re[1]), before,
                           gw_transform_half_of_sum(last_re[0], re), after);

        /* A tone makes no crossing worthless: it may be the lowest. */
        if (noise_between(response, usual, at) <= ((part < 2) ? NOISE_ALONE : NOISE_ALONE_LAST)) {
            keep_crossing(response, ((before < 0) != (after < 0)) ? in_noise(at, mean, usual) : at,
                          line - 1, noise_between(response, share, at));
        }
    }
}
