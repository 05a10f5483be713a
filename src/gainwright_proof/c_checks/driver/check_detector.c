/* The detector of the export, and checks of its inner functions. */
#include "gw_detector.c"

#include "check_axis.h"
#include "any_machine.h"
#include "gw_any.h"

void gw_check_filter(void)
{
    gw_band band;
    int32_t value;

    gw_any_band(&band);
    value = filter(&band, &GW_ANY_MACHINE.stage[0].detector, gw_any_int32(INT32_MIN, INT32_MAX));
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
    add_square(&band, &settings, gw_any_int32(-GW_CHECK_VALUE_MAX, GW_CHECK_VALUE_MAX));
    gw_check_band(&band);
}
