/* Gainwright: Fourier sums of one period. NOT A SAFETY FUNCTION: see gw_fixed.h. */
#include "gw_loop_transform.h"

#define HALF GW_TRANSFORM_LINES
#define QUARTER (GW_RESPONSE_POINTS / 4)
#define TWIDDLE_BITS 14U
#define SMALL_MAX INT32_C(32767)
#define SQUARE_LEAST UINT32_C(8192)

/* cos(2 pi i / 512), Q14, i = 0 to 128. */
static const int16_t quarter_cosine[QUARTER + 1] = {
    16384, 16383, 16379, 16373, 16364, 16353, 16340, 16324, 16305, 16284, 16261, 16235,
    16207, 16176, 16143, 16107, 16069, 16029, 15986, 15941, 15893, 15843, 15791, 15736,
    15679, 15619, 15557, 15493, 15426, 15357, 15286, 15213, 15137, 15059, 14978, 14896,
    14811, 14724, 14635, 14543, 14449, 14354, 14256, 14155, 14053, 13949, 13842, 13733,
    13623, 13510, 13395, 13279, 13160, 13039, 12916, 12792, 12665, 12537, 12406, 12274,
    12140, 12004, 11866, 11727, 11585, 11442, 11297, 11151, 11003, 10853, 10702, 10549,
    10394, 10238, 10080, 9921, 9760, 9598, 9434, 9269, 9102, 8935, 8765, 8595,
    8423, 8250, 8076, 7900, 7723, 7545, 7366, 7186, 7005, 6823, 6639, 6455,
    6270, 6084, 5897, 5708, 5520, 5330, 5139, 4948, 4756, 4563, 4370, 4176,
    3981, 3786, 3590, 3393, 3196, 2999, 2801, 2603, 2404, 2205, 2006, 1806,
    1606, 1406, 1205, 1005, 804, 603, 402, 201, 0
};

static int32_t cosine(int32_t angle)
{
    const uint32_t points = GW_RESPONSE_POINTS;
    const uint32_t rest = (uint32_t)angle % points;
    const int32_t turn = (int32_t)rest;
    const int32_t half = (turn > HALF) ? (GW_RESPONSE_POINTS - turn) : turn;

    return (half > QUARTER) ? -quarter_cosine[HALF - half] : quarter_cosine[half];
}

static int32_t sine(int32_t angle)
{
    return cosine(angle + GW_RESPONSE_POINTS - QUARTER);
}

int32_t gw_transform_larger(int32_t a, int32_t b)
{
    return (a > b) ? a : b;
}

/* Bits of a magnitude below 2^31, 0 for 0. */
int32_t gw_transform_bits(uint32_t magnitude)
{
    uint32_t rest = magnitude;
    int32_t bits = 0;
    int32_t step;

    for (step = 16; step > 0; step /= 2) {
        if ((rest >> (uint32_t)step) != 0U) {
            rest >>= (uint32_t)step;
            bits += step;
        }
    }
    return (rest != 0U) ? (bits + 1) : 0;
}

/* a + i b times cos - i sin of an angle. */
static int32_t turned_re(int32_t a, int32_t b, int32_t angle)
{
    return gw_saturate_i32(gw_round_shift_i64(
        gw_product_i64(a, cosine(angle)) + gw_product_i64(b, sine(angle)), TWIDDLE_BITS));
}

static int32_t turned_im(int32_t a, int32_t b, int32_t angle)
{
    return gw_saturate_i32(gw_round_shift_i64(
        gw_product_i64(b, cosine(angle)) - gw_product_i64(a, sine(angle)), TWIDDLE_BITS));
}

/* Butterfly of the transform of HALF complex points (even and odd points of the period), decimation
 * in frequency: what comes out stands in bit-reversed order. */
void gw_transform_butterfly(int32_t point[GW_RESPONSE_POINTS], int32_t number)
{
    const int32_t stage = number / (HALF / 2);
    const int32_t half = gw_floor_shift_i32(HALF / 2, (uint32_t)stage);
    const int32_t within = number % half;
    const int32_t first = 2 * ((((number % (HALF / 2)) / half) * 2 * half) + within);
    /* Both stand in it as they are; a prover of ranges is told so. */
    const int32_t low = gw_clamp_i32(first, 0, GW_RESPONSE_POINTS - 2);
    const int32_t high = gw_clamp_i32(first + (2 * half), 0, GW_RESPONSE_POINTS - 2);
    const int32_t angle = within * (GW_RESPONSE_POINTS / (2 * half));
    const int32_t re = gw_subtract_i32(point[low], point[high]);
    const int32_t im = gw_subtract_i32(point[low + 1], point[high + 1]);

    point[low] = gw_add_i32(point[low], point[high]);
    point[low + 1] = gw_add_i32(point[low + 1], point[high + 1]);
    point[high] = turned_re(re, im, angle);
    point[high + 1] = turned_im(re, im, angle);
}

