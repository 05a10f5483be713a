/* Gainwright: one axis under trial. NOT A SAFETY FUNCTION: see gw_fixed.h. */
#include "gw_axis.h"

#include "gw_table.h"

#define GW_CHECKSUM_START UINT32_C(2166136261)

/* A word that the other tick writes is read once, and one that the other tick reads is written
 * once, in the order of the source. */
static int32_t word_now(const volatile int32_t *word)
{
    return *word;
}

static uint32_t number_now(const volatile uint32_t *number)
{
    return *number;
}

static void write_word(volatile int32_t *word, int32_t value)
{
    *word = value;
}

static void write_number(volatile uint32_t *number, uint32_t value)
{
    *number = value;
}

static uint32_t next_count(uint32_t count)
{
    return (count + 1U) & GW_COUNT_MAX;
}

static int32_t sound_stage(int32_t stage)
{
    return ((stage < 0) || (stage >= GW_STAGE_SLOTS)) ? 0 : stage;
}

static int32_t rung_of(const int32_t outputs[GW_OUTPUT_SLOTS], int32_t stage)
{
    return gw_clamp_i32(outputs[gw_trial_stages[stage].rung_output], 0,
                        GW_RUNG_COUNT_MAX - 1);
}

/* The stage that is being tuned: an output of the trial where it has more than one. */
static int32_t active_stage(const int32_t outputs[GW_OUTPUT_SLOTS])
{
    return (gw_active_stage_output < 0)
               ? 0
               : gw_clamp_i32(outputs[gw_active_stage_output], 0, GW_STAGE_SLOTS - 1);
}

static int32_t pulse_requested(const int32_t outputs[GW_OUTPUT_SLOTS])
{
    return (gw_pulse_request_output < 0) ? 0 : outputs[gw_pulse_request_output];
}

/* What blocks belong to, enum gw_hearing. */
static int32_t hearing_of(const int32_t outputs[GW_OUTPUT_SLOTS])
{
    return (gw_hearing_output < 0) ? (int32_t)GW_HEARING_NOTHING : outputs[gw_hearing_output];
}

/* A rotated exclusive or: one changed bit anywhere always shows. */
static uint32_t with_word(uint32_t checksum, uint32_t word)
{
    return (((checksum & UINT32_C(0x07FFFFFF)) * 32U) | (checksum >> 27)) ^ word;
}

static uint32_t with_words(uint32_t checksum, const int32_t words[], uint32_t count)
{
    uint32_t sum = checksum;
    uint32_t i;

    for (i = 0U; i < count; i++) {
        sum = with_word(sum, (uint32_t)words[i]);
    }
    return sum;
}

static uint32_t checksum_of(const gw_axis *axis)
{
    uint32_t sum = with_word(GW_CHECKSUM_START, (uint32_t)axis->sequencer.state);

    sum = with_words(sum, axis->sequencer.variables, (uint32_t)GW_VARIABLE_SLOTS);
    sum = with_words(sum, axis->outputs, (uint32_t)GW_OUTPUT_SLOTS);
    sum = with_word(sum, (uint32_t)axis->order.stage);
    sum = with_word(sum, (uint32_t)axis->order.rung);
    sum = with_word(sum, (uint32_t)axis->order.hearing);
    sum = with_word(sum, (uint32_t)axis->order.height);
    sum = with_word(sum, axis->order.number);
    sum = with_word(sum, axis->rate.first);
    sum = with_word(sum, (uint32_t)axis->rate.sequencer_ticks);
    return with_word(sum, (uint32_t)axis->fault);
}

void gw_axis_seal(gw_axis *axis)
{
    axis->checksum = checksum_of(axis);
}

void gw_axis_reset(gw_axis *axis)
{
    int32_t i;

    gw_detector_reset(&axis->detector);
    gw_evidence_reset(&axis->evidence);
    gw_pulse_reset(&axis->pulse);
    axis->order_number = 0U;
    axis->control_ticks = 0U;
    gw_sequencer_reset(&axis->sequencer);
    for (i = 0; i < GW_INPUT_SLOTS; i++) {
        axis->inputs[i] = 0;
    }
    gw_sequencer_outputs(&axis->sequencer, axis->outputs);
    axis->order.stage = active_stage(axis->outputs);
    axis->order.rung = rung_of(axis->outputs, axis->order.stage);
    axis->order.hearing = hearing_of(axis->outputs);
    axis->order.height = 0;
    axis->order.complement = gw_pulse_complement(0);
    axis->order.number = 0U;
    axis->rate.first = 0U;
    axis->rate.sequencer_ticks = -1;
    axis->fault = 0;
    axis->stage = axis->order.stage;
    axis->rung = axis->order.rung;
    axis->hearing = axis->order.hearing;
    gw_axis_seal(axis);
}

