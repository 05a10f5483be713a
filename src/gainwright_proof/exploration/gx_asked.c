/* Gainwright, exhaustive exploration: see gx_asked.h. */
#include "gx_asked.h"

#include "gx_model.h"

static void keep(const uint16_t found[], uint32_t count, uint8_t noted[])
{
    uint32_t k;

    for (k = 0U; k < count; k++) {
        noted[found[k]] = 1U;
    }
}

static void take(const int32_t from[], gw_variable_value to[])
{
    uint32_t k;

    for (k = 0U; k < (uint32_t)GW_VARIABLE_SLOTS; k++) {
        to[k] = (gw_variable_value)from[k];
    }
}

void gx_ask_ticks(uint32_t count, const int32_t rows[], const int32_t inputs[],
                  const int32_t before[], const int32_t after[], uint8_t noted[])
{
    gw_variable_value old[GW_VARIABLE_SLOTS];
    gw_variable_value new[GW_VARIABLE_SLOTS];
    uint16_t found[GX_REQUIREMENT_SLOTS];
    size_t lane;

    for (lane = 0U; lane < count; lane++) {
        uint8_t *its = &noted[lane * GX_REQUIREMENT_SLOTS];

        take(&before[lane * GW_VARIABLE_SLOTS], old);
        take(&after[lane * GW_VARIABLE_SLOTS], new);
        keep(found, gx_judge_move(rows[lane], old, new, found), its);
        keep(found, gx_judge_tick(rows[lane], &inputs[lane * GW_INPUT_SLOTS], old, new, found), its);
    }
}

void gx_ask_moments(uint32_t count, const int32_t states[], const int32_t variables[],
                    const int32_t outputs[], uint8_t noted[], uint8_t holds[])
{
    gw_variable_value now[GW_VARIABLE_SLOTS];
    uint16_t found[GX_REQUIREMENT_SLOTS];
    uint32_t formula;
    size_t lane;

    for (lane = 0U; lane < count; lane++) {
        const int32_t *shown = &outputs[lane * GW_OUTPUT_SLOTS];

        take(&variables[lane * GW_VARIABLE_SLOTS], now);
        keep(found, gx_judge_moment(states[lane], now, shown, found),
             &noted[lane * GX_REQUIREMENT_SLOTS]);
        for (formula = 0U; formula < GX_FORMULA_COUNT; formula++) {
            const int32_t known = gx_holds_in[formula][states[lane]];
            const int32_t holding = gx_holds(formula, states[lane], now, shown);

            /* Where the table says -1, the search computes it. */
            holds[(lane * GX_FORMULA_COUNT) + formula] = (uint8_t)((known < 0) ? holding : known);
        }
    }
}
