/* The exported step, outputs and reset are what the specification says, whatever the inputs are.
 * int has 32 bits on every machine that this is compiled for; the checkers are told so too. */
#include "check_specified.h"

#include "check_step.h"
#include "gw_any.h"
#include "gw_table.h"
#include "plain_reference.h"

/* Variables as the specification has them, without the width of their memory. */
static void read_variables(const gw_sequencer *sequencer, int old[])
{
    int32_t i;

    for (i = 0; i < GW_VARIABLE_SLOTS; i++) {
        old[i] = sequencer->variables[i];
    }
}

static void check_outputs(const gw_sequencer *sequencer, int state, const int old[])
{
    int32_t outputs[GW_OUTPUT_SLOTS];
    int expected[GW_OUTPUT_SLOTS];
    int32_t i;

    gw_sequencer_outputs(sequencer, outputs);
    plain_outputs(state, old, expected);
    for (i = 0; i < GW_OUTPUT_COUNT; i++) {
        gw_check(outputs[i] == expected[i]);
    }
}

static void check_memory(const gw_sequencer *sequencer, int state, const int old[])
{
    int32_t i;

    gw_check(sequencer->state == state);
    for (i = 0; i < GW_VARIABLE_COUNT; i++) {
        gw_check(sequencer->variables[i] == old[i]);
    }
}

static void check_step(gw_sequencer *sequencer)
{
    unsigned long long limited = sequencer->saturated;
    int old[GW_VARIABLE_SLOTS];
    int state = sequencer->state;
    int32_t inputs[GW_INPUT_SLOTS];
    int raw[GW_INPUT_SLOTS];
    int row;
    int32_t i;

    read_variables(sequencer, old);
    for (i = 0; i < GW_INPUT_SLOTS; i++) {
        inputs[i] = gw_any_int32(INT32_MIN, INT32_MAX);
        raw[i] = inputs[i];
    }
    check_outputs(sequencer, state, old);
    row = plain_step(&state, old, raw, &limited);
    gw_check(gw_sequencer_step(sequencer, inputs) == row);
    gw_check(sequencer->saturated == limited);
    check_memory(sequencer, state, old);
#ifdef GW_CHECK_STATE
    /* Sound memory again: its outputs are looked at by the run of that state, before its step. */
    gw_check(plain_sound(state, old));
#else
    check_outputs(sequencer, state, old);
#endif
}

/* Nothing in memory changes, so the outputs after the step are those before. */
static void check_refusal(gw_sequencer *sequencer)
{
    const gw_sequencer before = *sequencer;
    int32_t inputs[GW_INPUT_SLOTS];
    int old[GW_VARIABLE_SLOTS];
    int32_t i;

    read_variables(sequencer, old);
    for (i = 0; i < GW_INPUT_SLOTS; i++) {
        inputs[i] = gw_any_int32(INT32_MIN, INT32_MAX);
    }
    check_outputs(sequencer, before.state, old);
    gw_check(gw_sequencer_step(sequencer, inputs) == GW_BAD_MEMORY);
    gw_check(sequencer->saturated == before.saturated);
    check_memory(sequencer, before.state, old);
}

void gw_check_specified_step(void)
{
    gw_sequencer sequencer;
#ifdef GW_CHECK_STATE
    int old[GW_VARIABLE_SLOTS];

    /* A state that is known makes its rows constants to a solver; each state has a run of its own.
     * What is sound memory says the specification, not the exported table of ranges. */
    any_memory(&sequencer);
    sequencer.state = GW_CHECK_STATE;
    read_variables(&sequencer, old);
    if (!plain_sound(sequencer.state, old)) {
        return;
    }
#else
    any_sound_memory(&sequencer);
#endif
    check_step(&sequencer);
}

/* Damaged memory is refused: nothing changes, and the outputs ask for nothing. With the runs of all
 * states this is any memory whatever. */
void gw_check_specified_refusal(void)
{
    gw_sequencer sequencer;
    int old[GW_VARIABLE_SLOTS];

    any_memory(&sequencer);
    read_variables(&sequencer, old);
    if (plain_sound(sequencer.state, old)) {
        return;
    }
    gw_check(gw_trial_is_sound(sequencer.state, sequencer.variables) == 0);
    if (gw_trial_is_sound(sequencer.state, sequencer.variables) != 0) {
        return; /* Shown above: said again, it spares a solver the step itself. */
    }
    check_refusal(&sequencer);
}

void gw_check_specified_reset(void)
{
    gw_sequencer sequencer;
    int old[GW_VARIABLE_SLOTS];
    int state;

    any_memory(&sequencer);
    gw_sequencer_reset(&sequencer);
    plain_reset(&state, old);
    gw_check(plain_names());
    gw_check(sequencer.saturated == 0U);
    check_memory(&sequencer, state, old);
    check_outputs(&sequencer, state, old);
}
