/*
 * Gainwright, lockstep of gw_axis: every tick of the functions that firmware calls beside a model.
 *
 * A host program that checks the exported C; it is no part of the firmware. The model is a shadow
 * sequencer, whose step the exploration proves, and what is written here: when a pulse begins and
 * what it is, which gain applies. What the detector finds is put in between the two halves of a
 * sequencer tick, or left as it is and compared by the caller.
 */
#include <stdint.h>
#include <string.h>

#include "gw_axis.h"
#include "lockstep.h"
#include "lockstep_tables.h"

enum {
    GL_SAME,
    GL_ROW,
    GL_MEMORY,
    GL_OUTPUT,
    GL_DRIVE_INPUT,
    GL_PULSE,
    GL_GAIN
};

static gw_axis axis;
static int32_t inputs[GW_INPUT_SLOTS];
static gw_sequencer shadow;
static int32_t outputs[GW_OUTPUT_SLOTS];
#define GL_MOST_WAITED (2)
static int32_t pulse_next;
static int32_t pulse_waited;
static int32_t pulse_height;
static int32_t boost; /* of forced sequencer ticks, each in turn */
static int32_t signal_ticks; /* since the outputs ask for the test signal */
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
    gw_axis_init(&axis, &GL_MACHINE);
    gw_sequencer_reset(&shadow);
    gw_sequencer_outputs(&shadow, outputs);
    pulse_next = INT32_MAX;
    pulse_height = 0;
    boost = 0;
    signal_ticks = 0;
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

/* The test signal of a loop response, exactly while the outputs ask for it, but for two control ticks;
 * where in its period it stands, and how much of its height is given, the axis itself knows. */
#if GW_HAS_LOOP_RESPONSE && GW_HAS_HEARING
static int32_t signal_sample(void)
{
    const int32_t stage = stage_now();
    const int32_t ticks = gl_signal_ticks[stage];

    signal_ticks = (outputs[GW_OUTPUT_HEARING] == (int32_t)GW_HEARING_RESPONSE) ? signal_ticks + 1 : 0;
    if (signal_ticks <= 2) {
        return 0;
    }
    return gl_signal_step[stage] * gl_signal[stage][(axis.response.tick + ticks - 1) % ticks]
           * axis.response.eighths;
}
#else
static int32_t signal_sample(void)
{
    (void)gl_signal;
    (void)gl_signal_step;
    (void)gl_signal_ticks;
    return 0;
}
#endif

/* One control tick with given signals; 1 if the axis returns the pulse of the model. */
int32_t gl_control_tick(int32_t torque_command, int32_t speed_error)
{
    const int32_t torque = gw_axis_control_tick(&axis, torque_command, speed_error);
    const int32_t signal = signal_sample();

    /* An order begins in a control tick in which no block ends. */
    if ((pulse_next == 0) && (pulse_waited < GL_MOST_WAITED) && (torque == signal)) {
        pulse_waited++;
        return 1;
    }
    return torque == (pulse_sample() + signal);
}

/* Whether the detector has begun what the last sequencer tick asked for. */
int32_t gl_order_is_taken(void)
{
    return axis.taken == axis.order.word;
}

static int32_t control_ticks(void)
{
    int32_t same = 1;
    int32_t tick;

    for (tick = 0; tick < GL_CONTROL_TICKS; tick++) {
        same &= gl_control_tick(0, 0);
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

/* Up to three times doubled, and at most 3/2 of the lowest rung's. */
static int32_t boosted(const int32_t heights[], int32_t rung)
{
    const int64_t wanted = (int64_t)heights[rung] * (INT64_C(1) << axis.evidence.boost);
    const int64_t most = (int64_t)heights[0] + (heights[0] / 2);

    return (int32_t)((wanted < most) ? wanted : most);
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
        pulse_waited = 0;
        pulse_height = boosted(gl_height[stage_now()], outputs[gl_rung_output[stage_now()]]);
    }
    return row;
}

/* One sequencer tick; where `forced`, what the detector finds is replaced by what is in the inputs. */
int32_t gl_sequencer_tick(const int32_t drive_inputs[], int32_t forced)
{
    int32_t row;
    int32_t i;

    memcpy(inputs, drive_inputs, sizeof inputs);
    gw_axis_find(&axis, inputs);
    for (i = 0; i < GW_INPUT_COUNT; i++) {
        if ((gl_is_finding[i] == 0) && (inputs[i] != drive_inputs[i])) {
            return GL_DRIVE_INPUT;
        }
        if (forced != 0) {
            inputs[i] = drive_inputs[i];
        }
    }
    if (forced != 0) {
        /* Silence would boost every pulse to the highest, which is the same at all rungs. */
        boost = (boost + 1) % (GW_BOOST_MAX + 1);
        axis.evidence.boost = boost;
    }
    row = gw_axis_step(&axis, inputs);
    if (step_model(inputs) != row) {
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

/* So many ticks with the same inputs. ticks[0] counts those that were done. */
int32_t gl_hold(uint32_t count, const int32_t drive_inputs[], uint32_t ticks[])
{
    for (; count > 0U; count--) {
        int32_t code;

        if (!control_ticks()) {
            return GL_PULSE;
        }
        code = gl_sequencer_tick(drive_inputs, 1);
        ticks[0]++;
        if (code != GL_SAME) {
            return code;
        }
    }
    return GL_SAME;
}

int32_t gl_output(int32_t number)
{
    return axis.outputs[number];
}

int32_t gl_input(int32_t number)
{
    return inputs[number];
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
