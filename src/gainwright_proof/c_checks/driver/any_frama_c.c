/* Any values and checks for Frama-C. */
#include "__fc_builtin.h"
#include "gw_any.h"

/*@ requires \false;
    assigns \nothing; */
void gw_check_failed(void);

int32_t gw_any_int32(int32_t low, int32_t high)
{
    return Frama_C_interval(low, high);
}

int64_t gw_any_int64(int64_t low, int64_t high)
{
    return Frama_C_long_long_interval(low, high);
}

uint32_t gw_any_uint32(uint32_t low, uint32_t high)
{
    return Frama_C_unsigned_int_interval(low, high);
}

uint64_t gw_any_uint64(uint64_t low, uint64_t high)
{
    return Frama_C_unsigned_long_long_interval(low, high);
}

void gw_check(int32_t holds)
{
    if (holds == 0) {
        gw_check_failed();
    }
}
