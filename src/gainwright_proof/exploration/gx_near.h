/*
 * Gainwright, exhaustive exploration: a queue that gives the node that is nearest to reset.
 */
#ifndef GX_NEAR_H
#define GX_NEAR_H

#include <stdint.h>

typedef struct {
    uint64_t ticks;
    uint32_t node;
} gx_near_entry;

/* A binary heap; of equally near nodes the smaller number comes first. */
typedef struct {
    gx_near_entry *entries;
    uint64_t count;
    uint64_t capacity;
} gx_near;

/* Return 0 if memory is short. */
int32_t gx_near_put(gx_near *near, uint64_t ticks, uint32_t node);

/* Take the nearest entry out; there must be one. */
gx_near_entry gx_near_take(gx_near *near);

#endif
