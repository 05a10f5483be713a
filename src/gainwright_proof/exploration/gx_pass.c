/*
 * Gainwright, exhaustive exploration: time that passes. See gx_pass.h.
 */
#include "gx_pass.h"

#include <string.h>

/* A stretch of more values is walked through so far. */
#define LONGEST_WALK (UINT64_C(1) << 20)

uint32_t gx_pass_direction(const gw_sequencer *before, const gw_sequencer *after)
{
    gw_sequencer rest = *after;
    uint32_t direction = 0U;
    uint32_t timer;

    if (after->state != before->state) {
        return 0U;
    }
    for (timer = 0U; timer < (uint32_t)GX_TIMERS; timer++) {
        const uint32_t k = gx_timer_variable[timer];

        if ((before->variables[k] != INT32_MAX) && (after->variables[k] == before->variables[k] + 1)) {
            if (gx_stretch_last(timer, before->variables[k]) == before->variables[k]) {
                return 0U;
            }
            direction |= UINT32_C(1) << timer;
            rest.variables[k] = before->variables[k];
        }
    }
    return (memcmp(rest.variables, before->variables, sizeof rest.variables) == 0) ? direction : 0U;
}

uint64_t gx_pass_ticks(const gw_sequencer *before, uint32_t direction)
{
    uint64_t ticks = UINT64_MAX;
    uint32_t timer;

    for (timer = 0U; timer < (uint32_t)GX_TIMERS; timer++) {
        if (((direction >> timer) & 1U) != 0U) {
            const int32_t value = before->variables[gx_timer_variable[timer]];
            const uint64_t left = (uint64_t)((int64_t)gx_stretch_last(timer, value) - value);

            ticks = (left < ticks) ? left : ticks;
        }
    }
    return ticks;
}

static void move_timers(gw_sequencer *memory, uint32_t direction, int64_t ticks)
{
    uint32_t timer;

    for (timer = 0U; timer < (uint32_t)GX_TIMERS; timer++) {
        if (((direction >> timer) & 1U) != 0U) {
            const uint32_t k = gx_timer_variable[timer];

            memory->variables[k] = (gw_variable_value)(memory->variables[k] + ticks);
        }
    }
}

void gx_pass_on(gw_sequencer *memory, uint32_t direction, uint64_t ticks)
{
    move_timers(memory, direction, (int64_t)ticks);
}

void gx_pass_back(gw_sequencer *memory, uint32_t direction, uint64_t ticks)
{
    move_timers(memory, direction, -(int64_t)ticks);
}

/* The vectors that a node of a list is expanded with. */
typedef struct {
    uint32_t begin;
    uint32_t count;
    int32_t all;
} choice;

static choice choice_of(uint32_t list, int32_t state)
{
    /* The first list of a state does not stand for one situation, so all vectors are tried. */
    if (list == gx_first_list[state]) {
        return (choice){gx_first_vector[state],
                        gx_first_vector[state + 1] - gx_first_vector[state], 1};
    }
    return (choice){gx_list_begin[list], gx_list_begin[list + 1U] - gx_list_begin[list], 0};
}

static uint32_t chosen(const choice *c, uint32_t index)
{
    return (c->all != 0) ? c->begin + index : gx_lists[c->begin + index];
}

static int32_t is_same(const gw_sequencer *a, const gw_sequencer *b)
{
    return (a->state == b->state)
        && (memcmp(a->variables, b->variables, sizeof a->variables) == 0);
}

/* What a tick does in a stretch. */
enum { OTHERWISE, LEADS_ANYWHERE, CHANGES_NOTHING, PASSES, TURNS };

/* What a vector does at a value of a stretch and so many ticks later, if it does the same there. */
static int32_t kind_of(const gw_sequencer *here, uint64_t ticks, uint32_t direction,
                       const int32_t inputs[], gw_sequencer *after)
{
    gw_sequencer there = *here;
    gw_sequencer expected;
    int32_t row;

    gx_pass_on(&there, direction, ticks);
    *after = *here;
    expected = there;
    row = gw_sequencer_step(after, inputs);
    if ((gw_sequencer_step(&there, inputs) != row)
        || ((row >= 0) && (after->saturated != there.saturated))) {
        return OTHERWISE;
    }
    if ((row < 0) || is_same(after, &there)) {
        return LEADS_ANYWHERE;
    }
    if (is_same(after, here)) {
        return is_same(&there, &expected) ? CHANGES_NOTHING : OTHERWISE;
    }
    expected = *after;
    gx_pass_on(&expected, direction, ticks);
    if (!is_same(&there, &expected)) {
        return OTHERWISE;
    }
    /* Both count on in the same way; by one? */
    expected = *here;
    gx_pass_on(&expected, direction, 1U);
    return is_same(after, &expected) ? PASSES : TURNS;
}

