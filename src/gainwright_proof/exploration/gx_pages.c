/*
 * Gainwright, exhaustive exploration: the set of nodes found. See gx_pages.h.
 */
#include "gx_pages.h"

#include <stdlib.h>
#include <string.h>

#include "gx_sizes.h"

#define PAGE_CODES (UINT64_C(1) << GX_PAGE_BITS)
#define FIRST_PLACES (UINT64_C(1) << 10)
/* Places per page: in a sparse table the first look mostly finds what is sought. */
#define SPARSENESS 4U

int32_t gx_pages_init(gx_page_set *set)
{
    memset(set, 0, sizeof *set);
    set->places = FIRST_PLACES;
    set->capacity = FIRST_PLACES / 2U;
    set->table = calloc(set->places, sizeof *set->table);
    set->numbers = calloc(set->capacity * PAGE_CODES, sizeof *set->numbers);
    return (set->table != NULL) && (set->numbers != NULL);
}

void gx_pages_free(gx_page_set *set)
{
    free(set->table);
    free(set->numbers);
}

uint64_t gx_pages_bytes(const gx_page_set *set)
{
    return (set->places * sizeof *set->table)
        + (set->capacity * PAGE_CODES * sizeof *set->numbers);
}

/* The place of a key, or the empty place where it belongs. */
static gx_page *find_page(gx_page *table, uint64_t places, uint64_t key)
{
    uint64_t place = ((key * UINT64_C(0x9E3779B97F4A7C15)) >> 32) & (places - 1U);

    while ((table[place].key != 0U) && (table[place].key != key)) {
        place = (place + 1U) & (places - 1U);
    }
    return &table[place];
}

static int32_t grow_table(gx_page_set *set)
{
    const uint64_t places = set->places * 2U;
    gx_page *table = calloc(places, sizeof *table);
    uint64_t old;

    if (table == NULL) {
        return 0;
    }
    for (old = 0U; old < set->places; old++) {
        if (set->table[old].key != 0U) {
            *find_page(table, places, set->table[old].key) = set->table[old];
        }
    }
    free(set->table);
    set->table = table;
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

/* Make room for one page more; 0 if memory is short. */
GX_SELDOM
static int32_t reserve_page(gx_page_set *set)
{
    return ((set->pages < set->capacity) || grow_numbers(set))
        && ((set->pages * SPARSENESS < set->places) || grow_table(set));
}

uint32_t *gx_pages_place(gx_page_set *set, uint64_t code)
{
    const uint64_t key = (code >> GX_PAGE_BITS) + 1U;
    gx_page *page = find_page(set->table, set->places, key);

    if (page->key == 0U) {
        if (!reserve_page(set)) {
            return NULL;
        }
        page = find_page(set->table, set->places, key);
        page->key = key;
        page->slot = (uint32_t)set->pages;
        set->pages++;
    }
    return &set->numbers[((uint64_t)page->slot * PAGE_CODES) + (code & (PAGE_CODES - 1U))];
}
