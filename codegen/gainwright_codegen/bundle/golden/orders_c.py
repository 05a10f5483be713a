"""Self-test of how an axis takes orders: in turn, and in the parts that judge what was heard."""

from __future__ import annotations

from gainwright_codegen.bundle.golden.selftest_c import SelfTestPart
from gainwright_codegen.c_text import comment, filled


def orders_part(machine: str) -> SelfTestPart:
    """Return the self-test of orders; ``machine`` is the C name of the machine's object."""
    text = comment(
        "Orders: one waits where a block ends, and for all parts of the one before; whichever part "
        "of it judges what was heard does what the whole does at once; a pulse that no control "
        "tick began while it was requested is given once all the same."
    )
    source = text + "\n" + filled(_ORDERS, MACHINE=machine)
    return SelfTestPart((f"{machine}.h",), source, "run_orders")


_ORDERS = """\
/* 1 if after so many control ticks more the order taken last is this one. */
static uint32_t has_taken(uint32_t word, int32_t control_ticks)
{
    int32_t k;

    for (k = 0; k < control_ticks; k++) {
        (void)gw_axis_control_tick(&subject, 0, 0);
    }
    return (subject.taken == word) ? 1U : 0U;
}

static void find_nothing(int32_t inputs[GW_INPUT_SLOTS])
{
#if GW_HAS_LOOP_RESPONSE
    int32_t findings[GW_RESPONSE_FINDING_COUNT];

    gw_response_no_findings(findings);
    gw_trial_take_response(findings, inputs);
#endif
    gw_evidence_no_findings(inputs);
}

/* 1 if the axis finds nothing, as where an order was not taken. */
static uint32_t finds_nothing(void)
{
    const uint32_t word = subject.order.word;
    gw_evidence *const evidence = &subject.evidence;
    int32_t found[3][GW_INPUT_SLOTS];
    uint32_t same = 1U;
    uint32_t k;

    /* Something of each kind might be found. */
    evidence->burst = GW_LEVEL_ONE;
    evidence->noise_blocks = 1U;
    evidence->burst_noise = GW_LEVEL_ONE;
    evidence->noise_before = 0;
    evidence->is_hidden = 1U;
    evidence->has_grown = 1U;
    evidence->has_stalled = 1U;
    evidence->earlier = (uint32_t)GW_LEVEL_ONE;
    spoil(found, (uint32_t)sizeof found);
    find_nothing(found[2]);
    gw_axis_find(&subject, found[0]);
    subject.order.word = ~word;
    gw_axis_find(&subject, found[1]);
    subject.order.word = word;
    for (k = 0U; k < (uint32_t)GW_INPUT_SLOTS; k++) {
        same = ((found[0][k] == found[2][k]) && (found[1][k] == found[2][k])) ? same : 0U;
    }
    return same;
}

/* An order waits where a block ends, and where the one before it is not taken in all its parts. */
static uint32_t orders_wait(gw_band *band, const gw_level_settings *settings)
{
    const uint32_t first = (uint32_t)GW_HEARING_NOISE << 16;
    const uint32_t second = (uint32_t)GW_HEARING_MOVE << 16;
    uint32_t right = 1U;

    gw_axis_init(&subject, &@MACHINE@);
    band->ticks = (uint16_t)(settings->block_ticks - 1);
    subject.order.word = first;
    right = (has_taken(first, 1) == 0U) ? right : 0U;
    right = (has_taken(first, 1) != 0U) ? right : 0U;
    right = (finds_nothing() != 0U) ? right : 0U;
    subject.order.word = second;
    right = (has_taken(first, 1) != 0U) ? right : 0U;
    right = (has_taken(second, 16) != 0U) ? right : 0U;
    return right;
}

/* A listening with an answer, after noise at gains that taught what is usual: near the swing level,
 * and at the last gain just above it. */
static void listen(gw_evidence *evidence)
{
    const int32_t swing
        = gw_clamp_i32(@MACHINE@.stage[0].detector.swing_level, 64, GW_LEVEL_MAX / 2);
    int32_t k;

    gw_evidence_reset(evidence);
    for (k = 0; k <= GW_USUAL_GAINS; k++) {
        gw_evidence_hear(evidence, (int32_t)GW_HEARING_NOISE);
        gw_evidence_ring_block(evidence, (k < GW_USUAL_GAINS) ? swing : (swing + 1));
        gw_evidence_burst_block(evidence, 3);
        if (k < GW_USUAL_GAINS) {
            gw_evidence_new_gain(evidence, 0, GW_LEVEL_MAX);
        }
    }
    gw_evidence_hear(evidence, (int32_t)GW_HEARING_RINGING);
    for (k = 0; k < 7; k++) {
        gw_evidence_ring_block(evidence, swing + (swing / 4) - ((swing / 64) * k));
    }
}

/* 1 if an order that ends this listening is taken as gw_evidence_hear and gw_evidence_new_gain
 * take it. */
static uint32_t order_is_judged(uint32_t hearing, uint32_t rung)
{
    const uint32_t before = ((uint32_t)GW_HEARING_RINGING << 16) | (5U << 8);
    gw_evidence *const found = &subject.evidence;
    gw_evidence right;

    gw_axis_init(&subject, &@MACHINE@);
    listen(found);
    subject.taken = before;
    subject.rung = 5U;
    right = *found;
    right.steps_level = @MACHINE@.stage[0].detector.steps_level;
    if (hearing != (uint32_t)GW_HEARING_RINGING) {
        gw_evidence_hear(&right, (int32_t)hearing);
    }
    if (rung != 5U) {
        gw_evidence_new_gain(&right, (rung < 5U) ? 1 : 0, @MACHINE@.stage[0].detector.swing_level);
    }
    subject.order.word = (hearing << 16) | (rung << 8);
    (void)has_taken(subject.order.word, 7);
    return ((found->hearing == right.hearing) && (found->boost == right.boost)
            && (found->hidden == right.hidden) && (found->grown == right.grown)
            && (found->is_hidden == right.is_hidden) && (found->has_grown == right.has_grown)
            && (found->earlier == right.earlier) && (found->later == right.later)
            && (found->noise_before == right.noise_before)
            && ((found->steps_level == right.steps_level)
                || (hearing == (uint32_t)GW_HEARING_RINGING))
            && (found->ring_blocks == right.ring_blocks)) ? 1U : 0U;
}

static uint32_t orders_are_judged(void)
{
    uint32_t right = order_is_judged((uint32_t)GW_HEARING_NOISE, 5U);

    right = (order_is_judged((uint32_t)GW_HEARING_RINGING, 6U) != 0U) ? right : 0U;
    right = (order_is_judged((uint32_t)GW_HEARING_RINGING, 4U) != 0U) ? right : 0U;
    return (order_is_judged((uint32_t)GW_HEARING_MOVE, 6U) != 0U) ? right : 0U;
}

#if GW_HAS_PULSE_REQUEST
/* Control ticks in which a pulse is given, of so many. */
static int32_t pulse_ticks(int32_t control_ticks)
{
    int32_t given = 0;
    int32_t k;

    for (k = 0; k < control_ticks; k++) {
        given += (gw_axis_control_tick(&subject, 0, 0) != 0) ? 1 : 0;
    }
    return given;
}

/* Which of two orders, one after the other, begin a pulse, given by golden rows: 3, the first only,
 * before any control tick takes it; 1, it does, but the second asks for more than its end. */
static uint32_t orders_a_pulse(uint32_t first, uint32_t second)
{
    const gw_machine_stage *stage;
    int32_t values[SIGNALS];
    uint32_t word;

    golden_vector(first, values);
    (void)step_from(golden_state(first), values);
    word = subject.order.word;
    if (((word & GW_ORDER_PULSE) == 0U) || (subject.order.height == 0)
        || (golden_state(second) != subject.sequencer.state)) {
        return 0U;
    }
    stage = &@MACHINE@.stage[gw_order_stage(subject.taken)];
    subject.detector.burst.ticks = (uint16_t)(stage->detector.burst.block_ticks - 1);
    (void)gw_axis_control_tick(&subject, 0, 0);
    golden_vector(second, values);
    (void)gw_axis_step(&subject, &values[GW_VARIABLE_SLOTS]);
    return ((subject.order.word ^ word) == GW_ORDER_PULSE) ? 3U : 1U;
}

/* A late one is given once, with all its samples; where the next order asks for something else it
 * is given up. */
static uint32_t late_pulses_are_given(void)
{
    uint32_t right = 1U;
    uint32_t first;
    uint32_t second;

    for (first = 0U; first < GOLDEN_ROWS; first++) {
        for (second = 0U; second < GOLDEN_ROWS; second++) {
            const uint32_t orders = orders_a_pulse(first, second);

            if (orders != 0U) {
                const int32_t stage = gw_order_stage(subject.order.word);
                const int32_t ticks = @MACHINE@.stage[stage].pulse.ticks;
                const int32_t wanted = (orders == 3U) ? ticks : 0;

                right = (pulse_ticks(ticks + 40) == wanted) ? right : 0U;
                right = (pulse_ticks(ticks) == 0) ? right : 0U;
                right = ((subject.pulse.next == ticks) || (orders != 3U)) ? right : 0U;
            }
        }
    }
    return right;
}
#else
static uint32_t late_pulses_are_given(void)
{
    return 1U;
}
#endif

static uint32_t run_orders(void)
{
    const gw_detector_settings *settings = &@MACHINE@.stage[0].detector;

    return report(orders_wait(&subject.detector.ring, &settings->ring)
                  & orders_wait(&subject.detector.burst, &settings->burst), "orders in turn", 0U)
           + report(orders_are_judged(), "orders judged", 0U)
           + report(late_pulses_are_given(), "late pulses", 0U);
}
"""
