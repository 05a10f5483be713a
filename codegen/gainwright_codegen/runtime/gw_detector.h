/*
 * Gainwright: detector of oscillation.
 *
 * NOT A SAFETY FUNCTION: see gw_fixed.h.
 *
 * Takes one torque-command sample and one speed-error sample per control tick (gw_detector_tick.h).
 * Both pass the same high-pass filter, then energies are summed over blocks of fixed length:
 *
 *   ring_level   speed error, long blocks: has the ringing after a test pulse fallen silent?
 *   burst_level  torque command, short blocks: is an oscillation growing now?
 *
 * A level is energy in units of the threshold's energy: GW_LEVEL_ONE (256) is the threshold,
 * GW_LEVEL_MAX is 256 times its amplitude or more; what levels are evidence of, gw_evidence.h says.
 * gainwright.detector.reference is the same bit for bit; gainwright.detector.design says how the
 * settings are found.
 */
#ifndef GW_DETECTOR_H
#define GW_DETECTOR_H

#include <stdint.h>

#include "gw_highpass.h"

#ifdef __cplusplus
extern "C" {
#endif

#define GW_DETECTOR_SECTIONS 2
#define GW_LEVEL_ONE INT32_C(256)
#define GW_LEVEL_MAX INT32_C(16777215)

/* Longest block: 2^14 squares of at most 2^48 make at most 2^62. */
#define GW_DETECTOR_BLOCK_MAX INT32_C(16384)

/* level = ((energy >> shift) * scale) >> 24, both saturated. */
typedef struct {
    int32_t block_ticks; /* 1 to GW_DETECTOR_BLOCK_MAX */
    uint32_t shift;      /* 0 to 47 */
    int32_t scale;       /* 1 to 2^25 */
} gw_level_settings;

typedef struct {
    gw_highpass_coefficients section[GW_DETECTOR_SECTIONS]; /* Q1.30 */
    gw_level_settings ring;
    gw_level_settings burst;
    int32_t swing_level; /* ring level above which the speed itself swings; GW_LEVEL_MAX: none */
    int32_t steps_level; /* ring level up to which encoder steps alone may rise */
} gw_detector_settings;

typedef struct {
    gw_highpass_past past[GW_DETECTOR_SECTIONS + 1]; /* before each section, and behind the last */
    int32_t fraction[GW_DETECTOR_SECTIONS];
    int64_t energy; /* of the block that is being filled */
    int32_t level;  /* of the last complete block */
    uint16_t ticks; /* samples in the one that is being filled, 0 to block_ticks - 1 */
} gw_band;

typedef struct {
    gw_band ring;
    gw_band burst;
} gw_detector;

void gw_detector_reset(gw_detector *detector);

/* Drop the blocks that are being filled: what comes from here on is judged by itself. */
void gw_detector_restart_blocks(gw_detector *detector);

#ifdef __cplusplus
}
#endif

#endif
