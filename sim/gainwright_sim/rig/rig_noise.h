/* Rig: random numbers. xorshift64* (Marsaglia 2003; Vigna 2016), seeded through splitmix64. */
#ifndef GW_RIG_NOISE_H
#define GW_RIG_NOISE_H

#include <stdint.h>

static inline uint64_t rig_noise_seed(uint64_t seed)
{
    uint64_t z = seed + UINT64_C(0x9E3779B97F4A7C15);

    z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
    z ^= z >> 31;
    return (z == 0U) ? 1U : z;
}

/* Nearly normal, mean 0, standard deviation 1: four uniform 16-bit numbers summed (Irwin-Hall),
 * so no value beyond 2 sqrt(3). */
static inline double rig_noise(uint64_t *state)
{
    uint64_t x = *state;
    int32_t sum;

    x ^= x >> 12;
    x ^= x << 25;
    x ^= x >> 27;
    *state = x;
    x *= UINT64_C(0x2545F4914F6CDD1D);
    sum = (int32_t)(x >> 48) + (int32_t)((x >> 32) & 0xFFFFU) + (int32_t)((x >> 16) & 0xFFFFU)
          + (int32_t)(x & 0xFFFFU);
    return ((double)sum - 131070.0) * (1.7320508075688772 / 65536.0);
}

#endif
