/*
 * Gainwright: the decision tables of a trial and the functions they name. gw_trial.c, generated
 * from the specification, defines all that is declared here; gw_sequencer.c walks it. Firmware
 * calls gw_sequencer.h; this header is for those who check the tables.
 *
 * NOT A SAFETY FUNCTION: see gw_sequencer.h.
 */
#ifndef GW_TABLE_H
#define GW_TABLE_H

#include <stdint.h>

#include "gw_fixed.h"
#include "gw_trial.h"

#if GW_TRIAL_RUNTIME_VERSION != GW_RUNTIME_VERSION
#error "gw_trial.h was made for another version of the static files"
#endif

#ifdef __cplusplus
extern "C" {
#endif

/* The conditions that the rows of one state look at, a bit each. */
#if GW_CONDITION_WIDTH > 64
typedef struct {
    uint64_t words[(GW_CONDITION_WIDTH + 63) / 64];
} gw_condition_bits;
#elif GW_CONDITION_WIDTH > 32
typedef uint64_t gw_condition_bits;
#elif GW_CONDITION_WIDTH > 16
typedef uint32_t gw_condition_bits;
#else
typedef uint16_t gw_condition_bits;
#endif

/* Holds a state, an action or a row: none of them is more than there are rows, or states. */
#if (GW_ROW_COUNT > 255) || (GW_STATE_COUNT > 255)
typedef uint16_t gw_row_number;
#else
typedef uint8_t gw_row_number;
#endif

/* What a row asks of the conditions: all of `when` and none of `unless` must be true. Up to 16 bits
 * it is one word: bits that must be set below, bits that must not be set above. */
#if GW_CONDITION_WIDTH > 16
typedef struct {
    gw_condition_bits when;
    gw_condition_bits unless;
} gw_row_match;
#else
typedef uint32_t gw_row_match;

#define GW_ALWAYS UINT32_C(0)
/* Bits are of 32 bits each. */
#define GW_WHEN(bits) (bits)
#define GW_UNLESS(bits) ((bits) << 16U)

/* What of such a word is not so: set bits above, others below. */
static inline uint32_t gw_missed_by(gw_condition_bits seen)
{
    return ((uint32_t)seen << 16U) | (~(uint32_t)seen & UINT32_C(0xFFFF));
}
#endif

/* One rule of a single-hit decision table (ISO 5806). */
typedef struct {
    gw_row_match match;
    gw_row_number target; /* State after the tick. */
    gw_row_number action; /* For gw_trial_act; 0 does nothing. */
    gw_row_number number; /* Position of the row in the specification. */
} gw_row;

/* 1 if a row holds for what was seen of its state. */
static inline int32_t gw_row_holds(const gw_row *row, gw_condition_bits seen)
{
#if GW_CONDITION_WIDTH > 64
    const gw_row_match *match = &row->match;
    uint64_t missed = 0U;
    uint32_t k;

    for (k = 0U; k < (sizeof seen.words / sizeof seen.words[0]); k++) {
        missed |= (seen.words[k] ^ match->when.words[k])
                  & (match->when.words[k] | match->unless.words[k]);
    }
    return (missed == 0U) ? 1 : 0;
#elif GW_CONDITION_WIDTH > 16
    return (((seen ^ row->match.when) & (row->match.when | row->match.unless)) == 0U) ? 1 : 0;
#else
    return ((row->match & gw_missed_by(seen)) == 0U) ? 1 : 0;
#endif
}

/* Rows begin to end - 1. */
typedef struct {
    gw_row_number begin;
    gw_row_number end;
} gw_row_span;

/* Which of the two spans of a state may hold for what was seen of it. */
static inline uint32_t gw_span_of(gw_condition_bits seen)
{
#if GW_SPLIT_BITS == 0
    (void)seen;
    return 0U;
#elif GW_CONDITION_WIDTH > 64
    return ((seen.words[0] & GW_SPLIT_BITS) != 0U) ? 1U : 0U;
#else
    return ((seen & GW_SPLIT_BITS) != 0U) ? 1U : 0U;
#endif
}

typedef struct {
    int32_t low;
    int32_t high;
} gw_range;

/* Which outputs and variables belong to a stage, and how long its gain ladder is. */
typedef struct {
    uint16_t rung_output;
    uint16_t limit_variable;
    uint16_t result_variable;
    uint16_t onset_variable;
    uint16_t rung_count;
} gw_stage_binding;

/* Rows sorted by state, and within a state by what may hold: first those that want one of the
 * conditions GW_SPLIT_BITS, then those that do not care, last those that want none of them. Of state s
 * gw_trial_spans[s][0] has those that may hold where none is seen, to the end of the state's rows, and
 * [1], from their beginning, those that may where one is; the others what was seen excludes. */
extern const gw_row gw_trial_rows[GW_ROW_COUNT];
extern const gw_row_span gw_trial_spans[GW_STATE_COUNT][2];

extern const gw_range gw_trial_variable_ranges[GW_VARIABLE_SLOTS];
extern const gw_variable_value gw_trial_initial_variables[GW_VARIABLE_SLOTS];
extern const gw_stage_binding gw_trial_stages[GW_STAGE_SLOTS];

/* 1 if the state exists and all variables are inside their ranges, else 0. */
int32_t gw_trial_is_sound(int32_t state, const gw_variable_value variables[]);

/* Evaluate the conditions that the rows of a state look at. An input outside its range is taken as
 * the nearest value of the range; state and variables must be inside theirs. */
gw_condition_bits gw_trial_look(int32_t state, const int32_t inputs[], const gw_variable_value variables[]);

/* Perform an action: all new values are computed from the old ones before any is written, then
 * limited to the range of the variable. Returns one bit per variable that was limited. */
gw_variable_set gw_trial_act(uint32_t action, gw_condition_bits seen, const int32_t inputs[],
                             gw_variable_value variables[]);

#if GW_HAS_LOOP_RESPONSE
/* Write what the loop response is found to be (enum gw_response_finding) over the inputs that the
 * trial has for it. */
void gw_trial_take_response(const int32_t findings[], int32_t inputs[]);
#endif

/* Outputs of a state, each written once. The state must exist and the variables be inside their ranges. */
void gw_trial_outputs(int32_t state, const gw_variable_value variables[], int32_t outputs[]);

/* Outputs that ask for nothing: each is 0, or the value of its range that is nearest to 0. */
void gw_trial_rest_outputs(int32_t outputs[]);

/* The same, but fault_latched, if the trial has such an output, is at the top of its range: what an
 * axis shows after an error of the runtime. */
void gw_trial_fault_outputs(int32_t outputs[]);

/* For checkers on a computer; firmware is compiled without. */
#ifdef GW_WITH_NAMES

/* One bit per named condition: condition k is bit k % 64 of word k / 64. */
#define GW_CONDITION_SET_WORDS ((GW_CONDITION_SLOTS + 63) / 64)
typedef struct {
    uint64_t words[GW_CONDITION_SET_WORDS];
} gw_condition_set;

static inline int32_t gw_condition_in(const gw_condition_set *set, uint32_t condition)
{
    return (int32_t)((set->words[condition / 64U] >> (condition % 64U)) & 1U);
}

static inline void gw_condition_put(gw_condition_set *set, uint32_t condition, int32_t holds)
{
    const uint64_t bit = UINT64_C(1) << (condition % 64U);
    uint64_t *word = &set->words[condition / 64U];

    *word = (holds != 0) ? (*word | bit) : (*word & ~bit);
}

/* All conditions. */
gw_condition_set gw_trial_conditions(const int32_t inputs[], const gw_variable_value variables[]);

/* The conditions that each state looks at. */
extern const gw_condition_set gw_trial_looked_at[GW_STATE_COUNT];
/* Where each condition stands among gw_condition_bits, in states that look at it. */
extern const uint16_t gw_trial_condition_places[GW_CONDITION_SLOTS];

#define GW_CONDITION_WORDS ((GW_CONDITION_WIDTH + 63) / 64)

/* One word of conditions that are not as a row wants them. */
static inline uint64_t gw_row_missed(const gw_row *row, const gw_condition_bits *seen, uint32_t word)
{
#if GW_CONDITION_WIDTH > 64
    return (seen->words[word] ^ row->match.when.words[word])
           & (row->match.when.words[word] | row->match.unless.words[word]);
#elif GW_CONDITION_WIDTH > 16
    (void)word;
    return (uint64_t)((*seen ^ row->match.when) & (row->match.when | row->match.unless));
#else
    const uint32_t missed = row->match & gw_missed_by(*seen);

    (void)word;
    return (uint64_t)((missed >> 16U) | (missed & UINT32_C(0xFFFF)));
#endif
}

/* What gw_trial_look would give, from all conditions. */
static inline gw_condition_bits gw_trial_seen(int32_t state, const gw_condition_set *conditions)
{
    uint64_t words[GW_CONDITION_WORDS] = {0U};
    gw_condition_bits seen;
    uint32_t k;

    for (k = 0U; k < (uint32_t)GW_CONDITION_SLOTS; k++) {
        if ((gw_condition_in(&gw_trial_looked_at[state], k) != 0)
            && (gw_condition_in(conditions, k) != 0)) {
            const uint32_t place = gw_trial_condition_places[k];

            words[place / 64U] |= UINT64_C(1) << (place % 64U);
        }
    }
#if GW_CONDITION_WIDTH > 64
    for (k = 0U; k < (uint32_t)GW_CONDITION_WORDS; k++) {
        seen.words[k] = words[k];
    }
#else
    seen = (gw_condition_bits)words[0];
#endif
    return seen;
}

extern const char *const gw_trial_state_names[GW_STATE_COUNT];
extern const char *const gw_trial_input_names[GW_INPUT_SLOTS];
extern const char *const gw_trial_output_names[GW_OUTPUT_SLOTS];
extern const char *const gw_trial_variable_names[GW_VARIABLE_SLOTS];
extern const char *const gw_trial_condition_names[GW_CONDITION_SLOTS];
extern const char *const gw_trial_row_names[GW_ROW_COUNT]; /* By gw_row.number. */
#endif

#ifdef __cplusplus
}
#endif

#endif
