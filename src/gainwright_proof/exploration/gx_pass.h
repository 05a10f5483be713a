/*
 * Gainwright, exhaustive exploration: time that passes.
 *
 * A stretch of a timer lies between two constants that the trial compares it with or sets it to. By
 * the specification nothing tells its values apart. A tick passes time if it leaves all as it is but
 * timers inside of stretches, which count on. It turns if the same timers count on and more changes:
 * it leads to another memory that time passes in (its relative). Where
 * - every tick of a memory and of its relatives passes time, turns, changes nothing, or leads where it
 *   leads from every value of the timers,
 * - time passes in each of them,
 * the values of the timers need not all be nodes. One edge, over which time passes, leads from the
 * first value to the one from which the last of the stretch is as many ticks away as there are
 * relatives. Values between lead to the next one, and with other inputs to where their neighbours
 * lead, or to what the relatives' own edges stand for. A tick that leads to a value that such an edge
 * stands for leads, with the time that passes from there, to its end.
 *
 * Counts are exact, since all that is left out is reached. So are times: where no formula is met, all
 * memories of a stretch that can be come to by turning wait for its last value, then for the longest
 * from there, and so many turns are always left before it.
 *
 * The C is not believed: it has to take the same row and go the same way for every vector at both ends
 * of the stretch, and every value between is walked through in the C, with the vector that lets time
 * pass and with one more, another one for each value and node.
 */
#ifndef GX_PASS_H
#define GX_PASS_H

#include <stdint.h>

#include "gx_model.h"

/* Timers that count on, a bit each; 0 if a tick is none that passes time. */
uint32_t gx_pass_direction(const gw_sequencer *before, const gw_sequencer *after);

/* Ticks until the first of these timers has the last value of its stretch. */
uint64_t gx_pass_ticks(const gw_sequencer *before, uint32_t direction);

/* What a memory becomes if these timers count on, or back. */
void gx_pass_on(gw_sequencer *memory, uint32_t direction, uint64_t ticks);
void gx_pass_back(gw_sequencer *memory, uint32_t direction, uint64_t ticks);

/* A memory has fewer relatives than this, or none of its values is left out. */
#define GX_MOST_RELATIVES 8U
/* What gx_pass_relatives may return instead of a number. */
#define GX_PASS_REFUSED UINT32_MAX
#define GX_PASS_BROKEN (UINT32_MAX - 1U) /* The C tells values apart that nothing should tell. */

/* The number of relatives, if values may be left out. Offset chooses which vectors are tried between.
 * Values looked at are added to walked. */
uint32_t gx_pass_relatives(const gx_vector vectors[], const gw_sequencer *before,
                           uint32_t direction, uint64_t ticks, uint32_t vector, uint32_t offset,
                           uint64_t *walked);

/* Generated: the last value of the stretch that a value lies in; the value itself at its last one and
 * where it is in none. */
extern const uint8_t gx_timer_variable[GX_TIMER_SLOTS];
int32_t gx_stretch_last(uint32_t timer, int32_t value);

#endif
