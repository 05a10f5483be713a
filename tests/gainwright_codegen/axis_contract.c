/* Drives gw_axis through a recorded rehearsal, disturbed: axis_contract WHAT RECORD.
 * The record is words of 32 bits: sequencer ticks, then for each of them the inputs and
 * N pairs of torque command and speed error. */
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "gw_axis.h"

enum { N = 8 };
extern const gw_machine MACHINE;
typedef struct {
    int32_t inputs[GW_INPUT_SLOTS];
    int32_t control[N][2];
} line;

static line *lines;
static int32_t line_count;

static void fail(const char *what, long a, long b)
{
    printf("FAIL %s %ld %ld\n", what, a, b);
    exit(1);
}

static void read_record(const char *path)
{
    FILE *file = fopen(path, "rb");

    if ((file == NULL) || (fread(&line_count, 4, 1, file) != 1)) {
        fail("no record", 0, 0);
    }
    lines = malloc(sizeof(line) * (size_t)line_count);
    if (fread(lines, sizeof(line), (size_t)line_count, file) != (size_t)line_count) {
        fail("record too short", 0, 0);
    }
    fclose(file);
}

static int32_t size_of(int32_t torque)
{
    return (torque < 0) ? -torque : torque;
}

static int32_t last_inputs[GW_INPUT_SLOTS]; /* as the table saw them */

static int32_t sequencer_tick(gw_axis *axis, const line *at)
{
    memcpy(last_inputs, at->inputs, sizeof last_inputs);
    return gw_axis_sequencer_tick(axis, last_inputs);
}

/* One sequencer tick and its control ticks; returns the code, raises *most to the torque. */
static int32_t tick(gw_axis *axis, const line *at, int32_t *most)
{
    const int32_t code = sequencer_tick(axis, at);
    int32_t k;

    for (k = 0; k < N; k++) {
        const int32_t torque
            = size_of(gw_axis_control_tick(axis, at->control[k][0], at->control[k][1]));

        *most = (torque > *most) ? torque : *most;
    }
    return code;
}

static int32_t rests(const gw_axis *axis)
{
    int32_t expected[GW_OUTPUT_SLOTS];

    gw_trial_fault_outputs(expected);
    return memcmp(expected, axis->outputs, sizeof expected) == 0;
}

/* Control and sequencer ticks in a given ratio, none of the former from tick `stop` on. */
static void run_ratio(int32_t control_ticks, int32_t per_sequencer_ticks, int32_t stop)
{
    gw_axis axis;
    int32_t owed = 0;
    int32_t i;

    gw_axis_init(&axis, &MACHINE);
    for (i = 0; i < line_count; i++) {
        const int32_t code = sequencer_tick(&axis, &lines[i]);

        if (code < 0) {
            printf("latched %ld after %ld\n", (long)code, (long)i);
            if (!rests(&axis)) {
                fail("outputs do not rest", i, code);
            }
            return;
        }
        for (owed += control_ticks; owed >= per_sequencer_ticks; owed -= per_sequencer_ticks) {
            if (i < stop) {
                (void)gw_axis_control_tick(&axis, lines[i].control[0][0], lines[i].control[0][1]);
            }
        }
    }
    printf("never latched\n");
}

/* Late sequencer ticks that are made up for: two without a control tick between, then both. */
static void run_jitter(void)
{
    gw_axis axis;
    int32_t i;
    int32_t k;

    gw_axis_init(&axis, &MACHINE);
    for (i = 0; i < line_count; i++) {
        const int32_t late = (i % 2 == 1) ? 2 * N : 0;

        if (sequencer_tick(&axis, &lines[i]) < 0) {
            fail("jitter latched", i, axis.fault);
        }
        for (k = 0; k < late; k++) {
            (void)gw_axis_control_tick(&axis, 0, 0);
        }
    }
    printf("never latched\n");
}

/* A latched error stays, whatever comes, until the reset. */
static void run_latch(int32_t from)
{
    gw_axis axis;
    int32_t most = 0;
    int32_t i;

    gw_axis_init(&axis, &MACHINE);
    for (i = 0; i < from; i++) {
        (void)tick(&axis, &lines[i], &most);
    }
    axis.sequencer.state = GW_STATE_COUNT;
    most = 0;
    for (; i < line_count; i++) {
        if ((tick(&axis, &lines[i], &most) >= 0) || !rests(&axis) || (most != 0)) {
            fail("the latch opened", i, most);
        }
        if (gw_axis_gain(&axis, 0) != gw_stage_gain(&MACHINE.stage[0], 0)) {
            fail("not the start gain", i, 0);
        }
    }
    gw_axis_init(&axis, &MACHINE);
    for (i = 0; i < from; i++) {
        if (tick(&axis, &lines[i], &most) < 0) {
            fail("not sound after the reset", i, axis.fault);
        }
    }
    memset(&axis, 0, sizeof axis);
    if ((tick(&axis, &lines[0], &most) != GW_BAD_MEMORY) || !rests(&axis)) {
        fail("never reset, not noticed", 0, 0);
    }
    printf("latched\n");
}

enum { AFTER = 12, HEARD = 80 };

static int32_t hears(const gw_axis *axis)
{
    (void)axis;
    return last_inputs[GW_INPUT_BURST_LEVEL] >= 256;
}

#define BYTES_OF(member) offsetof(gw_axis, member), sizeof(((gw_axis *)0)->member)

/* What is left from one sequencer tick to the next: any change of it must be noticed. */
static const size_t guarded[][2] = {
    {BYTES_OF(sequencer.state)}, {BYTES_OF(sequencer.variables)}, {BYTES_OF(order.word)},
    {BYTES_OF(order.height)},    {BYTES_OF(rate_first)},          {BYTES_OF(rate_ticks)},
    {BYTES_OF(fault)},
    {BYTES_OF(checksum)},        {BYTES_OF(machine)},             {BYTES_OF(machine_again)},
};

