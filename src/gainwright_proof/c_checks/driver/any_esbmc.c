/* Any values and checks for ESBMC. */
#include "gw_any.h"

int nondet_int(void);
unsigned int nondet_uint(void);
long long nondet_llong(void);
unsigned long long nondet_ullong(void);
void __ESBMC_assume(_Bool);
void __ESBMC_assert(_Bool, const char *);

int32_t gw_any_int32(int32_t low, int32_t high)
{
    const int32_t value = nondet_int();

    __ESBMC_assume((value >= low) && (value <= high));
    return value;
}

int64_t gw_any_int64(int64_t low, int64_t high)
{
    const int64_t value = nondet_llong();

    __ESBMC_assume((value >= low) && (value <= high));
    return value;
}

uint32_t gw_any_uint32(uint32_t low, uint32_t high)
{
    const uint32_t value = nondet_uint();

    __ESBMC_assume((value >= low) && (value <= high));
    return value;
}

uint64_t gw_any_uint64(uint64_t low, uint64_t high)
{
    const uint64_t value = nondet_ullong();

    __ESBMC_assume((value >= low) && (value <= high));
    return value;
}

void gw_check(int32_t holds)
{
    __ESBMC_assert(holds != 0, "range kept");
}
