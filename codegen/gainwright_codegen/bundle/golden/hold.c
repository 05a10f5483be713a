/*
 * Gainwright: holds inputs until something happens. Used on the host to search golden vectors; not
 * part of an export.
 */
#include "gw_sequencer.h"

typedef struct {
    int32_t ticks;     /* ticks done */
    int32_t first_row; /* row taken in the first of them */
    int32_t last_row;  /* row taken in the last of them */
} held;

held hold(gw_sequencer *sequencer, const int32_t inputs[], int32_t ticks);

/* Tick until another row is taken or the state changes, at most the given number of times (1 or
 * more). */
held hold(gw_sequencer *sequencer, const int32_t inputs[], int32_t ticks)
{
    const int32_t state = sequencer->state;
    held result;

    result.first_row = gw_sequencer_step(sequencer, inputs);
    result.last_row = result.first_row;
    result.ticks = 1;
    while ((result.ticks < ticks) && (result.last_row == result.first_row) &&
           (result.last_row >= 0) && (sequencer->state == state)) {
        result.last_row = gw_sequencer_step(sequencer, inputs);
        result.ticks++;
    }
    return result;
}
