/*
 * Gainwright, exhaustive exploration: the set of nodes found, from code to number.
 *
 * Codes are looked up in pages of neighbours with 4 bytes each, pages in a hash table: states that
 * differ in the last variable only (usually a time) lie together, in memory and in the cache. The
 * wider that variable, the larger the pages (GX_PAGE_BITS).
 */
#ifndef GX_PAGES_H
#define GX_PAGES_H

#include <stdint.h>

/* What is called seldom is kept out of the search's inner loop. */
#if defined(__GNUC__)
#define GX_SELDOM __attribute__((noinline))
#else
#define GX_SELDOM
#endif

typedef struct {
    uint64_t key;  /* Page plus 1; 0 is an empty place. */
    uint32_t slot; /* Where the numbers of the page begin, in pages. */
} gx_page;

typedef struct {
    gx_page *table;
    uint32_t *numbers; /* Number plus 1 of each code; 0 if not found yet. */
    uint64_t places;   /* Of the hash table, a power of two. */
    uint64_t pages;
    uint64_t capacity; /* Of numbers, in pages. */
} gx_page_set;

/* Return 0 if memory is short. */
int32_t gx_pages_init(gx_page_set *set);
void gx_pages_free(gx_page_set *set);
uint64_t gx_pages_bytes(const gx_page_set *set);

/* The place of the number of a code, valid until the next call; NULL if memory is short. */
uint32_t *gx_pages_place(gx_page_set *set, uint64_t code);

#endif
