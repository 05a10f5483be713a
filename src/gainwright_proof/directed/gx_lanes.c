/* Gainwright, directed runs: see gx_lanes.h. */
#include "gx_lanes.h"

#include <stddef.h>

#include "gw_sequencer.h"

static void take(const gw_sequencer *from, int32_t *state, int32_t variables[])
{
    uint32_t k;

    *state = from->state;
    for (k = 0U; k < (uint32_t)GW_VARIABLE_SLOTS; k++) {
        variables[k] = (int32_t)from->variables[k];
    }
}

static void hold(gw_sequencer *sequencer, const int32_t inputs[], uint32_t most, int32_t *row,
                 uint32_t *ticks)
{
    const int32_t state = sequencer->state;
    const int32_t first = gw_sequencer_step(sequencer, inputs);

    *row = first;
    *ticks = 1U;
    while ((first >= 0) && (*row == first) && (sequencer->state == state) && (*ticks < most)) {
        *row = gw_sequencer_step(sequencer, inputs);
        (*ticks)++;
    }
}

void gx_lanes_hold(uint32_t count, const uint32_t most[], const int32_t inputs[], int32_t states[],
                   int32_t variables[], int32_t rows[], uint32_t ticks[])
{
    size_t lane;
    uint32_t k;

    for (lane = 0U; lane < count; lane++) {
        int32_t *own = &variables[lane * GW_VARIABLE_SLOTS];
        gw_sequencer sequencer;

        gw_sequencer_reset(&sequencer);
        sequencer.state = states[lane];
        for (k = 0U; k < (uint32_t)GW_VARIABLE_SLOTS; k++) {
            sequencer.variables[k] = (gw_variable_value)own[k];
        }
        hold(&sequencer, &inputs[lane * GW_INPUT_SLOTS], most[lane], &rows[lane], &ticks[lane]);
        take(&sequencer, &states[lane], own);
    }
}

void gx_lanes_reset(int32_t *state, int32_t variables[])
{
    gw_sequencer sequencer;

    gw_sequencer_reset(&sequencer);
    take(&sequencer, state, variables);
}
