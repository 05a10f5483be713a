/* The detector of the export, each filter section replaced by what check_biquad.c shows of it. */
#include "check_axis.h"
#include "gw_any.h"

static int32_t any_biquad_step(const gw_biquad_coefficients *coefficients, gw_biquad_state *state,
                               int32_t x)
{
    (void)coefficients;
    (void)x;
    gw_any_biquad_state(state);
    return gw_any_int32(-GW_SIGNAL_LIMIT, GW_SIGNAL_LIMIT);
}

#define gw_biquad_step any_biquad_step
#include "check_detector.c"
