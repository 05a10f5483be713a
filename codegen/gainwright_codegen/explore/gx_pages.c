/*
 * Gainwright, exhaustive exploration: the set of nodes found. See gx_pages.h.
 */
#include "gx_pages.h"

#include <stdlib.h>
#include <string.h>

#define PAGE_BITS 6U
#define PAGE_CODES (UINT64_C(1) << PAGE_BITS)
#define FIRST_PLACES (UINT64_C(1) << 12)

int32_t gx_pages_init(gx_page_set *set)
{
    memset(set, 0, sizeof *set);
    set->places = FIRST_PLACES;
    set->capacity = FIRST_PLACES / 2U;
    set->keys = calloc(set->places, sizeof *set->keys);
    set->slots = calloc(set->places, sizeof *set->slots);
    set->numbers = calloc(set->capacity * PAGE_CODES, sizeof *set->numbers);
    return (set->keys != NULL) && (set->slots != NULL) && (set->numbers != NULL);
}

void gx_pages_free(gx_page_set *set)
{
    free(set->keys);
    free(set->slots);
    free(set->numbers);
}

uint64_t gx_pages_bytes(const gx_page_set *set)
{
    const uint64_t place = sizeof *set->keys + sizeof *set->slots;

    return (set->places * place) + (set->capacity * PAGE_CODES * sizeof *set->numbers);
}

/* The place of a key, or the empty place where it belongs. */
static uint64_t find(const uint64_t *keys, uint64_t places, uint64_t key)
{
    uint64_t place = ((key * UINT64_C(0x9E3779B97F4A7C15)) >> 32) & (places - 1U);

    while ((keys[place] != 0U) && (keys[place] != key)) {
        place = (place + 1U) & (places - 1U);
    }
    return place;
}

static int32_t grow_table(gx_page_set *set)
{
    const uint64_t places = set->places * 2U;
    uint64_t *keys = calloc(places, sizeof *keys);
    uint32_t *slots = calloc(places, sizeof *slots);
    uint64_t old;

    if ((keys == NULL) || (slots == NULL)) {
        free(keys);
        free(slots);
        return 0;
    }
    for (old = 0U; old < set->places; old++) {
        if (set->keys[old] != 0U) {
            const uint64_t place = find(keys, places, set->keys[old]);

            keys[place] = set->keys[old];
            slots[place] = set->slots[old];
        }
    }
    free(set->keys);
    free(set->slots);
    set->keys = keys;
    set->slots = slots;
    set->places = places;
    return 1;
}

static int32_t grow_numbers(gx_page_set *set)
{
    const uint64_t capacity = set->capacity + (set->capacity / 2U);
    const uint64_t page = PAGE_CODES * sizeof *set->numbers;
    uint32_t *numbers = realloc(set->numbers, capacity * page);

    if (numbers == NULL) {
        return 0;
    }
    memset(&numbers[set->capacity * PAGE_CODES], 0, (capacity - set->capacity) * page);
    set->numbers = numbers;
    set->capacity = capacity;
    return 1;
}

uint32_t *gx_pages_place(gx_page_set *set, uint64_t code)
{
    const uint64_t key = (code >> PAGE_BITS) + 1U;

    if (key != set->last_key) {
        uint64_t place = find(set->keys, set->places, key);

        if (set->keys[place] == 0U) {
            if ((set->pages == set->capacity) && !grow_numbers(set)) {
                return NULL;
            }
            if ((set->pages * 2U) >= set->places) {
                if (!grow_table(set)) {
                    return NULL;
                }
                place = find(set->keys, set->places, key);
            }
            set->keys[place] = key;
            set->slots[place] = (uint32_t)set->pages;
            set->pages++;
        }
        set->last_key = key;
        set->last_slot = set->slots[place];
    }
    return &set->numbers[((uint64_t)set->last_slot * PAGE_CODES) + (code & (PAGE_CODES - 1U))];
}