/* A filter in mid-flight means nothing to other coefficients. */
static void take_stage(gw_axis *axis)
{
    if (axis->stage != axis->order.stage) {
        gw_detector_reset(&axis->detector);
        gw_evidence_reset(&axis->evidence);
        gw_pulse_reset(&axis->pulse);
        axis->stage = axis->order.stage;
    }
}

static void take_order(gw_axis *axis, uint32_t number)
{
    axis->order_number = number;
    take_stage(axis);
    if (axis->hearing != axis->order.hearing) {
        gw_detector_restart_blocks(&axis->detector);
        gw_evidence_hear(&axis->evidence, axis->order.hearing);
        axis->hearing = axis->order.hearing;
    }
    if (axis->rung != axis->order.rung) {
        gw_evidence_new_gain(&axis->evidence);
        axis->rung = axis->order.rung;
    }
    if (axis->order.height != 0) {
        gw_pulse_start(&axis->pulse, axis->order.height, axis->order.complement);
    }
}

static void take_blocks(gw_axis *axis, int32_t ended)
{
    if ((ended == GW_RING_BLOCK_ENDED) || (ended == (GW_RING_BLOCK_ENDED + GW_BURST_BLOCK_ENDED))) {
        gw_evidence_ring_block(&axis->evidence, axis->detector.ring.level);
    }
    if (ended >= GW_BURST_BLOCK_ENDED) {
        gw_evidence_burst_block(&axis->evidence, axis->detector.burst.level);
    }
}

int32_t gw_axis_control_tick(gw_axis *axis, int32_t torque_command, int32_t speed_error)
{
    const uint32_t number = number_now(&axis->order.number);
    int32_t stage;
    int32_t torque;

    axis->control_ticks = next_count(axis->control_ticks);
    if (number != axis->order_number) {
        take_order(axis, number);
    }
    stage = sound_stage(axis->stage);
    take_blocks(axis, gw_detector_sample(&axis->detector, &gw_stage_detector[stage],
                                         torque_command, speed_error));
    torque = gw_pulse_sample(&axis->pulse, &gw_stage_pulse[stage]);
    return (word_now(&axis->fault) == 0) ? torque : 0;
}

/* 1 if the control ticks since the block began are within the tolerance; counts this tick. */
static int32_t rate_is_right(gw_axis *axis)
{
    const uint32_t now = number_now(&axis->control_ticks) & GW_COUNT_MAX;
    const uint32_t first = axis->rate.first & GW_COUNT_MAX;
    const uint32_t counted = (now + GW_COUNT_MAX + 1U - first) & GW_COUNT_MAX;
    const int32_t begun = (axis->rate.sequencer_ticks >= 0) ? 1 : 0;
    int32_t right = 1;

    axis->rate.sequencer_ticks += 1;
    if (begun != 0) {
        right = (counted <= (uint32_t)GW_RATE_MOST) ? 1 : 0;
    }
    if (axis->rate.sequencer_ticks >= GW_RATE_BLOCK) {
        right = (counted >= (uint32_t)GW_RATE_FEWEST) ? right : 0;
        axis->rate.sequencer_ticks = 0;
    }
    if (axis->rate.sequencer_ticks == 0) {
        axis->rate.first = now;
    }
    return right;
}

/* 1 if the control tick has taken the last order. */
static int32_t order_is_taken(const gw_axis *axis)
{
    return (number_now(&axis->order_number) == axis->order.number) ? 1 : 0;
}

/* 1 if nothing of the axis shows damage. */
static int32_t axis_is_sound(const gw_axis *axis)
{
    int32_t sound = gw_trial_is_sound(axis->sequencer.state, axis->sequencer.variables);

    if (axis->checksum != checksum_of(axis)) {
        sound = 0;
    }
    if (word_now(&axis->pulse.next) < 0) {
        sound = 0;
    }
    if ((order_is_taken(axis) != 0) && (word_now(&axis->stage) != axis->order.stage)) {
        sound = 0;
    }
    return sound;
}

/* 0, or the code that has latched or latches before the table is asked. */
static int32_t fault_now(gw_axis *axis)
{
    int32_t fault = axis->fault;

    if (axis_is_sound(axis) == 0) {
        fault = GW_BAD_MEMORY;
    } else if ((fault == 0) && (rate_is_right(axis) == 0)) {
        fault = GW_BAD_RATE;
    } else {
        /* As before. */
    }
    return fault;
}

