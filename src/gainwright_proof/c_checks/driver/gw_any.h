/* Gainwright: what a checker of the exported C must offer. Not part of any export. */
#ifndef GW_ANY_H
#define GW_ANY_H

#include <stdint.h>

/* Any value from low to high, both included. */
int32_t gw_any_int32(int32_t low, int32_t high);
int64_t gw_any_int64(int64_t low, int64_t high);
uint32_t gw_any_uint32(uint32_t low, uint32_t high);
uint64_t gw_any_uint64(uint64_t low, uint64_t high);
#define gw_any_int16(low, high) ((int16_t)gw_any_int32((low), (high)))
#define gw_any_int8(low, high) ((int8_t)gw_any_int32((low), (high)))
#define gw_any_uint16(low, high) ((uint16_t)gw_any_uint32((low), (high)))
#define gw_any_uint8(low, high) ((uint8_t)gw_any_uint32((low), (high)))

/* To be shown to hold whenever it is reached. */
void gw_check(int32_t holds);

#endif
