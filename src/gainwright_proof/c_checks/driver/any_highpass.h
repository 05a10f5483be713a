/* One sample of a filter section as check_highpass.c shows it to be: include this before what is to
 * use it instead. */
#ifndef ANY_HIGHPASS_H
#define ANY_HIGHPASS_H

#include "check_axis.h"
#include "gw_any.h"

static int32_t any_highpass_step(const gw_highpass_coefficients *coefficients,
                                 gw_highpass_past *past_x, const gw_highpass_past *past_y,
                                 int32_t *fraction, int32_t x)
{
    (void)coefficients;
    (void)past_y;
    gw_check(x >= GW_SIGNAL_LOWEST);
    gw_check(x <= GW_SIGNAL_LIMIT);
    gw_any_highpass_past(past_x);
    *fraction = gw_any_int32(0, GW_CHECK_FRACTION_MAX);
    return gw_any_int32(GW_SIGNAL_LOWEST, GW_SIGNAL_LIMIT);
}

#define gw_highpass_step any_highpass_step

#endif
