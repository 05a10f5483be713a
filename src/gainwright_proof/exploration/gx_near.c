/*
 * Gainwright, exhaustive exploration: a queue by distance. See gx_near.h.
 */
#include "gx_near.h"

#include <stdlib.h>

static int32_t is_nearer(const gx_near_entry *a, const gx_near_entry *b)
{
    return (a->ticks < b->ticks) || ((a->ticks == b->ticks) && (a->node < b->node));
}

int32_t gx_near_put(gx_near *near, uint64_t ticks, uint32_t node)
{
    const gx_near_entry entry = {ticks, node};
    uint64_t place = near->count;

    if (near->count == near->capacity) {
        const uint64_t capacity = (near->capacity == 0U) ? 1024U : near->capacity * 2U;
        gx_near_entry *larger = realloc(near->entries, (size_t)capacity * sizeof *larger);

        if (larger == NULL) {
            return 0;
        }
        near->entries = larger;
        near->capacity = capacity;
    }
    near->count++;
    while ((place > 0U) && is_nearer(&entry, &near->entries[(place - 1U) / 2U])) {
        near->entries[place] = near->entries[(place - 1U) / 2U];
        place = (place - 1U) / 2U;
    }
    near->entries[place] = entry;
    return 1;
}

gx_near_entry gx_near_take(gx_near *near)
{
    const gx_near_entry first = near->entries[0];
    gx_near_entry last;
    uint64_t place = 0U;

    near->count--;
    last = near->entries[near->count];
    for (;;) {
        uint64_t below = (2U * place) + 1U;

        if ((below + 1U < near->count)
            && is_nearer(&near->entries[below + 1U], &near->entries[below])) {
            below++;
        }
        if ((below >= near->count) || !is_nearer(&near->entries[below], &last)) {
            break;
        }
        near->entries[place] = near->entries[below];
        place = below;
    }
    near->entries[place] = last;
    return first;
}