static int32_t place_of(int32_t line)
{
    const uint32_t half = HALF;
    uint32_t from = (uint32_t)line % half;
    uint32_t place = 0U;
    int32_t bit;

    for (bit = 0; bit < GW_TRANSFORM_STAGES; bit++) {
        place = (place << 1) | (from & 1U);
        from >>= 1;
    }
    return 2 * (int32_t)place;
}

int32_t gw_transform_half_of_sum(int32_t a, int32_t b)
{
    return gw_saturate_i32(gw_round_shift_i64((int64_t)a + (int64_t)b, 1U));
}

static int32_t half_of_difference(int32_t a, int32_t b)
{
    return gw_saturate_i32(gw_round_shift_i64((int64_t)a - (int64_t)b, 1U));
}

/* Fourier sum of the torque command over a period, times the periods. */
static void torque_of(const int32_t point[GW_RESPONSE_POINTS], int32_t line, int32_t torque[2])
{
    const int32_t *here = &point[place_of(line)];
    const int32_t *there = &point[place_of(HALF - line)];
    const int32_t odd_re = gw_transform_half_of_sum(here[1], there[1]);
    const int32_t odd_im = half_of_difference(there[0], here[0]);

    torque[0] = gw_add_i32(gw_transform_half_of_sum(here[0], there[0]), turned_re(odd_re, odd_im, line));
    torque[1] = gw_add_i32(half_of_difference(here[1], there[1]), turned_im(odd_re, odd_im, line));
}

int32_t gw_transform_scaled(int32_t value, int32_t bits)
{
    return (bits >= 0) ? gw_shift_left_i32(value, (uint32_t)bits)
                       : gw_floor_shift_i32(value, (uint32_t)(-bits));
}

/* numerator / denominator * parts / 1024 * 2^bits, Q12; numerator up to 2^31, denominator from 2^28
 * on, bits from -19 to 31. */
static int32_t ratio(int32_t numerator, int32_t reciprocal, int32_t parts, int32_t bits)
{
    const int64_t wide = gw_product_i64(numerator, reciprocal) * parts;
    const int32_t places = 43 - bits;

    return gw_clamp_i64(gw_floor_shift_i64(wide, (uint32_t)places), -GW_RATIO_MAX, GW_RATIO_MAX);
}

void gw_transform_ratio(const int32_t point[GW_RESPONSE_POINTS], int32_t line, const int16_t d[2],
                        int32_t parts, int32_t exponent, int32_t shift, int32_t found[2])
{
    int32_t torque[2];
    int32_t up;
    int32_t re;
    int32_t im;
    uint32_t square;
    int32_t reciprocal;
    int32_t bits;

    torque_of(point, line, torque);
    up = 15
         - gw_transform_bits((uint32_t)gw_transform_larger(gw_absolute_i32(torque[0]),
                                                           gw_absolute_i32(torque[1])));
    re = gw_clamp_i32(gw_transform_scaled(torque[0], up), -SMALL_MAX, SMALL_MAX);
    im = gw_clamp_i32(gw_transform_scaled(torque[1], up), -SMALL_MAX, SMALL_MAX);
    square = (gw_square_u32(re) + gw_square_u32(im)) >> 15;
    /* The larger of re and im has 15 bits, or both are 0. */
    square = UINT32_C(0x40000000) / ((square < SQUARE_LEAST) ? SQUARE_LEAST : square);
    reciprocal = (int32_t)square;
    bits = gw_clamp_i32((exponent - shift) + up, -19, 31);
    found[0] = ratio((d[0] * re) + (d[1] * im), reciprocal, parts, bits);
    found[1] = ratio((d[1] * re) - (d[0] * im), reciprocal, parts, bits);
}

int32_t gw_transform_root(int32_t square)
{
    int32_t rest = square;
    int32_t found = 0;
    int32_t bit;

    for (bit = INT32_C(0x40000000); bit != 0; bit /= 4) {
        if (rest >= (found + bit)) {
            rest -= found + bit;
            found = (found / 2) + bit;
        } else {
            found /= 2;
        }
    }
    return found;
}