static int32_t is_guarded(size_t bit)
{
    size_t k;

    for (k = 0; k < sizeof guarded / sizeof guarded[0]; k++) {
        if ((bit / 8 >= guarded[k][0]) && (bit / 8 < guarded[k][0] + guarded[k][1])) {
            return 1;
        }
    }
    return 0;
}

/* From a flipped axis on: torque stays within the pulse, a strong signal is seen or an error. */
static void check_flip(gw_axis *axis, int32_t at, size_t bit, int32_t most_torque)
{
    int32_t most = 0;
    int32_t i;
    int32_t k;

    for (i = 0; i < AFTER; i++) {
        if ((tick(axis, &lines[at + i], &most) >= 0) && is_guarded(bit)) {
            fail("not noticed: tick, bit", at, (long)bit);
        }
    }
    if (most > most_torque) {
        fail("torque beyond the pulse: tick, bit", at, (long)bit);
    }
    for (i = 0; (i < HEARD) && !hears(axis) && (axis->fault == 0); i++) {
        (void)sequencer_tick(axis, &lines[at]);
        for (k = 0; k < N; k++) {
            const int32_t loud = ((k % 4) < 2) ? GW_SIGNAL_LIMIT : -GW_SIGNAL_LIMIT;

            (void)gw_axis_control_tick(axis, loud, loud);
        }
    }
    if (!hears(axis) && (axis->fault == 0)) {
        fail("blind: tick, bit", at, (long)bit);
    }
}

/* A changed output is right again with the next tick. */
static void check_outputs_heal(const gw_axis *sound, int32_t at)
{
    gw_axis right = *sound;
    int32_t most = 0;
    size_t bit;

    (void)tick(&right, &lines[at], &most);
    for (bit = 0; bit < 8 * sizeof sound->outputs; bit++) {
        gw_axis axis = *sound;

        axis.outputs[bit / 32] ^= (int32_t)(UINT32_C(1) << (bit % 32));
        (void)tick(&axis, &lines[at], &most);
        if (memcmp(&axis, &right, sizeof axis) != 0) {
            fail("output not healed: tick, bit", at, (long)bit);
        }
    }
}

static void run_flips(const gw_axis *sound, int32_t at, int64_t *faults)
{
    gw_axis axis = *sound;
    int32_t most = size_of(sound->pulse.height);
    size_t bit;
    int32_t i;

    for (i = 0; i < AFTER; i++) {
        int32_t now = 0;

        (void)tick(&axis, &lines[at + i], &now);
        most = (now > most) ? now : most;
        most = (size_of(axis.pulse.height) > most) ? size_of(axis.pulse.height) : most;
    }
    for (bit = 0; bit < 8 * sizeof axis; bit++) {
        unsigned char *bytes = (unsigned char *)&axis;

        axis = *sound;
        bytes[bit / 8] ^= (unsigned char)(1U << (bit % 8));
        check_flip(&axis, at, bit, most);
        *faults += (axis.fault != 0);
    }
}

/* Every bit before every `step`-th tick, and around the beginning of the first pulses. */
static void run_all_flips(int32_t step)
{
    gw_axis axis;
    int32_t most = 0;
    int32_t ticks = 0;
    int32_t pulses = 0;
    int32_t i;
    int64_t faults = 0;
    int64_t guarded = 0;
    size_t bit;

    gw_axis_init(&axis, &MACHINE);
    for (i = 0; i + AFTER < line_count; i++) {
        const int32_t begins = (pulses < 3) && (axis.order.height != 0);

        if ((i % step == step / 2) || begins) {
            run_flips(&axis, i, &faults);
            check_outputs_heal(&axis, i);
            ticks += 1;
            pulses += begins;
        }
        if (tick(&axis, &lines[i], &most) < 0) {
            fail("sound axis latched", i, axis.fault);
        }
    }
    for (bit = 0; bit < 8 * sizeof axis; bit++) {
        guarded += is_guarded(bit) ? 1 : 0;
    }
    printf("flips %ld of %ld bits, %ld guarded, %ld faults, %ld pulses\n", (long)ticks,
           (long)(8 * sizeof axis), (long)guarded, (long)faults, (long)pulses);
}

int main(int count, char **words)
{
    if (count != 3) {
        return 2;
    }
    read_record(words[2]);
    if (strcmp(words[1], "right") == 0) {
        run_ratio(N, 1, line_count);
    } else if (strcmp(words[1], "none") == 0) {
        run_ratio(0, 1, line_count);
    } else if (strcmp(words[1], "eighth") == 0) {
        run_ratio(N, 8, line_count);
    } else if (strcmp(words[1], "tenfold") == 0) {
        run_ratio(N * 10, 1, line_count);
    } else if (strcmp(words[1], "two_thirds") == 0) {
        run_ratio(2 * N, 3, line_count);
    } else if (strcmp(words[1], "four_thirds") == 0) {
        run_ratio(4 * N, 3, line_count);
    } else if (strcmp(words[1], "fifth_more") == 0) {
        run_ratio(6 * N, 5, line_count);
    } else if (strcmp(words[1], "fifth_less") == 0) {
        run_ratio(4 * N, 5, line_count);
    } else if (strcmp(words[1], "ends") == 0) {
        run_ratio(N, 1, line_count / 2);
    } else if (strcmp(words[1], "jitter") == 0) {
        run_jitter();
    } else if (strcmp(words[1], "latch") == 0) {
        run_latch(line_count / 2);
    } else if (strcmp(words[1], "flips") == 0) {
        run_all_flips(line_count / 8);
    } else {
        return 2;
    }
    return 0;
}
