/* Gainwright: one axis under trial. NOT A SAFETY FUNCTION: see gw_fixed.h. */
#include "gw_axis_parts.h"

#include "gw_table.h"

#if GW_TRIAL_FINDING_COUNT != GW_FINDING_COUNT
#error "gw_trial.h was made for other findings than those of gw_evidence.h"
#endif

/* Where a stage has its rung among the outputs; of one stage compilers are told. */
static uint32_t rung_output(int32_t number)
{
#if GW_STAGE_COUNT == 1
    (void)number;
    return (uint32_t)GW_RUNG_OUTPUT;
#else
    return gw_trial_stages[number].rung_output;
#endif
}

/* Highest rung of a stage; of one stage compilers are told, too. */
static int32_t top_rung(const gw_machine_stage *stage)
{
#if GW_STAGE_COUNT == 1
    (void)stage;
    return GW_RUNG_COUNT_MAX - 1;
#else
    return stage->rungs - 1;
#endif
}

static int32_t rung_of(const gw_machine_stage *stage, const int32_t outputs[GW_OUTPUT_SLOTS],
                       int32_t number)
{
    return gw_clamp_i32(outputs[rung_output(number)], 0, top_rung(stage));
}

/* The stage that is being tuned: an output of the trial where it has more than one. */
static int32_t active_stage(const int32_t outputs[GW_OUTPUT_SLOTS])
{
#if GW_HAS_ACTIVE_STAGE
    return gw_sound_stage(outputs[GW_OUTPUT_ACTIVE_STAGE]);
#else
    (void)outputs;
    return 0;
#endif
}

/* GW_ORDER_PULSE where outputs request a pulse. */
static uint32_t pulse_of(const int32_t outputs[GW_OUTPUT_SLOTS])
{
#if GW_HAS_PULSE_REQUEST
    return (outputs[GW_OUTPUT_PULSE_REQUEST] != 0) ? GW_ORDER_PULSE : 0U;
#else
    (void)outputs;
    return 0U;
#endif
}

/* What blocks belong to, enum gw_hearing. */
static int32_t hearing_of(const int32_t outputs[GW_OUTPUT_SLOTS])
{
#if GW_HAS_HEARING
    return outputs[GW_OUTPUT_HEARING];
#else
    (void)outputs;
    return (int32_t)GW_HEARING_NOTHING;
#endif
}

/* Three fields that lie in one word. */
static uint32_t rate_and_fault(const gw_axis *axis)
{
    const uint32_t ticks = (uint8_t)axis->rate_ticks;
    const uint32_t fault = (uint8_t)axis->fault;

    return (uint32_t)axis->rate_first | ((ticks | (fault << 8U)) << 16U);
}

static uint32_t checksum_of(const gw_axis *axis)
{
    uint32_t sum = (uint32_t)axis->sequencer.state;

    sum = gw_variables_checksum(sum, axis->sequencer.variables);
    sum = gw_checksum_with(sum, axis->order.word);
    sum = gw_checksum_with(sum, (uint32_t)axis->order.height);
    return ~gw_checksum_with(sum, rate_and_fault(axis)); /* not 0 where all is 0 */
}

void gw_axis_seal(gw_axis *axis)
{
    axis->checksum = checksum_of(axis);
}

/* The order that outputs ask for. */
static uint32_t ordered(const gw_machine *machine, const int32_t outputs[GW_OUTPUT_SLOTS])
{
    const int32_t stage = active_stage(outputs);
    const int32_t rung = rung_of(&machine->stage[stage], outputs, stage);

    return (uint32_t)stage | ((uint32_t)rung << 8) | (((uint32_t)hearing_of(outputs) & 255U) << 16)
           | pulse_of(outputs);
}

void gw_axis_init(gw_axis *axis, const gw_machine *machine)
{
    axis->machine = machine;
    axis->machine_again = ~(uintptr_t)machine;
    gw_axis_forget(axis);
    axis->control_ticks = 0U;
    axis->due = 0U;
    gw_sequencer_reset(&axis->sequencer);
    gw_trial_outputs(axis->sequencer.state, axis->sequencer.variables, axis->outputs);
    axis->order.word = ordered(machine, axis->outputs);
    axis->order.height = 0;
    axis->order.complement = gw_pulse_complement(0);
    axis->taken = axis->order.word;
    axis->rung = (uint8_t)gw_order_rung(axis->taken);
    axis->rate_first = 0U;
    axis->rate_ticks = -1;
    axis->fault = 0;
    gw_axis_seal(axis);
}

