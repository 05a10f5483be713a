/* What a cross-check calls besides the exported functions. Not part of any export. */
#define GW_SELFTEST_NO_MAIN
#define GW_SELFTEST_PRINT(text, name, number) ((void)(text), (void)(name), (void)(number))
#include "gw_selftest.c"

#include <stddef.h>

#include "@MACHINE@.h"

#define GW_TOP_RUNG ((uint32_t)(GW_RUNG_COUNT_MAX - 1) << 8)

gw_axis bench_axis;
int32_t bench_inputs[GW_INPUT_SLOTS];
/* What the detector finds goes here: it would hide most rows, and the table is to see all. */
int32_t bench_found[GW_INPUT_SLOTS];

const uint32_t bench_sizes[8] = {
    (uint32_t)sizeof(gw_axis),
    /* Not up to the machine: before a pointer of 64 bits may be a gap that nobody writes. */
    (uint32_t)(offsetof(gw_axis, outputs) + sizeof((gw_axis *)0)->outputs),
    GOLDEN_ROWS,
    (uint32_t)GW_RATE_BLOCK,
    /* Where the fields of the sequencer tick begin, and some of them. */
    (uint32_t)offsetof(gw_axis, sequencer),
    (uint32_t)offsetof(gw_axis, rate_first),
    (uint32_t)offsetof(gw_axis, fault),
    (uint32_t)offsetof(gw_axis, outputs),
};

/* From memory of zeros: what an axis never reads before it writes it is compared too. */
void bench_init(void);
void bench_init(void)
{
    volatile uint8_t *const bytes = (volatile uint8_t *)&bench_axis;
    uint32_t index;

    for (index = 0U; index < (uint32_t)sizeof bench_axis; index++) {
        bytes[index] = 0U;
    }
    gw_axis_init(&bench_axis, &@MACHINE@);
}

/* Evidence that costs most to judge: a listening that has filled its groups, after others that have
 * filled the sums, at a gain after one that is known. */
static void fill_evidence(gw_evidence *evidence)
{
    int32_t block;

    gw_evidence_reset(evidence);
    for (block = 0; block < 3; block++) {
        gw_evidence_hear(evidence, (int32_t)GW_HEARING_NOISE);
        gw_evidence_ring_block(evidence, 40 + (20 * block));
        gw_evidence_burst_block(evidence, 4 + block);
        gw_evidence_new_gain(evidence, 0, GW_LEVEL_MAX);
    }
    gw_evidence_hear(evidence, (int32_t)GW_HEARING_NOISE);
    gw_evidence_ring_block(evidence, 100);
    gw_evidence_burst_block(evidence, 7);
    gw_evidence_hear(evidence, (int32_t)GW_HEARING_RINGING);
    for (block = 0; block <= GW_GROUPS; block++) {
        gw_evidence_ring_block(evidence, 200 + block);
    }
    evidence->earlier_before = (uint32_t)GW_LEVEL_MAX + 1U;
    evidence->later_before = (uint32_t)GW_LEVEL_MAX + 1U;
    evidence->earlier = (uint32_t)GW_LEVEL_MAX + 1U;
    evidence->later = (uint32_t)GW_LEVEL_MAX + 1U;
    evidence->grown = 1;
}

/* Put the axis where a golden row is taken, and its inputs into bench_inputs. */
void bench_place(uint32_t number);
void bench_place(uint32_t number)
{
    int32_t values[SIGNALS];
    uint32_t index;

    golden_vector(number, values);
    bench_init();
    bench_axis.sequencer.state = golden_state(number);
    for (index = 0U; index < (uint32_t)GW_VARIABLE_SLOTS; index++) {
        bench_axis.sequencer.variables[index] = (gw_variable_value)values[index];
    }
    for (index = 0U; index < (uint32_t)GW_INPUT_SLOTS; index++) {
        bench_inputs[index] = values[(uint32_t)GW_VARIABLE_SLOTS + index];
    }
    fill_evidence(&bench_axis.evidence);
    /* A block of ticks ends, so that their rate is judged in all ways. */
    bench_axis.rate_ticks = (int8_t)(GW_RATE_BLOCK - 1);
    bench_axis.control_ticks = (uint16_t)(GW_RATE_BLOCK * @MACHINE@.control_ticks);
    gw_axis_seal(&bench_axis);
}

/* 1 if the axis can measure a loop response. */
int32_t bench_measures(void);
int32_t bench_measures(void)
{
    return GW_HAS_LOOP_RESPONSE;
}

/* The axis measures a loop response, from a first period of a window on. */
void bench_measure(uint32_t number);
void bench_measure(uint32_t number)
{
    (void)number;
#if GW_HAS_LOOP_RESPONSE
    bench_axis.order.height = 0;
    bench_axis.order.word = (uint32_t)GW_HEARING_RESPONSE << 16;
    bench_axis.taken = 0U;
    gw_axis_seal(&bench_axis);
#endif
}

