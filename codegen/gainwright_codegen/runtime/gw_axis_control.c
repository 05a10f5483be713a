/*
 * Gainwright: one axis under trial, its control tick. NOT A SAFETY FUNCTION: see gw_fixed.h.
 *
 * Every tick filters both signals and plays the pulse. What comes up beside that is done one thing
 * a tick, so that the worst tick is not much longer than the others: an order in its parts, and of
 * two blocks that end together the second.
 */
#include "gw_axis_parts.h"
#include "gw_detector_tick.h"

static const gw_machine_stage *stage_now(const gw_axis *axis)
{
    return &axis->machine->stage[gw_sound_stage(gw_order_stage(axis->taken))];
}

/* What bears on time is done at once; what judges the time before is due in the next ticks. No block
 * ends meanwhile where they begin anew. */
static void begin_order(gw_axis *axis, uint32_t word)
{
    uint32_t due = 0U;

    if (gw_order_stage(word) != gw_order_stage(axis->taken)) {
        gw_axis_forget(axis);
    }
    if (gw_order_hearing(word) != (int32_t)axis->evidence.hearing) {
        gw_detector_restart_blocks(&axis->detector);
        due = GW_DUE_END | GW_DUE_DECAY | GW_DUE_HEARING;
    }
    if (gw_order_rung(word) != (int32_t)axis->rung) {
        due |= GW_DUE_GAIN | GW_DUE_NOISE | GW_DUE_RUNG;
    }
    if (((word ^ axis->taken) & GW_ORDER_PULSES) != 0U) {
        gw_pulse_start(&axis->pulse, axis->order.height, axis->order.complement);
    }
#if GW_HAS_LOOP_RESPONSE
    gw_response_record(&axis->response,
                       (gw_order_hearing(word) == (int32_t)GW_HEARING_RESPONSE) ? 1 : 0,
                       gw_order_rung(word));
#endif
    axis->due = (uint8_t)due;
    axis->taken = word;
}

static int32_t is_lower(const gw_axis *axis)
{
    return (gw_order_rung(axis->taken) < (int32_t)axis->rung) ? 1 : 0;
}

/* What is due first: of an order all its parts, then blocks. */
static void do_first(gw_axis *axis, uint32_t due)
{
    const uint32_t first = due & (~due + 1U);
    gw_evidence *evidence = &axis->evidence;

    axis->due = (uint8_t)(due ^ first);
    switch (first) {
    case GW_DUE_END:
        gw_evidence_end_hearing(evidence);
        break;
    case GW_DUE_DECAY:
        gw_evidence_end_listening(evidence, gw_order_hearing(axis->taken));
        break;
    case GW_DUE_HEARING:
        evidence->steps_level = stage_now(axis)->detector.steps_level;
        gw_evidence_begin_hearing(evidence, gw_order_hearing(axis->taken));
        break;
    case GW_DUE_GAIN:
        gw_evidence_end_gain(evidence, is_lower(axis));
        break;
    case GW_DUE_NOISE:
        gw_evidence_compare_gain(evidence, is_lower(axis), stage_now(axis)->detector.swing_level);
        break;
    case GW_DUE_RUNG:
        gw_evidence_begin_gain(evidence);
        axis->rung = (uint8_t)gw_order_rung(axis->taken);
        break;
    default:
        gw_evidence_ring_block(evidence, axis->detector.ring.level);
        break;
    }
}

#if GW_HAS_LOOP_RESPONSE
/* While the loop response is measured nobody listens to the speed error; its filter takes some tens
 * of ticks to settle then. */
static int32_t listen_to_speed(gw_axis *axis, const gw_machine_stage *stage, int32_t speed_error)
{
    return (axis->response.recording == 0)
               ? gw_detector_speed(&axis->detector, &stage->detector, speed_error)
               : 0;
}

static int32_t response_is_due(const gw_axis *axis)
{
    return (axis->response.due != 0) ? 1 : 0;
}

/* Goes before what judges the time until an order: no block ends soon after one. */
static void prepare_response(gw_axis *axis, const gw_machine_stage *stage)
{
    gw_response_prepare(&axis->response, &stage->response);
}

/* The torque command behind the high-pass is what the detector has just found. */
static int32_t response_torque(gw_axis *axis, const gw_machine_stage *stage)
{
    const int32_t filtered = axis->detector.burst.past[GW_DETECTOR_SECTIONS].last;

    return (axis->response.recording == 0)
               ? 0
               : gw_response_sample(&axis->response, &stage->response, filtered);
}
#else
static int32_t listen_to_speed(gw_axis *axis, const gw_machine_stage *stage, int32_t speed_error)
{
    return gw_detector_speed(&axis->detector, &stage->detector, speed_error);
}

static int32_t response_is_due(const gw_axis *axis)
{
    (void)axis;
    return 0;
}

static void prepare_response(gw_axis *axis, const gw_machine_stage *stage)
{
    (void)axis;
    (void)stage;
}

static int32_t response_torque(gw_axis *axis, const gw_machine_stage *stage)
{
    (void)axis;
    (void)stage;
    return 0;
}
#endif

/* Both signals of a tick; the sum of what they complete. */
static int32_t sample(gw_axis *axis, const gw_machine_stage *stage, int32_t torque_command,
                      int32_t speed_error)
{
    const int32_t ended = listen_to_speed(axis, stage, speed_error);

    return ended + gw_detector_torque(&axis->detector, &stage->detector, torque_command);
}

/* Of two blocks the burst is heard at once. */
static void take_blocks(gw_axis *axis, int32_t ended)
{
    if (ended == GW_RING_BLOCK_ENDED) {
        gw_evidence_ring_block(&axis->evidence, axis->detector.ring.level);
    } else {
        gw_evidence_burst_block(&axis->evidence, axis->detector.burst.level);
        if (ended != GW_BURST_BLOCK_ENDED) {
            axis->due = (uint8_t)(axis->due | GW_DUE_RING_BLOCK);
        }
    }
}

int32_t gw_axis_control_tick(gw_axis *axis, int32_t torque_command, int32_t speed_error)
{
    const gw_machine_stage *stage;
    uint32_t word;
    uint32_t due;
    int32_t prepares;
    int32_t ended;
    int32_t torque;

    if (gw_axis_knows_machine(axis) == 0) {
        return 0;
    }
    axis->control_ticks = (uint16_t)(axis->control_ticks + 1U);
    due = axis->due;
    prepares = response_is_due(axis);
    word = gw_number_now(&axis->order.word);
    stage = stage_now(axis);
    if ((word != axis->taken) && (due == 0U)
        && (gw_detector_block_ends(&axis->detector, &stage->detector) == 0)) {
        begin_order(axis, word);
        stage = stage_now(axis);
    }
    ended = sample(axis, stage, torque_command, speed_error);
    if (ended != 0) {
        take_blocks(axis, ended);
    } else if (prepares != 0) {
        prepare_response(axis, stage);
    } else if (due != 0U) {
        do_first(axis, due);
    } else {
        /* Nothing else in this tick. */
    }
    torque = gw_pulse_sample(&axis->pulse, &stage->pulse);
    return (gw_code_now(&axis->fault) == 0) ? (torque + response_torque(axis, stage)) : 0;
}
