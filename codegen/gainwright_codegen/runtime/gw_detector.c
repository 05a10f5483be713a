/* Gainwright: detector of oscillation. NOT A SAFETY FUNCTION: see gw_fixed.h. */
#include "gw_detector.h"

static void reset_band(gw_band *band)
{
    int32_t i;

    for (i = 0; i <= GW_DETECTOR_SECTIONS; i++) {
        band->past[i].last = 0;
        band->past[i].before = 0;
    }
    for (i = 0; i < GW_DETECTOR_SECTIONS; i++) {
        band->fraction[i] = GW_HIGHPASS_HALF;
    }
    band->energy = 0;
    band->ticks = 0U;
    band->level = 0;
}

void gw_detector_reset(gw_detector *detector)
{
    reset_band(&detector->ring);
    reset_band(&detector->burst);
}

static void restart_block(gw_band *band)
{
    band->energy = 0;
    band->ticks = 0U;
}

void gw_detector_restart_blocks(gw_detector *detector)
{
    restart_block(&detector->ring);
    restart_block(&detector->burst);
}
