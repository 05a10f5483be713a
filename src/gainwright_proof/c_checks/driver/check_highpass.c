/* One sample of a high-pass section with any allowed coefficients, from any promised state and back
 * into it. */
#ifdef GW_CHECK_BY_PARTS
/* Each product is replaced by what gw_check_products shows of it. */
#include "check_limits.h"
#include "gw_any.h"
#include "gw_fixed.h"

static int64_t any_product(int32_t coefficient, int32_t signal)
{
    (void)coefficient;
    gw_check(signal >= -GW_CHECK_DIFFERENCE_MAX);
    gw_check(signal <= GW_CHECK_DIFFERENCE_MAX);
    return gw_any_int64(-GW_CHECK_PRODUCT_MAX, GW_CHECK_PRODUCT_MAX);
}

#define gw_product_i64 any_product
/* In the same unit: ESBMC takes functions of one name in two units for the same, static or not. */
#include "any_structs.c"
#endif
#include "check_axis.h"
#include "gw_any.h"

void gw_check_highpass(void)
{
    gw_highpass_coefficients section;
    gw_highpass_past past_x;
    gw_highpass_past past_y;
    int32_t fraction = gw_any_int32(0, GW_CHECK_FRACTION_MAX);
    int32_t output;

    gw_any_highpass_coefficients(&section);
    gw_any_highpass_past(&past_x);
    gw_any_highpass_past(&past_y);
    output = gw_highpass_step(&section, &past_x, &past_y, &fraction,
                              gw_any_int32(GW_SIGNAL_LOWEST, GW_SIGNAL_LIMIT));
    gw_check(output >= GW_SIGNAL_LOWEST);
    gw_check(output <= GW_SIGNAL_LIMIT);
    gw_check(fraction >= 0);
    gw_check(fraction <= GW_CHECK_FRACTION_MAX);
    gw_check_highpass_past(&past_x);
}
