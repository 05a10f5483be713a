/*
 * Gainwright, exhaustive exploration: breadth-first search over the exported step function.
 */
#ifndef GX_SEARCH_H
#define GX_SEARCH_H

#include <stdint.h>

#include "gw_table.h"
#include "gx_model.h"
#include "gx_store.h"

/* Results of a slice of the search, besides those of the store. */
#define GX_MORE 0
#define GX_COMPLETE 1
#define GX_TELLS_APART 4 /* The C tells values of a timer apart, so nothing may be folded. */

/* A tick: from a node with an input vector (of gx_first_vector). */
typedef struct {
    uint32_t node;
    uint32_t vector;
} gx_tick;

/* What the search notes the first occurrence of; in brackets what the subject is. */
enum {
    GX_MOMENT,      /* Something found by gx_judge_moment at a node [requirement]. */
    GX_TICK,        /* Something found over a tick [requirement]. */
    GX_NO_ROW_HELD, /* [state] */
    GX_ROWS_HELD,   /* [state] */
    GX_ROW_TAKEN,   /* [row] */
    GX_SATURATED,   /* [variable] */
    GX_UNEXPECTED,  /* A vector does not behave as one of those that are enough [state]. */
    GX_CONDITIONS,  /* The exported conditions are not those of the specification [state]. */
    GX_SINGLE_MISS, /* All literals of a row hold but one [row * GW_CONDITION_SLOTS + condition]. */
    GX_NOTE_KINDS
};

typedef struct {
    uint64_t nodes; /* Those that waits stand for included, as in edges and depth. */
    uint64_t held;  /* Nodes that are stored. */
    uint64_t expanded;
    uint64_t walked; /* Values of timers that were walked through and are no nodes. */
    uint64_t ticks; /* Calls of the step function to expand nodes. */
    uint64_t edges; /* Pairs of a node and a successor. */
    uint64_t depth; /* Ticks from reset to the farthest node expanded. */
    uint64_t bytes; /* Memory of the search. */
} gx_figures;

/* A set of rows: bit n % 64 of word n / 64 % GX_ROW_WORDS, so that a set of few rows is exact. */
#define GX_ROW_WORDS 4U
typedef struct {
    uint64_t words[GX_ROW_WORDS];
} gx_rows;

typedef struct {
    gx_store store;
    const gx_vector *vectors;
    int32_t folds; /* Time that passes is folded. */
    uint64_t ticks;
    uint64_t walked;
    gw_variable_set saturated;
    gx_tick *notes[GX_NOTE_KINDS];
    uint64_t row_ticks[GW_ROW_COUNT];
    gx_rows *path_rows; /* Rows taken on the way to each node; NULL if nobody asked for them. */
    uint64_t path_capacity;
    uint32_t seen[GX_LIST_COUNT]; /* Node at which all vectors were tried for a list; or nowhere. */
} gx_search;

/* A search that holds the reset only; NULL if memory is short. With folds, time that passes is folded
 * (gx_pass.h). The vectors of all states must stay where they are. */
gx_search *gx_search_new(uint64_t most_nodes, int32_t folds, const gx_vector vectors[]);
void gx_search_free(gx_search *search);

/* Expand up to so many nodes more; returns one of the results above. */
int32_t gx_search_run(gx_search *search, uint64_t nodes);

uint64_t gx_search_row_ticks(const gx_search *search, int32_t row);
const uint64_t *gx_search_codes(const gx_search *search);

/* Keep, from the reset on, which rows lead to each node; 0 if memory is short. Waits must not be
 * folded. */
int32_t gx_search_keep_rows(gx_search *search);
const gx_rows *gx_search_rows(const gx_search *search);
gx_tick gx_search_first(const gx_search *search, int32_t kind, uint32_t subject);

/* Whether a formula of gx_holds holds after the exported reset, before the first tick. */
int32_t gx_holds_after_reset(uint32_t formula);

/* Write for each list (of a situation) the first node that was expanded in it, or GX_NOWHERE. */
void gx_search_situations(const gx_search *search, uint32_t nodes[GX_LIST_COUNT]);

/* What the functions that firmware calls do with a node and any inputs, one step for each of count
 * input vectors: row or negative code, then state, variables and outputs. */
void gx_probe(const gx_search *search, uint32_t node, uint64_t count,
              const int32_t inputs[][GW_INPUT_SLOTS], int32_t rows[], int32_t states[],
              int32_t variables[][GW_VARIABLE_SLOTS], int32_t outputs[][GW_OUTPUT_SLOTS]);

/* State and variables of a node. */
void gx_memory_of(const gx_search *search, uint32_t node, gw_sequencer *memory);

#endif
