/*
 * Gainwright: the smaller and the larger of two integers.
 *
 * NOT A SAFETY FUNCTION: see gw_fixed.h.
 */
#ifndef GW_SELECT_H
#define GW_SELECT_H

#include <stdint.h>

static inline int32_t gw_minimum_i32(int32_t a, int32_t b)
{
    return (a < b) ? a : b;
}

static inline int32_t gw_maximum_i32(int32_t a, int32_t b)
{
    return (a > b) ? a : b;
}

#endif