/* A block of sequencer ticks begins. */
static void begin_rate(gw_axis *axis, uint16_t now)
{
    axis->rate_first = now;
    axis->rate_ticks = 0;
}

/* 1 if the control ticks since the block began are within the tolerance; counts this tick. */
static int32_t rate_is_right(gw_axis *axis, int32_t control_ticks)
{
    const uint16_t now = gw_count_now(&axis->control_ticks);
    const int32_t ticks = (int32_t)axis->rate_ticks + 1;
    int32_t right = 1;

    if (ticks < 1) {
        begin_rate(axis, now);
    } else {
        const uint32_t since
            = (((uint32_t)now | (GW_COUNT_MAX + 1U)) - (uint32_t)axis->rate_first) & GW_COUNT_MAX;
        const int32_t counted = (int32_t)since;

        right = (counted <= GW_RATE_MOST(control_ticks)) ? 1 : 0;
        if (ticks >= GW_RATE_BLOCK) {
            if (counted < GW_RATE_FEWEST(control_ticks)) {
                right = 0;
            }
            begin_rate(axis, now);
        } else {
            axis->rate_ticks = (int8_t)ticks;
        }
    }
    return right;
}

/* 1 if the control tick has taken the last order, all parts of it. */
static int32_t order_is_taken(const gw_axis *axis)
{
    const uint32_t taken = gw_number_now(&axis->taken);
    const uint32_t due = gw_byte_now(&axis->due);

    return ((taken == axis->order.word) && ((due & GW_DUE_OF_ORDER) == 0U)) ? 1 : 0;
}

/* 1 if nothing of the axis shows damage. Variables stand in their ranges where the checksum is
 * right; the state is an index besides. */
static int32_t axis_is_sound(const gw_axis *axis)
{
    const int32_t pulse = gw_word_now(&axis->pulse.next);
    const uint32_t checksum = checksum_of(axis);

    return ((pulse >= 0) && ((uint32_t)axis->sequencer.state < (uint32_t)GW_STATE_COUNT)
            && (axis->checksum == checksum)) ? 1 : 0;
}

/* 0, or the code that has latched or latches before the table is asked. */
static int32_t fault_now(gw_axis *axis, int32_t knows_machine)
{
    int32_t fault = axis->fault;

    if ((knows_machine == 0) || (axis_is_sound(axis) == 0)) {
        fault = GW_BAD_MEMORY;
    } else if ((fault == 0) && (rate_is_right(axis, axis->machine->control_ticks) == 0)) {
        fault = GW_BAD_RATE;
    } else {
        /* As before. */
    }
    return fault;
}

/* Until the control tick has taken the last order, the sums may still be its own. */
#if GW_HAS_LOOP_RESPONSE
static void find_response(const gw_axis *axis, int32_t inputs[GW_INPUT_SLOTS])
{
    int32_t findings[GW_RESPONSE_FINDING_COUNT];
    const uint32_t word = axis->order.word;

    if ((order_is_taken(axis) != 0) && (gw_axis_knows_machine(axis) != 0)) {
        gw_response_findings(&axis->response,
                             &axis->machine->stage[gw_sound_stage(gw_order_stage(word))].response,
                             gw_order_rung(word), findings);
    } else {
        gw_response_no_findings(findings);
    }
    gw_trial_take_response(findings, inputs);
}

static void evaluate_response(gw_axis *axis)
{
    if (order_is_taken(axis) != 0) {
        const int32_t stage = gw_sound_stage(gw_order_stage(axis->order.word));

        gw_response_evaluate(&axis->response, &axis->machine->stage[stage].response);
    }
}
#else
static void find_response(const gw_axis *axis, int32_t inputs[GW_INPUT_SLOTS])
{
    (void)axis;
    (void)inputs;
}

static void evaluate_response(gw_axis *axis)
{
    (void)axis;
}
#endif

/* Until the control tick has taken the last order, what there is belongs to something else, and counts
 * as nothing. A block that ends meanwhile may leave half of the old and half of the new: then once
 * more, since no second block ends so soon. */
void gw_axis_find(const gw_axis *axis, int32_t inputs[GW_INPUT_SLOTS])
{
    const gw_evidence *evidence = &axis->evidence;

    if (order_is_taken(axis) != 0) {
        const uint8_t blocks = gw_byte_now(&evidence->blocks);

        gw_evidence_findings(evidence, inputs);
        if (gw_byte_now(&evidence->blocks) != blocks) {
            gw_evidence_findings(evidence, inputs);
        }
    } else {
        gw_evidence_no_findings(inputs);
    }
    find_response(axis, inputs);
}