/* The next control tick takes an order; they follow each other as in a search: a move at a rung, its
 * noise, a pulse, and a lower rung; then a pulse and noise without a move between, at the next stage
 * if there is one. What was heard until then costs most to judge, and a pulse is on its way. */
void bench_order(uint32_t number);
void bench_order(uint32_t number)
{
    static const uint32_t words[6] = {
        ((uint32_t)GW_HEARING_MOVE << 16) | GW_TOP_RUNG,
        ((uint32_t)GW_HEARING_NOISE << 16) | GW_TOP_RUNG,
        ((uint32_t)GW_HEARING_RINGING << 16) | GW_TOP_RUNG | GW_ORDER_PULSE,
        ((uint32_t)GW_HEARING_NOTHING << 16),
        ((uint32_t)GW_HEARING_RINGING << 16) | GW_TOP_RUNG | GW_ORDER_PULSE,
        ((uint32_t)GW_HEARING_NOISE << 16),
    };
    const int32_t height = gw_stage_highest_pulse(&@MACHINE@.stage[0]);

    fill_evidence(&bench_axis.evidence);
    bench_axis.evidence.hearing = (uint8_t)gw_order_hearing(bench_axis.taken);
    gw_pulse_start(&bench_axis.pulse, height, gw_pulse_complement(height));
    bench_axis.order.word = words[number % 6U] | ((number / 6U) % (uint32_t)GW_STAGE_SLOTS);
    bench_axis.order.height = ((bench_axis.order.word & GW_ORDER_PULSE) != 0U) ? height : 0;
    bench_axis.order.complement = gw_pulse_complement(bench_axis.order.height);
    gw_axis_seal(&bench_axis);
}

/* Blocks end in the next control tick, both or one, and so does what ringing fills, while a pulse is
 * on its way: the most that comes together. `number` goes through what they belong to. */
void bench_ends(uint32_t number);
void bench_ends(uint32_t number)
{
    const gw_detector_settings *settings = &@MACHINE@.stage[0].detector;
    const int32_t height = gw_stage_highest_pulse(&@MACHINE@.stage[0]);

    fill_evidence(&bench_axis.evidence);
    if ((number % 3U) != 1U) {
        bench_axis.detector.ring.ticks = (uint16_t)(settings->ring.block_ticks - 1);
    }
    if ((number % 3U) != 2U) {
        bench_axis.detector.burst.ticks = (uint16_t)(settings->burst.block_ticks - 1);
    }
    bench_axis.evidence.hearing = (uint8_t)(number % ((uint32_t)GW_HEARING_MOVE + 1U));
    bench_axis.evidence.groups = (uint8_t)(GW_GROUPS - (number % 2U));
    gw_pulse_start(&bench_axis.pulse, height, gw_pulse_complement(height));
}

/* It has settled; a period or a point ends in the next control tick, and blocks beside it, or
 * something is to be prepared or judged: the most that comes together. */
void bench_sum_ends(uint32_t number);
void bench_sum_ends(uint32_t number)
{
#if GW_HAS_LOOP_RESPONSE
    const gw_machine_stage *stage = &@MACHINE@.stage[0];
    gw_loop_response *response = &bench_axis.response;

    bench_ends(number);
    gw_pulse_reset(&bench_axis.pulse);
    if (number % 2U == 0U) {
        gw_detector_restart_blocks(&bench_axis.detector);
    }
    if (number % 3U == 0U) {
        /* As the order begins it that ended a listening: parts of that are still to be judged. */
        bench_axis.evidence.hearing = (uint8_t)GW_HEARING_RINGING;
        bench_axis.due = (uint8_t)GW_DUE_OF_ORDER;
        response->recording = 3;
    } else {
        bench_axis.evidence.hearing = (uint8_t)GW_HEARING_RESPONSE;
        response->recording = 1;
    }
    response->due = (number % 4U < 2U) ? 1 : 0;
    response->evaluated = 1;
    response->agreeing = 2;
    response->settling = 0;
    response->filled = stage->response.stride - 1;
    response->next = (number % 5U == 4U) ? 7 : (GW_RESPONSE_POINTS - 1);
    response->periods = (int32_t)(number % 30U);
    response->window = GW_RESPONSE_PERIODS_MAX - 1;
#else
    (void)number;
#endif
}

/* The pulse of the first stage begins with the next control tick. */
void bench_pulse(uint32_t number);
void bench_pulse(uint32_t number)
{
    (void)number;
    bench_axis.order.height = gw_stage_highest_pulse(&@MACHINE@.stage[0]);
    bench_axis.order.complement = gw_pulse_complement(bench_axis.order.height);
    bench_axis.order.word = GW_ORDER_PULSE;
    bench_axis.taken = 0U;
    gw_axis_seal(&bench_axis);
}
