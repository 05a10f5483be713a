/* Any values and checks for a program that runs: random, every third one at an end or near 0. */
#include "any_random.h"

#include <stdio.h>
#include <stdlib.h>

#include "gw_any.h"

static uint64_t state = 1;

void gw_any_seed(uint64_t seed)
{
    state = (seed * UINT64_C(2685821657736338717)) | 1U;
}

/* xorshift64* (Vigna 2016, ACM TOMS 42:30). */
static uint64_t next(void)
{
    state ^= state >> 12;
    state ^= state << 25;
    state ^= state >> 27;
    return state * UINT64_C(2685821657736338717);
}

/* Offset from low, 0 to span. */
static uint64_t offset(uint64_t span, uint64_t zero)
{
    const uint64_t choice = (next() >> 32) % 15U;

    if (choice == 0U) {
        return 0U;
    }
    if (choice == 1U) {
        return span;
    }
    if (choice < 5U) {
        const uint64_t near = zero + choice - 3U;

        return (near <= span) ? near : span;
    }
    if (choice < 9U) {
        /* Of any number of digits. */
        const uint64_t small = zero + (next() >> (next() & 63U));

        return (small <= span) ? small : span;
    }
    return (span == UINT64_MAX) ? next() : (next() % (span + 1U));
}

int64_t gw_any_int64(int64_t low, int64_t high)
{
    const uint64_t base = (uint64_t)low;
    const uint64_t place = base + offset((uint64_t)high - base, 0U - base);

    return (place <= (uint64_t)INT64_MAX) ? (int64_t)place : (-1 - (int64_t)(~place));
}

int32_t gw_any_int32(int32_t low, int32_t high)
{
    return (int32_t)gw_any_int64(low, high);
}

uint64_t gw_any_uint64(uint64_t low, uint64_t high)
{
    return low + offset(high - low, 0U - low);
}

uint32_t gw_any_uint32(uint32_t low, uint32_t high)
{
    return (uint32_t)gw_any_uint64(low, high);
}

void gw_check(int32_t holds)
{
    if (holds == 0) {
        fputs("a checked range is left\n", stderr);
        exit(1);
    }
}
