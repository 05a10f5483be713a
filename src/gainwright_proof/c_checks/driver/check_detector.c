/* Checks of the detector's inner functions. */
#include "gw_detector_tick.h"

#include "check_axis.h"
#include "any_machine.h"
#include "gw_any.h"

void gw_check_filter(void)
{
    gw_band band;
    int32_t value;

    gw_any_band(&band);
    value = gw_band_filter(&band, &GW_ANY_MACHINE.stage[0].detector.section[0],
                           &GW_ANY_MACHINE.stage[0].detector.section[1],
                           gw_any_int32(INT32_MIN, INT32_MAX));
    gw_check(value >= -GW_CHECK_VALUE_MAX);
    gw_check(value <= GW_CHECK_VALUE_MAX);
}

/* One square for a block of any length and a level of any settings. */
void gw_check_block(void)
{
    gw_band band;
    gw_level_settings settings;

    gw_any_band(&band);
    gw_any_level_settings(&settings);
    /* What may be shifted hangs on the shift: an interpreter by intervals takes each by itself. */
    /*@ split settings.shift; */
    (void)gw_band_add_square(&band, &settings, gw_any_int32(-GW_CHECK_VALUE_MAX, GW_CHECK_VALUE_MAX));
    gw_check_band(&band);
}
