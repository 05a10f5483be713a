/* Gainwright: detector of oscillation. NOT A SAFETY FUNCTION: see gw_fixed.h. */
#include "gw_detector.h"

/* Filtered signals lose 4 bits before they are squared: |value| < 2^24, squares below 2^48. */
#define GW_DETECTOR_HEADROOM_BITS 4U
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
    detector->previous = 0;
    detector->lag_product = 0;
    detector->ring_energy = 0;
    detector->ring_lag_product = 0;
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

/* Adds one square; 1 if that completed the block, whose level then stands in band->level. */
static int32_t add_square(gw_band *band, const gw_level_settings *settings, int32_t value)
{
    band->energy += (int64_t)value * value;
    band->ticks += 1;
    if (band->ticks < settings->block_ticks) {
        return 0;
    }
    band->level = level_of(band->energy, settings);
    band->ticks = 0;
    return 1;
}

static void sample_ring(gw_detector *detector, const gw_detector_settings *settings,
                        int32_t speed_error)
{
    gw_band *band = &detector->ring;
    const int32_t value = filter(band, settings, speed_error);

    detector->lag_product += (int64_t)value * detector->previous;
    detector->previous = value;
    if (add_square(band, &settings->ring, value) != 0) {
        detector->ring_energy = band->energy;
        detector->ring_lag_product = detector->lag_product;
        band->energy = 0;
        detector->lag_product = 0;
    }
}

static void sample_burst(gw_detector *detector, const gw_detector_settings *settings,
                         int32_t torque_command)
{
    gw_band *band = &detector->burst;

    if (add_square(band, &settings->burst, filter(band, settings, torque_command)) != 0) {
        band->energy = 0;
    }
}

void gw_detector_sample(gw_detector *detector, const gw_detector_settings *settings,
                        int32_t torque_command, int32_t speed_error)
{
    sample_ring(detector, settings, speed_error);
    sample_burst(detector, settings, torque_command);
}
