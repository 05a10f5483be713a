/*
 * Gainwright: detector of oscillation, one sample. For gw_axis_control.c, whose every tick it is: a
 * call would cost it more than what it saves.
 *
 * NOT A SAFETY FUNCTION: see gw_fixed.h.
 */
#ifndef GW_DETECTOR_TICK_H
#define GW_DETECTOR_TICK_H

#include <stdint.h>

#include "gw_detector.h"

/* What a sample may complete. */
#define GW_RING_BLOCK_ENDED INT32_C(1)
#define GW_BURST_BLOCK_ENDED INT32_C(2)

/* Filtered signals lose 4 bits before they are squared: |value| <= 2^24, squares <= 2^48. */
#define GW_DETECTOR_HEADROOM_BITS 4U
#define GW_DETECTOR_HALF INT32_C(8)
#define GW_DETECTOR_MOVE INT32_C(0x20000000)
#define GW_DETECTOR_MOVED INT32_C(0x2000000)
#define GW_DETECTOR_ENERGY_MAX UINT64_C(0x3FFFFFFFFFFFFFFF)
#define GW_LEVEL_SCALE_BITS 24U

#if GW_DETECTOR_SECTIONS != 2
#error "gw_detector_tick.h: gw_band_filter has two sections"
#endif

/* A signal without its lowest bits, rounded half up; moved up meanwhile, so that what is shifted has
 * no sign. */
static inline int32_t gw_detector_headroom(int32_t signal)
{
    const int32_t moved = signal + GW_DETECTOR_MOVE + GW_DETECTOR_HALF;
    const uint32_t shifted = (uint32_t)moved >> GW_DETECTOR_HEADROOM_BITS;

    return (int32_t)shifted - GW_DETECTOR_MOVED;
}

static inline int32_t gw_band_section(gw_band *band, const gw_highpass_coefficients *section,
                                      int32_t i, int32_t value)
{
    return gw_highpass_step(section, &band->past[i], &band->past[i + 1], &band->fraction[i], value);
}

/* Section by section in one line: a loop keeps compilers from single saturating instructions. */
static inline int32_t gw_band_filter(gw_band *band, const gw_highpass_coefficients *first,
                                     const gw_highpass_coefficients *second, int32_t signal)
{
    int32_t value = gw_saturate_signal(signal);

    value = gw_band_section(band, first, 0, value);
    value = gw_band_section(band, second, 1, value);
    gw_highpass_push(&band->past[GW_DETECTOR_SECTIONS], value);
    return gw_detector_headroom(value);
}

/* Energy / 2^shift, saturated; shift 0 to 63. In cases: processors of 32 bits have no shift of a wide
 * number by what is only known then, but one by less than 32 is short. */
static inline uint32_t gw_energy_shifted(uint64_t energy, uint32_t shift)
{
    const uint32_t high = (uint32_t)(energy >> 32U);
    const uint32_t low = (uint32_t)(energy & UINT32_MAX);

    if (shift > 31U) {
        return high >> (shift & 31U);
    }
    if (high >= (UINT32_C(1) << shift)) {
        return UINT32_MAX;
    }
    return (low >> shift) | ((high * 2U) << (31U - shift));
}

static inline int32_t gw_level_of(int64_t energy, const gw_level_settings *settings)
{
    const uint32_t shifted = gw_energy_shifted((uint64_t)energy, settings->shift);
    const uint64_t level = ((uint64_t)shifted * (uint32_t)settings->scale) >> GW_LEVEL_SCALE_BITS;

    return (level > (uint64_t)GW_LEVEL_MAX) ? GW_LEVEL_MAX : (int32_t)level;
}

/* Adds one square; 1 where that completes a block, which gives a new level. A block that goes on
 * never holds more than GW_DETECTOR_BLOCK_MAX - 1 squares; the mask only says so where nobody counts
 * them, so that the sum can be seen not to overflow, whatever damaged memory holds. A damaged count
 * ends the block, so that none lasts for long. */
static inline int32_t gw_band_add_square(gw_band *band, const gw_level_settings *settings,
                                         int32_t value)
{
    const uint64_t energy = (uint64_t)band->energy & (uint64_t)GW_DETECTOR_ENERGY_MAX;
    const uint32_t ticks = (uint32_t)band->ticks + 1U;

    band->energy = (int64_t)energy + gw_square_i64(value);
    if (ticks >= (uint32_t)settings->block_ticks) {
        band->level = gw_level_of(band->energy, settings);
        band->energy = 0;
        band->ticks = 0U;
        return 1;
    }
    band->ticks = (uint16_t)ticks;
    return 0;
}

/* 1 if the next sample completes a block, else 0. */
static inline int32_t gw_detector_block_ends(const gw_detector *detector,
                                             const gw_detector_settings *settings)
{
    const uint32_t ring = (uint32_t)detector->ring.ticks + 1U;
    const uint32_t burst = (uint32_t)detector->burst.ticks + 1U;

    return ((ring >= (uint32_t)settings->ring.block_ticks)
            || (burst >= (uint32_t)settings->burst.block_ticks)) ? 1 : 0;
}

/* The speed error of one control tick, Q4.24 per unit of top speed; 0, or GW_RING_BLOCK_ENDED. */
static inline int32_t gw_detector_speed(gw_detector *detector, const gw_detector_settings *settings,
                                        int32_t speed_error)
{
    const int32_t value = gw_band_filter(&detector->ring, &settings->section[0],
                                         &settings->section[1], speed_error);

    return gw_band_add_square(&detector->ring, &settings->ring, value) * GW_RING_BLOCK_ENDED;
}

/* The torque command of one control tick, Q4.24 per unit of rated torque; 0, or
 * GW_BURST_BLOCK_ENDED. */
static inline int32_t gw_detector_torque(gw_detector *detector, const gw_detector_settings *settings,
                                         int32_t torque_command)
{
    const int32_t value = gw_band_filter(&detector->burst, &settings->section[0],
                                         &settings->section[1], torque_command);

    return gw_band_add_square(&detector->burst, &settings->burst, value) * GW_BURST_BLOCK_ENDED;
}

/* Both, for who always listens to both. */
static inline int32_t gw_detector_sample(gw_detector *detector,
                                         const gw_detector_settings *settings,
                                         int32_t torque_command, int32_t speed_error)
{
    const int32_t ended = gw_detector_speed(detector, settings, speed_error);

    return ended + gw_detector_torque(detector, settings, torque_command);
}

#endif
