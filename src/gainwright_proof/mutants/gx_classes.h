/* Gainwright, mutants: nodes sorted into classes, and the ways of each. See gx_mutant.h. */
#ifndef GX_CLASSES_H
#define GX_CLASSES_H

#include <stddef.h>

#include "gx_mutant.h"

#define GX_NOTHING UINT32_MAX
#define GX_NO_RULE UINT32_MAX
#define GX_BUCKETS 4096U

/* A combination that some inputs cause: of conditions, and of all that actions read of inputs. */
typedef struct {
    gw_condition_set bits;    /* Of the original. */
    gw_condition_set changed; /* Of the variant. */
    gw_condition_bits seen;   /* The same for actions. */
    gw_condition_bits changed_seen;
    uint64_t assigned; /* What actions read of the inputs. */
    int32_t same;    /* 1: bits and changed are equal. */
    uint32_t vector; /* Number of the inputs that cause it, of all that were tried. */
    const int32_t *inputs;
    uint32_t rule;   /* Of the original; GX_NO_RULE unless exactly one holds. */
} gx_way;

typedef struct {
    uint64_t situation;
    int32_t state;
    uint32_t next;  /* Class with the same hash. */
    uint32_t first; /* Place of its first node in order[]. */
    uint32_t nodes;
    uint32_t ways;
    gx_way *way; /* NULL until somebody asks. */
    int32_t *inputs; /* Of the ways, where they stand nowhere else. */
    uint32_t *first_ways; /* One for each rule of the original and value of assigned. */
    uint32_t first_count;
    uint32_t *own_ways; /* The same for the mutant with this number. */
    uint32_t own_count;
    uint32_t own_mutant;
} gx_class;

struct gx_comparison {
    int32_t variant;
    const gx_rule *original;
    const uint64_t *codes;
    const gx_rows *rows;
    uint64_t nodes;
    gx_offer offer;
    uint32_t *order; /* Nodes of wanted states, class by class. */
    gx_class *classes;
    uint32_t class_count;
    uint32_t class_capacity;
    uint32_t mutants; /* Judged so far. */
    uint32_t buckets[GX_BUCKETS];
};

static inline int32_t gx_rule_holds(const gx_rule *rule, const gw_condition_set *bits)
{
    uint64_t missed = 0U;
    uint32_t k;

    for (k = 0U; k < (uint32_t)GW_CONDITION_SET_WORDS; k++) {
        missed |= (bits->words[k] & rule->mask.words[k]) ^ rule->value.words[k];
    }
    return missed == 0U;
}

/* Find the ways of a class, from one memory in it, unless they are known; 0 if memory is short. */
int32_t gx_know_ways(const gx_comparison *c, gx_class *k, const gw_sequencer *memory);

/* Number of the class of a memory, made now if it was not met before; GX_NOTHING if memory is
 * short. */
uint32_t gx_class_of(gx_comparison *c, const gw_sequencer *memory);

#endif
