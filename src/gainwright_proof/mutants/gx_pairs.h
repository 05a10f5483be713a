/* Gainwright, mutants: a set of pairs of numbers, open addressing. */
#ifndef GX_PAIRS_H
#define GX_PAIRS_H

#include <stdint.h>
#include <stdlib.h>

typedef struct {
    uint64_t first;
    uint64_t second;
    uint32_t used;
} gx_pair_slot;

typedef struct {
    gx_pair_slot *slots;
    uint64_t mask;
} gx_pairs;

/* Begin a set for at most so many pairs; 0 if memory is short. The caller frees the slots. */
static inline int32_t gx_begin_pairs(gx_pairs *set, uint32_t most)
{
    set->mask = 15U;
    while (set->mask < ((uint64_t)most * 2U)) {
        set->mask = (set->mask * 2U) + 1U;
    }
    set->slots = calloc((size_t)set->mask + 1U, sizeof *set->slots);
    return set->slots != NULL;
}

/* Put a pair into a set; 1 if it was not there. */
static inline int32_t gx_is_new_pair(gx_pairs *set, uint64_t first, uint64_t second)
{
    const uint64_t mixed = ((first * UINT64_C(0xC2B2AE3D27D4EB4F)) ^ second)
                           * UINT64_C(0x9E3779B97F4A7C15);
    uint64_t slot = (mixed >> 24) & set->mask;

    for (; set->slots[slot].used != 0U; slot = (slot + 1U) & set->mask) {
        if ((set->slots[slot].first == first) && (set->slots[slot].second == second)) {
            return 0;
        }
    }
    set->slots[slot] = (gx_pair_slot){first, second, 1U};
    return 1;
}

#endif
