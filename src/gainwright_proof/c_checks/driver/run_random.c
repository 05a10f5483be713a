/* Runs the checks with random values: run_random PART ROUNDS SEED; PART is a name below or all. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "any_random.h"
#include "check_specified.h"
#include "check_step.h"
#include "gw_any.h"
#include "gw_sequencer.h"
#ifdef GW_CHECK_MACHINE
#include "any_machine.h"
#include "check_axis.h"
#endif

/* One life from reset on. */
static void life_of_sequencer(long ticks)
{
    gw_sequencer sequencer;
    int32_t inputs[GW_INPUT_SLOTS];
    long tick;
    int32_t i;

    gw_sequencer_reset(&sequencer);
    for (tick = 0; tick < ticks; tick++) {
        for (i = 0; i < GW_INPUT_SLOTS; i++) {
            inputs[i] = gw_any_int32(0, 1);
        }
        gw_check(gw_sequencer_step(&sequencer, inputs) >= 0);
    }
}

#ifdef GW_CHECK_MACHINE
static void life_of_axis(long ticks)
{
    gw_axis axis;
    int32_t inputs[GW_INPUT_SLOTS];
    long tick;
    int32_t i;

    gw_axis_init(&axis, &GW_ANY_MACHINE);
    for (tick = 0; tick < ticks; tick++) {
        (void)gw_axis_control_tick(&axis, gw_any_int32(INT32_MIN, INT32_MAX),
                                   gw_any_int32(INT32_MIN, INT32_MAX));
        if (tick % GW_ANY_MACHINE.control_ticks == 0) {
            for (i = 0; i < GW_INPUT_SLOTS; i++) {
                inputs[i] = gw_any_int32(0, 1);
            }
            gw_check(gw_axis_sequencer_tick(&axis, inputs) >= 0);
        }
        gw_check_detector(&axis.detector);
    }
}
#endif

static const struct {
    const char *name;
    void (*once)(void);
} parts[] = {
    {"gw_check_step_any_memory", gw_check_step_any_memory},
    {"gw_check_step", gw_check_step},
    {"gw_check_specified_step", gw_check_specified_step},
    {"gw_check_specified_refusal", gw_check_specified_refusal},
    {"gw_check_specified_reset", gw_check_specified_reset},
#ifdef GW_CHECK_MACHINE
    {"gw_check_products", gw_check_products},
    {"gw_check_highpass", gw_check_highpass},
    {"gw_check_filter", gw_check_filter},
    {"gw_check_block", gw_check_block},
    {"gw_check_evidence_change", gw_check_evidence_change},
    {"gw_check_evidence_findings", gw_check_evidence_findings},
    {"gw_check_control_tick", gw_check_control_tick},
    {"gw_check_pulse_sample", gw_check_pulse_sample},
    {"gw_check_sequencer_tick", gw_check_sequencer_tick},
    {"gw_check_gain", gw_check_gain},
#endif
};

static void run_parts(const char *wanted, long rounds)
{
    size_t part;
    long k;

    for (part = 0; part < sizeof parts / sizeof parts[0]; part++) {
        if ((strcmp(wanted, "all") == 0) || (strcmp(wanted, parts[part].name) == 0)) {
            for (k = 0; k < rounds; k++) {
                parts[part].once();
            }
        }
    }
}

int main(int count, char **words)
{
    const long rounds = (count == 4) ? strtol(words[2], NULL, 10) : 0;

    if (rounds <= 0) {
        fputs("usage: run_random PART ROUNDS SEED\n", stderr);
        return 2;
    }
    gw_any_seed((uint64_t)strtoull(words[3], NULL, 10));
    run_parts(words[1], rounds);
    life_of_sequencer(rounds);
#ifdef GW_CHECK_MACHINE
    life_of_axis(rounds);
#endif
    return 0;
}
