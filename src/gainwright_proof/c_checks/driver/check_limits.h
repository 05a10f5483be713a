/* What one check shows and another one takes for granted. */
#ifndef CHECK_LIMITS_H
#define CHECK_LIMITS_H

/* Second difference of any saturated signal, which is the largest factor of a coefficient. */
#define GW_CHECK_DIFFERENCE_MAX (INT32_C(1) << 30)

/* Product of any exported coefficient and what it is multiplied by. */
#define GW_CHECK_PRODUCT_MAX (INT64_C(1) << 60)

#define GW_CHECK_FRACTION_MAX ((INT32_C(1) << 30) - 1)

/* Filtered value that is squared. */
#define GW_CHECK_VALUE_MAX (INT32_C(1) << 24)

#endif
