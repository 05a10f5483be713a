/* Gainwright: detector of oscillation. NOT A SAFETY FUNCTION: see gw_fixed.h. */
#include "gw_detector.h"

/* Filtered signals lose 4 bits before they are squared: |value| <= 2^24, squares <= 2^48. */
#define GW_DETECTOR_HEADROOM_BITS 4U
#define GW_DETECTOR_SQUARE_MAX (INT64_C(1) << 48)
#define GW_LEVEL_SCALE_BITS 24U
#define GW_LEVEL_QUOTIENT_MAX INT64_C(4294967295)

static void reset_band(gw_band *band)
{
    int32_t i;

    for (i = 0; i < GW_DETECTOR_SECTIONS; i++) {
        gw_biquad_reset(&band->section[i]);
    }
    band->energy = 0;
    band->ticks = 0;
    band->level = 0;
}

void gw_detector_reset(gw_detector *detector)
{
    reset_band(&detector->ring);
    reset_band(&detector->burst);
}

static int32_t filter(gw_band *band, const gw_detector_settings *settings, int32_t signal)
{
    int32_t value = signal;
    int32_t i;

    for (i = 0; i < GW_DETECTOR_SECTIONS; i++) {
        value = gw_biquad_step(&settings->section[i], &band->section[i], value);
    }
    return gw_round_shift_i32(value, GW_DETECTOR_HEADROOM_BITS);
}

static int32_t level_of(int64_t energy, const gw_level_settings *settings)
{
    const int64_t shifted = energy >> settings->shift; /* energy is never negative */
    const int64_t bounded = (shifted > GW_LEVEL_QUOTIENT_MAX) ? GW_LEVEL_QUOTIENT_MAX : shifted;

    return gw_clamp_i64((bounded * settings->scale) >> GW_LEVEL_SCALE_BITS, 0, GW_LEVEL_MAX);
}

/* Adds one square; a complete block gives a new level. A block that goes on never holds more than
 * GW_DETECTOR_BLOCK_MAX - 1 squares; the limit only says so where nobody counts them, so that the
 * sum can be seen not to overflow. A damaged count ends the block, so that none lasts for long. */
static void add_square(gw_band *band, const gw_level_settings *settings, int32_t value)
{
    const int64_t most = (GW_DETECTOR_BLOCK_MAX - 1) * GW_DETECTOR_SQUARE_MAX;
    const int64_t energy = ((uint64_t)band->energy > (uint64_t)most) ? most : band->energy;

    band->energy = energy + ((int64_t)value * value);
    band->ticks += 1;
    if ((band->ticks >= settings->block_ticks) || (band->ticks <= 0)) {
        band->level = level_of(band->energy, settings);
        band->energy = 0;
        band->ticks = 0;
    }
}

void gw_detector_sample(gw_detector *detector, const gw_detector_settings *settings,
                        int32_t torque_command, int32_t speed_error)
{
    add_square(&detector->ring, &settings->ring, filter(&detector->ring, settings, speed_error));
    add_square(&detector->burst, &settings->burst,
               filter(&detector->burst, settings, torque_command));
}
