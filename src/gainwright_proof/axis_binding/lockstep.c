/*
 * Gainwright, lockstep of gw_axis: every tick of the functions that firmware calls beside a model.
 *
 * A host program that checks the exported C; it is no part of the firmware. The model is a shadow
 * sequencer, whose step the exploration proves, and what is written here: which signal makes which
 * level, when a pulse begins and what it is, which gain applies. Only what firmware may touch is
 * touched: reset, both ticks, the gain, inputs and outputs.
 */
#include <stdint.h>
#include <string.h>

#include "gw_axis.h"
#include "lockstep_tables.h"

enum {
    GL_SAME,
    GL_ROW,
    GL_MEMORY,
    GL_OUTPUT,
    GL_DRIVE_INPUT,
    GL_RING_LEVEL,
    GL_BURST_LEVEL,
    GL_PULSE,
    GL_GAIN
};

#define LOUD INT32_C(4194304) /* 0.25 in Q4.24 */

static gw_axis axis;
static gw_sequencer shadow;
static int32_t outputs[GW_OUTPUT_SLOTS];
static int32_t pulse_next;
static int32_t pulse_height;
static uint32_t phase;
static uint8_t rows_taken[GW_ROW_COUNT];

static int32_t stage_now(void)
{
    return (GL_STAGE_OUTPUT < 0) ? 0 : outputs[GL_STAGE_OUTPUT];
}

static int32_t pulse_wanted(void)
{
    return (GL_PULSE_OUTPUT < 0) ? 0 : outputs[GL_PULSE_OUTPUT];
}

void gl_reset(void)
{
    memset(&axis, 0x5A, sizeof axis);
    gw_axis_reset(&axis);
    gw_sequencer_reset(&shadow);
    gw_sequencer_outputs(&shadow, outputs);
    pulse_next = INT32_MAX;
    pulse_height = 0;
    phase = 0U;
}

/* Round half up of height * shape / 2^15. */
static int32_t pulse_sample(void)
{
    const int32_t stage = stage_now();
    int64_t product;

    if (pulse_next >= gl_pulse_ticks[stage]) {
        return 0;
    }
    product = ((int64_t)pulse_height * gl_pulse_shape[stage][pulse_next]) + 16384;
    pulse_next++;
    return (int32_t)((product >= 0) ? product / 32768 : -((32767 - product) / 32768));
}

/* One control tick with given signals; 1 if the axis returns the pulse of the model. */
int32_t gl_control_tick(int32_t torque_command, int32_t speed_error)
{
    return gw_axis_control_tick(&axis, torque_command, speed_error) == pulse_sample();
}

static int32_t control_ticks(int32_t speed_loud, int32_t torque_loud)
{
    int32_t same = 1;
    int32_t tick;

    for (tick = 0; tick < GL_CONTROL_TICKS; tick++) {
        const int32_t signal = ((phase / GL_HALF_PERIOD) % 2U == 0U) ? LOUD : -LOUD;

        phase++;
        same &= gl_control_tick((torque_loud != 0) ? signal : 0, (speed_loud != 0) ? signal : 0);
    }
    return same;
}

static int32_t gains_are_right(void)
{
    int32_t stage;

    for (stage = 0; stage < GL_STAGES; stage++) {
        if (gw_axis_gain(&axis, stage) != gl_ladder[stage][outputs[gl_rung_output[stage]]]) {
            return 0;
        }
    }
    return 1;
}

/* What the model does in a sequencer tick. */
static int32_t step_model(const int32_t inputs[])
{
    const int32_t wanted_before = pulse_wanted();
    const int32_t stage_before = stage_now();
    const int32_t row = gw_sequencer_step(&shadow, inputs);

    gw_sequencer_outputs(&shadow, outputs);
    if (stage_now() != stage_before) {
        pulse_next = INT32_MAX;
    }
    if ((GL_STAGES > 0) && (wanted_before == 0) && (pulse_wanted() != 0)) {
        pulse_next = 0;
        pulse_height = gl_height[stage_now()][outputs[gl_rung_output[stage_now()]]];
    }
    return row;
}

/* One sequencer tick; the axis is to replace its own levels in drive_inputs. */
int32_t gl_sequencer_tick(const int32_t drive_inputs[])
{
    const int32_t row = gw_axis_sequencer_tick(&axis, drive_inputs);
    int32_t i;

    for (i = 0; i < GW_INPUT_COUNT; i++) {
        if ((i != GL_RING_INPUT) && (i != GL_BURST_INPUT) && (axis.inputs[i] != drive_inputs[i])) {
            return GL_DRIVE_INPUT;
        }
    }
    if (step_model(axis.inputs) != row) {
        return GL_ROW;
    }
    if ((axis.sequencer.state != shadow.state)
        || (memcmp(axis.sequencer.variables, shadow.variables, sizeof shadow.variables) != 0)) {
        return GL_MEMORY;
    }
    if (memcmp(axis.outputs, outputs, sizeof outputs) != 0) {
        return GL_OUTPUT;
    }
    if (row >= 0) {
        rows_taken[row] = 1U;
    }
    return gains_are_right() ? GL_SAME : GL_GAIN;
}

static int32_t level_is_wrong(int32_t input, int32_t loud)
{
    if (input < 0) {
        return 0;
    }
    return (loud != 0) ? (axis.inputs[input] < GW_LEVEL_ONE) : (axis.inputs[input] >= GW_LEVEL_ONE);
}

/* So many ticks with the same inputs; a loud signal is a square wave that the drive could oscillate
 * with. A level in drive_inputs is the wrong one on purpose. ticks[0] counts those that were done. */
int32_t gl_hold(uint32_t count, const int32_t drive_inputs[], int32_t speed_loud,
                int32_t torque_loud, uint32_t ticks[])
{
    for (; count > 0U; count--) {
        int32_t code;

        if (!control_ticks(speed_loud, torque_loud)) {
            return GL_PULSE;
        }
        code = gl_sequencer_tick(drive_inputs);
        ticks[0]++;
        if (level_is_wrong(GL_RING_INPUT, speed_loud)) {
            return GL_RING_LEVEL;
        }
        if (level_is_wrong(GL_BURST_INPUT, torque_loud)) {
            return GL_BURST_LEVEL;
        }
        if (code != GL_SAME) {
            return code;
        }
    }
    return GL_SAME;
}

int32_t gl_input(int32_t number)
{
    return axis.inputs[number];
}

uint32_t gl_rows_taken(void)
{
    uint32_t count = 0U;
    int32_t row;

    for (row = 0; row < GW_ROW_COUNT; row++) {
        count += rows_taken[row];
    }
    return count;
}