static int32_t looks_alike(const gw_sequencer *memory, const int32_t outputs[], uint32_t list)
{
    int32_t own[GW_OUTPUT_SLOTS];

    gw_sequencer_outputs(memory, own);
    return (memcmp(own, outputs, sizeof own) == 0)
        && (gx_list_of(memory->state, memory->variables) == list);
}

/* The memory itself, and all to which ticks turn, each with the timers as they are in it. */
typedef struct {
    const gx_vector *vectors;
    gw_sequencer members[GX_MOST_RELATIVES];
    uint32_t count;
    uint32_t direction;
    uint64_t ticks; /* To the last value. */
} family;

/* Take a memory to which a tick turns into a family; 0 if the timers do not count on by one, or there
 * are too many. */
static int32_t take_in(family *f, const gw_sequencer *from, const gw_sequencer *turned)
{
    gw_sequencer member = *turned;
    uint32_t timer;
    uint32_t k;

    gx_pass_back(&member, f->direction, 1U);
    for (timer = 0U; timer < (uint32_t)GX_TIMERS; timer++) {
        const uint32_t place = gx_timer_variable[timer];

        if ((((f->direction >> timer) & 1U) != 0U)
            && (member.variables[place] != from->variables[place])) {
            return 0;
        }
    }
    for (k = 0U; k < f->count; k++) {
        if (is_same(&f->members[k], &member)) {
            return 1;
        }
    }
    if ((f->count == GX_MOST_RELATIVES) || (gx_pass_ticks(&member, f->direction) != f->ticks)) {
        return 0;
    }
    member.saturated = 0U;
    f->members[f->count] = member;
    f->count++;
    return 1;
}

/* Whether time passes in a member, and all its ticks are of the kinds that are allowed. */
static int32_t is_simple(family *f, const gw_sequencer *member)
{
    const uint32_t list = gx_list_of(member->state, member->variables);
    const choice c = choice_of(list, member->state);
    int32_t outputs[GW_OUTPUT_SLOTS];
    gw_sequencer there = *member;
    int32_t passes = 0;
    uint32_t index;

    gw_sequencer_outputs(member, outputs);
    gx_pass_on(&there, f->direction, f->ticks);
    if (!looks_alike(&there, outputs, list)) {
        return 0;
    }
    for (index = 0U; index < c.count; index++) {
        gw_sequencer after;
        const int32_t kind
            = kind_of(member, f->ticks, f->direction, f->vectors[chosen(&c, index)], &after);

        if ((kind == OTHERWISE) || ((kind == TURNS) && !take_in(f, member, &after))) {
            return 0;
        }
        passes = passes || (kind == PASSES);
    }
    return passes;
}

/* Walk through the values that are left out. */
static int32_t walk_alike(const family *f, uint64_t ticks, uint32_t vector, uint32_t offset)
{
    const gw_sequencer *before = &f->members[0];
    const uint32_t list = gx_list_of(before->state, before->variables);
    const choice c = choice_of(list, before->state);
    int32_t outputs[GW_OUTPUT_SLOTS];
    gw_sequencer there = *before;
    gw_sequencer after;
    uint64_t tick;

    gw_sequencer_outputs(before, outputs);
    for (tick = 1U; tick <= ticks; tick++) {
        const uint32_t other = chosen(&c, (uint32_t)((offset + tick) % c.count));

        gx_pass_on(&there, f->direction, 1U);
        if ((kind_of(before, tick, f->direction, f->vectors[vector], &after) != PASSES)
            || (kind_of(before, tick, f->direction, f->vectors[other], &after) == OTHERWISE)
            || !looks_alike(&there, outputs, list)) {
            return 0;
        }
    }
    return 1;
}

uint32_t gx_pass_relatives(const gx_vector vectors[], const gw_sequencer *before,
                           uint32_t direction, uint64_t ticks, uint32_t vector, uint32_t offset,
                           uint64_t *walked)
{
    const uint64_t most = (ticks < LONGEST_WALK) ? ticks : LONGEST_WALK;
    family f;
    uint32_t k;

    f.vectors = vectors;
    f.members[0] = *before;
    f.members[0].saturated = 0U;
    f.count = 1U;
    f.direction = direction;
    f.ticks = ticks;
    for (k = 0U; k < f.count; k++) {
        if (!is_simple(&f, &f.members[k])) {
            return GX_PASS_REFUSED;
        }
    }
    if (!walk_alike(&f, most - 1U, vector, offset)) {
        return GX_PASS_BROKEN;
    }
    *walked += most - 1U;
    return f.count - 1U;
}
