/*
 * Gainwright: the words of a gain ladder, which fall by one ratio, in a fifth of the memory.
 *
 * NOT A SAFETY FUNCTION: see gw_fixed.h.
 *
 *   word k = step[k / 16] * within[k % 16] / 2^(32 + shift), rounded down,
 *            one more where bit k % 32 of one_more[k / 32] is set, and at most `most`
 *
 * Whoever makes the tables sees to it that this gives every word of the ladder exactly; the generated
 * file lists them, and the self-test goes through all. gainwright.fixed.falling is the same bit for
 * bit.
 */
#ifndef GW_LADDER_H
#define GW_LADDER_H

#include <stdint.h>

typedef struct {
    const uint32_t *step;     /* one for every sixteen words */
    const uint32_t *within;   /* sixteen powers of the ratio, Q0.32 */
    const uint32_t *one_more; /* a bit for each word */
    uint32_t shift;           /* 0 to 16 */
    uint32_t most;            /* the largest word, number 0; below 2^31 */
} gw_ladder;

static inline int32_t gw_ladder_word(const gw_ladder *ladder, uint32_t k)
{
    const uint64_t product = (uint64_t)ladder->step[k / 16U] * ladder->within[k % 16U];
    const uint32_t whole = (uint32_t)(product >> 32U) >> ladder->shift;
    const uint32_t more = (ladder->one_more[k / 32U] >> (k % 32U)) & 1U;
    const uint32_t word = whole + more;

    return (int32_t)((word < ladder->most) ? word : ladder->most);
}

#endif