/* What the detector has found. A block that ends meanwhile may leave half of the old and half of
 * the new: then once more, since no second block ends so soon. Until the control tick has taken the
 * last order, what there is belongs to something else, and counts as nothing. */
static void find(const gw_axis *axis, int32_t findings[GW_FINDING_COUNT])
{
    const gw_evidence *evidence = &axis->evidence;
    const uint32_t blocks = number_now(&evidence->blocks);

    gw_evidence_findings(evidence, findings);
    if (number_now(&evidence->blocks) != blocks) {
        gw_evidence_findings(evidence, findings);
    }
    if (order_is_taken(axis) == 0) {
        gw_evidence_no_findings(findings);
    }
}

static void supply_findings(gw_axis *axis)
{
    int32_t findings[GW_FINDING_COUNT];
    int32_t i;

    find(axis, findings);
    for (i = 0; i < (int32_t)GW_FINDING_COUNT; i++) {
        if (gw_finding_input[i] >= 0) {
            axis->inputs[gw_finding_input[i]] = findings[i];
        }
    }
}

void gw_axis_read_inputs(gw_axis *axis, const int32_t drive_inputs[GW_INPUT_SLOTS])
{
    int32_t i;

    for (i = 0; i < GW_INPUT_SLOTS; i++) {
        axis->inputs[i] = drive_inputs[i];
    }
    supply_findings(axis);
}

/* The table's height, as often doubled as it takes to be seen, but never more than half as high
 * again as the highest of the table, which is the share of the torque limit that the stage allows. */
static int32_t boosted(const gw_axis *axis, int32_t stage, int32_t rung)
{
    const int32_t highest = gw_pulse_height[stage][0];
    const int32_t most = gw_add_i32(highest, highest / 2);
    const int32_t boost = word_now(&axis->evidence.boost);
    const int32_t wanted = gw_shift_left_i32(gw_pulse_height[stage][rung],
                                             (uint32_t)gw_clamp_i32(boost, 0, GW_BOOST_MAX));

    return (wanted < most) ? wanted : most;
}

/* The height of the pulse that these outputs ask for and those before did not, else 0. */
static int32_t pulse_height(const gw_axis *axis, const int32_t outputs[GW_OUTPUT_SLOTS])
{
    const int32_t stage = active_stage(outputs);
    int32_t height = 0;

    if ((pulse_requested(axis->outputs) == 0) && (pulse_requested(outputs) != 0)) {
        height = boosted(axis, stage, rung_of(outputs, stage));
    }
    return height;
}

static void give_order(gw_axis *axis, const int32_t outputs[GW_OUTPUT_SLOTS])
{
    const int32_t stage = active_stage(outputs);
    const int32_t rung = rung_of(outputs, stage);
    const int32_t hearing = hearing_of(outputs);
    const int32_t height = pulse_height(axis, outputs);

    if ((stage != axis->order.stage) || (rung != axis->order.rung)
        || (hearing != axis->order.hearing) || (height != axis->order.height)) {
        write_word(&axis->order.stage, stage);
        write_word(&axis->order.rung, rung);
        write_word(&axis->order.hearing, hearing);
        write_word(&axis->order.height, height);
        write_word(&axis->order.complement, gw_pulse_complement(height));
        write_number(&axis->order.number, next_count(axis->order.number & GW_COUNT_MAX));
    }
}

/* Every output goes from its old to its new value at once. */
static void show(gw_axis *axis, const int32_t outputs[GW_OUTPUT_SLOTS])
{
    int32_t i;

    for (i = 0; i < GW_OUTPUT_SLOTS; i++) {
        write_word(&axis->outputs[i], outputs[i]);
    }
}

int32_t gw_axis_step(gw_axis *axis)
{
    int32_t outputs[GW_OUTPUT_SLOTS];
    int32_t row = fault_now(axis);

    if (row == 0) {
        row = gw_sequencer_advance(&axis->sequencer, axis->inputs);
    }
    if (row < 0) {
        write_word(&axis->fault, row);
        gw_trial_fault_outputs(outputs);
    } else {
        gw_trial_outputs(axis->sequencer.state, axis->sequencer.variables, outputs);
    }
    give_order(axis, outputs);
    show(axis, outputs);
    gw_axis_seal(axis);
    return row;
}

int32_t gw_axis_sequencer_tick(gw_axis *axis, const int32_t drive_inputs[GW_INPUT_SLOTS])
{
    gw_axis_read_inputs(axis, drive_inputs);
    return gw_axis_step(axis);
}

int32_t gw_axis_gain(const gw_axis *axis, int32_t stage)
{
    const int32_t sound = sound_stage(stage);

    return gw_gain_ladder[sound][rung_of(axis->outputs, sound)];
}