#if GW_HAS_PULSE_REQUEST
/* The table's height, as often doubled as it takes to be seen, but never more than 3/2 of the
 * highest of the table, which is the share of the torque limit that the stage allows. */
static int32_t boosted(const gw_axis *axis, uint32_t word)
{
    const gw_machine_stage *stage = &axis->machine->stage[gw_sound_stage(gw_order_stage(word))];
    const int32_t rung = gw_clamp_i32(gw_order_rung(word), 0, top_rung(stage));
    const uint32_t height = (uint32_t)gw_stage_pulse_height(stage, rung);
    const uint32_t highest = (uint32_t)gw_stage_highest_pulse(stage) & (uint32_t)INT32_MAX;
    const uint32_t share = highest + (highest / 2U);
    const uint32_t most = (share < (uint32_t)INT32_MAX) ? share : (uint32_t)INT32_MAX;
    const uint32_t boost = gw_byte_now(&axis->evidence.boost);
    const uint32_t doublings = (boost < (uint32_t)GW_BOOST_MAX) ? boost : (uint32_t)GW_BOOST_MAX;

    return (int32_t)((height > (most >> doublings)) ? most : (height << doublings));
}

/* How many pulses were ordered, with one more, where it stands in the word. */
static uint32_t one_pulse_more(uint32_t word)
{
    const uint32_t pulses = (word >> GW_ORDER_PULSE_COUNT_AT) + 1U;

    return (pulses & UINT32_C(127)) << GW_ORDER_PULSE_COUNT_AT;
}

/* A pulse begins where one is requested and was not before. Where only that request has ended, a
 * pulse that no control tick has begun yet stays ordered. */
static void write_order(gw_axis *axis, uint32_t wanted)
{
    const uint32_t before = axis->order.word;
    const uint32_t changed = (wanted ^ before) & ~GW_ORDER_PULSES;
    uint32_t pulses = before & GW_ORDER_PULSES;
    int32_t height = 0;

    if ((wanted & ~before & GW_ORDER_PULSE) != 0U) {
        height = boosted(axis, wanted);
        pulses = one_pulse_more(before);
    } else if ((changed == GW_ORDER_PULSE) && (gw_number_now(&axis->taken) != before)) {
        height = axis->order.height;
    } else {
        /* Nothing is to begin. */
    }
    gw_write_word(&axis->order.height, height);
    gw_write_word(&axis->order.complement, gw_pulse_complement(height));
    gw_write_number(&axis->order.word, wanted | pulses);
}
#else
static void write_order(gw_axis *axis, uint32_t wanted)
{
    gw_write_number(&axis->order.word, wanted);
}
#endif

/* The order for the new outputs, if it differs from the last one. */
static void give_order(gw_axis *axis)
{
    const uint32_t wanted = ordered(axis->machine, axis->outputs);

    if (wanted != (axis->order.word & ~GW_ORDER_PULSES)) {
        write_order(axis, wanted);
    }
}

int32_t gw_axis_step(gw_axis *axis, const int32_t inputs[GW_INPUT_SLOTS])
{
    const int32_t knows_machine = gw_axis_knows_machine(axis);
    int32_t row = fault_now(axis, knows_machine);

    if (row == 0) {
        row = gw_sequencer_advance(&axis->sequencer, inputs);
    }
    if (row < 0) {
        gw_write_code(&axis->fault, row);
        gw_trial_fault_outputs(axis->outputs);
    } else {
        gw_trial_outputs(axis->sequencer.state, axis->sequencer.variables, axis->outputs);
    }
    if (knows_machine != 0) {
        evaluate_response(axis);
        give_order(axis);
    }
    gw_axis_seal(axis);
    return row;
}

int32_t gw_axis_sequencer_tick(gw_axis *axis, int32_t inputs[GW_INPUT_SLOTS])
{
    gw_axis_find(axis, inputs);
    return gw_axis_step(axis, inputs);
}

int32_t gw_axis_gain(const gw_axis *axis, int32_t stage)
{
    const int32_t number = gw_sound_stage(stage);
    int32_t gain = 0;

    if (gw_axis_knows_machine(axis) != 0) {
        const gw_machine_stage *sound = &axis->machine->stage[number];

        gain = gw_stage_gain(sound, rung_of(sound, axis->outputs, number));
    }
    return gain;
}
