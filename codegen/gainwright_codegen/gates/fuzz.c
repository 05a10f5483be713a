/* Both ticks of an axis under any order of calls, any signals and inputs, and one flipped bit. */
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include "@MACHINE@.h"
#include "gw_table.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static gw_axis axis;

static int32_t word_at(const uint8_t *data)
{
    int32_t word;

    memcpy(&word, data, sizeof word);
    return word;
}

static void check_torque(int32_t torque)
{
    int32_t most = 0;
    int32_t k;

    for (k = 0; k < GW_STAGE_SLOTS; k++) {
        const int32_t highest = gw_stage_highest_pulse(&@MACHINE@.stage[k]);

        most = (highest > most) ? highest : most;
    }
    if ((torque > 2 * most) || (torque < -2 * most) || ((axis.fault != 0) && (torque != 0))) {
        abort();
    }
}

/* On what the detector finds, or with `forced` on any findings at all. */
static void sequencer_tick(const uint8_t *data, size_t size, int32_t forced)
{
    int32_t code;
    int32_t expected[GW_OUTPUT_SLOTS] = {0};
    int32_t inputs[GW_INPUT_SLOTS];
    size_t k;

    for (k = 0; k < GW_INPUT_SLOTS; k++) {
        const uint8_t byte = (k < size) ? data[k] : 1U;

        inputs[k] = (byte == 255U) ? INT32_MAX : (byte == 254U) ? INT32_MIN : (int32_t)(byte / 2U);
    }
    code = (forced != 0) ? gw_axis_step(&axis, inputs) : gw_axis_sequencer_tick(&axis, inputs);
    if (code < 0) {
        gw_trial_fault_outputs(expected);
        if (memcmp(expected, axis.outputs, sizeof(int32_t) * GW_OUTPUT_COUNT) != 0) {
            abort();
        }
    }
    for (k = 0; k < GW_STAGE_SLOTS; k++) {
        (void)gw_axis_gain(&axis, (int32_t)k);
    }
}

/* Any state and any variables in their ranges: what firmware would need long to reach. */
static void place(const uint8_t *data)
{
    int32_t k;

    axis.sequencer.state = (int32_t)(data[0] % (uint32_t)GW_STATE_COUNT);
    for (k = 0; k < GW_VARIABLE_COUNT; k++) {
        const gw_range *range = &gw_trial_variable_ranges[k];
        const uint32_t values = (uint32_t)range->high - (uint32_t)range->low + 1U;
        const uint32_t drawn = (data[k + 1] == 255U) ? values - 1U : data[k + 1];

        axis.sequencer.variables[k]
            = (gw_variable_value)(range->low
                                  + (int32_t)(drawn % ((values == 0U) ? 1U : values)));
    }
    gw_axis_seal(&axis);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    int32_t flips = 1;
    int32_t k;

    gw_axis_init(&axis, &@MACHINE@);
    if (size > (size_t)GW_VARIABLE_SLOTS + 1U) {
        place(data);
        data += GW_VARIABLE_SLOTS + 1;
        size -= (size_t)GW_VARIABLE_SLOTS + 1U;
    }
    while (size >= 9U) {
        switch (data[0] % 8U) {
        case 0U:
            if (flips > 0) {
                ((uint8_t *)&axis)[(uint32_t)word_at(&data[1]) % sizeof axis]
                    ^= (uint8_t)(1U << (data[5] % 8U));
                flips--;
            }
            break;
        case 1U:
            check_torque(gw_axis_control_tick(&axis, word_at(&data[1]), word_at(&data[5])));
            break;
        default:
            for (k = 0; k < @MACHINE@.control_ticks; k++) {
                check_torque(gw_axis_control_tick(&axis, word_at(&data[1]) >> (k % 2),
                                                  word_at(&data[5]) / (k + 1)));
            }
            sequencer_tick(&data[9], size - 9U, data[0] % 2U);
            break;
        }
        data += 9U;
        size -= 9U;
    }
    return 0;
}

#ifdef GW_DRAWN
/* Without a fuzzer: drawn bytes for so many rounds. */
int main(int count, char **words)
{
    static uint8_t data[4096];
    uint32_t word = 1U;
    long rounds = (count == 2) ? strtol(words[1], NULL, 10) : 1L;
    size_t k;

    for (; rounds > 0L; rounds--) {
        for (k = 0; k < sizeof data; k++) {
            word = (word * 1664525U) + 1013904223U;
            data[k] = (uint8_t)(word >> 24);
        }
        (void)LLVMFuzzerTestOneInput(data, (word >> 8) % sizeof data);
    }
    return 0;
}
#endif
