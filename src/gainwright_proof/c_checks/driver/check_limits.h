/* What one check shows and another one takes for granted. */
#ifndef CHECK_LIMITS_H
#define CHECK_LIMITS_H

/* Product of any 32-bit coefficient and any signal: 2^31 times the largest signal. */
#define GW_CHECK_PRODUCT_MAX ((INT64_C(1) << 31) * GW_SIGNAL_LIMIT)

/* Filtered value that is squared. */
#define GW_CHECK_VALUE_MAX (INT32_C(1) << 24)

#endif
