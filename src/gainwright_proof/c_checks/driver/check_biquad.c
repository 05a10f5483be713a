/* One sample of a filter section with any coefficients, from any promised state and back into it. */
#ifdef GW_CHECK_BY_PARTS
/* Each product is replaced by what gw_check_products shows of it. */
#include "check_limits.h"
#include "gw_any.h"
#include "gw_fixed.h"

static int64_t any_product(int32_t coefficient, int32_t signal)
{
    (void)coefficient;
    gw_check(signal >= -GW_SIGNAL_LIMIT);
    gw_check(signal <= GW_SIGNAL_LIMIT);
    return gw_any_int64(-GW_CHECK_PRODUCT_MAX, GW_CHECK_PRODUCT_MAX);
}

#define gw_product_i64 any_product
/* In the same unit: ESBMC takes functions of one name in two units for the same, static or not. */
#include "any_structs.c"
#endif
#include "check_axis.h"
#include "gw_any.h"

void gw_check_biquad(void)
{
    gw_biquad_coefficients section;
    gw_biquad_state state;
    int32_t output;

    section.b0 = gw_any_int32(INT32_MIN, INT32_MAX);
    section.b1 = gw_any_int32(INT32_MIN, INT32_MAX);
    section.b2 = gw_any_int32(INT32_MIN, INT32_MAX);
    section.a1 = gw_any_int32(INT32_MIN, INT32_MAX);
    section.a2 = gw_any_int32(INT32_MIN, INT32_MAX);
    gw_any_biquad_state(&state);
    output = gw_biquad_step(&section, &state, gw_any_int32(INT32_MIN, INT32_MAX));
    gw_check(output >= -GW_SIGNAL_LIMIT);
    gw_check(output <= GW_SIGNAL_LIMIT);
    gw_check_biquad_state(&state);
}
