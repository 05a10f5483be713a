"""Golden measurements of the loop response: invented answers to the test signal, evaluated."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import replace

from gainwright.detector.loop_response import ReferenceLoopResponse
from gainwright.detector.response_settings import ResponseSettings
from gainwright.fixed.arithmetic import clamp
from gainwright_codegen.bundle.golden.detector_c import words
from gainwright_codegen.bundle.golden.sample import CHECKSUM_START, added
from gainwright_codegen.bundle.golden.selftest_c import SelfTestPart
from gainwright_codegen.c_text import comment, filled

_ROUNDS = (
    (0, 5, 5, 0, 21), (0, 5, 5, 0, 21), (0, 5, 5, 0, 21), (0, 7, 5, 700, 21), (0, 5, 5, 0, 21),
    (0, 11, 7, 0, 21), (12, 6, 5, 0, 20), (12, 6, 5, 1500, 20), (12, 6, 5, 0, 20),
    (4, 14, 1, 0, 19), (4, 0, 1, 0, 3), (4, 1, 7, 0, 16), (90, 15, 5, 0, 22), (90, 15, 5, 0, 22),
    (90, 15, 5, 0, 22), (0, 1, 3, 0, 24), (0, 1, 5, 0, 24), (0, 1, 5, 0, 24), (0, 2, 5, 700, 24),
    (30, 13, 5, 0, 23), (30, 13, 5, 0, 23), (30, 14, 5, 0, 23), (30, 13, 7, 0, 23),
    (36, 0, 1, 0, 18), (3, 8, 7, 2098, 19), (33, 15, 7, 0, 21),
    (0, 1, 5, 0, 12), (0, 12, 5, 0, 24), (0, 13, 5, 0, 24), (0, 14, 5, 0, 24),
    (0, 14, 6, 0, 24), (0, 14, 1, 0, 24), (0, 14, 1, 0, 24), (0, 7, 6, 0, 24), (0, 7, 6, 0, 15),
    (0, 7, 5, 0, 15), (0, 5, 4, 0, 24), (0, 5, 4, 0, 15), (0, 6, 4, 0, 24), (0, 9, 4, 0, 24),
    (0, 14, 4, 0, 24), (0, 14, 5, 0, 24), (0, 13, 5, 0, 24), (0, 12, 5, 0, 24), (0, 12, 5, 0, 24),
    (0, 4, 5, 0, 24), (0, 4, 6, 0, 24), (0, 3, 7, 0, 24),
)  # fmt: skip
"""Rung, sixteenths of the test signal that come back, after how many control ticks (0 to 7), ticks
of the measurement (0: as many periods as it wants), and how far noise is shifted down."""
_FIRST_GAP, _GAP = 45, (90, 123)
"""From this measurement on, nothing that crosses between two lines counts, and before each of them
memory is damaged: no prediction is known any more, although its line is."""
_MOST_PERIODS = 10
_LIMIT = 2**28 - 1


def response_part(settings: ResponseSettings, machine: str) -> SelfTestPart:
    """Return the self-test of the measurement, with the settings of the first stage."""
    text = comment(
        f"Loop response: {len(_ROUNDS)} measurements, in which so many sixteenths of the test "
        "signal come back late, with noise; each is evaluated. The last have a gap in the band, "
        "and a damaged memory. The checksum is over the test signal, what is found, and the "
        "response at its first and last line, from a model in Python."
    )
    rows = ",\n".join(f"    {{{', '.join(map(str, row))}}}" for row in _ROUNDS)
    source = filled(
        _RUN,
        ROUNDS=len(_ROUNDS),
        ROWS=rows,
        FIRST_GAP=_FIRST_GAP,
        GAP_FROM=_GAP[0],
        GAP_TO=_GAP[1],
        FULL=_full(settings),
        MACHINE=machine,
        SUM=f"0x{_checksum(settings):08x}U",
    )
    return SelfTestPart(("gw_loop_margins.h", f"{machine}.h"), text + "\n" + source, "run_response")


def _full(settings: ResponseSettings) -> int:
    periods = max(settings.least_periods, min(settings.window, _MOST_PERIODS))
    return periods * settings.period_ticks + settings.settle_ticks + 5


def _checksum(settings: ResponseSettings) -> int:
    response, checksum, noise = ReferenceLoopResponse(settings), CHECKSUM_START, words()
    for number, (rung, share, late, ticks, shift) in enumerate(_ROUNDS):
        if number >= _FIRST_GAP:
            response.settings = replace(settings, gap_from=_GAP[0], gap_to=_GAP[1])
            response.agreeing = 0
        response.record(True, rung)
        given = _given(response, share, late, ticks or _full(settings), shift, noise)
        # Nothing is evaluated as long as it is measured.
        checksum = added(checksum, (*given, *response.findings(rung).values(), 0))
        response.record(False, rung)
        checksum = added(checksum, response.findings(rung).values())
        response.evaluate()
        found = response.findings(rung).values()
        lines = (*response.inverse(settings.first_line), *response.inverse(settings.last_line))
        positions = (response.spread, response.limit_position, response.result_position)
        places = (response.limit_line, response.bent)
        checksum = added(checksum, (*found, *lines, *positions, *places))
    return checksum


def _given(
    response: ReferenceLoopResponse,
    share: int,
    late: int,
    ticks: int,
    shift: int,
    noise: Iterator[int],
) -> Iterator[int]:
    past = deque([0] * 8, maxlen=8)
    for _ in range(ticks):
        answer = -(past[-1 - late] >> 4) * share
        drawn = ((next(noise) >> 1) - 2**30) >> shift
        given = response.sample(clamp(answer + drawn, -_LIMIT - 1, _LIMIT))
        past.append(given)
        yield given


_RUN = """\
static const int16_t golden_rounds[@ROUNDS@][5] = {
@ROWS@
};

/* Number of control ticks, words of the noise, and the test signal of the last ticks. */
typedef struct {
    gw_response_settings settings;
    uint32_t checksum;
    uint32_t word;
    uint32_t tick;
    int32_t past[8];
} golden_response;

static void response_tick(golden_response *golden, const int16_t round[5])
{
    const gw_response_settings *settings = &golden->settings;
    const int32_t late = round[2];
    const int32_t past = golden->past[(golden->tick + 7U - (uint32_t)late) % 8U];
    const int32_t drawn = (int32_t)(next_word(&golden->word) >> 1) - INT32_C(1073741824);
    const int64_t answer = (int64_t)gw_floor_shift_i32(past, 4U) * -round[1];
    const int32_t torque = gw_saturate_signal(gw_saturate_i32(
        answer + gw_floor_shift_i32(drawn, (uint32_t)round[4])));
    const int32_t given = gw_response_sample(&subject.response, settings, torque);

    if (subject.response.due != 0) {
        gw_response_prepare(&subject.response, settings);
    }
    golden->past[golden->tick % 8U] = given;
    golden->tick++;
    golden->checksum = checksum_add(golden->checksum, (uint32_t)given);
}

static void response_found(golden_response *golden, int32_t rung)
{
    int32_t findings[GW_RESPONSE_FINDING_COUNT];

    gw_response_findings(&subject.response, &golden->settings, rung, findings);
    golden->checksum
        = add_words(golden->checksum, findings, (uint32_t)GW_RESPONSE_FINDING_COUNT);
}

static void response_round(golden_response *golden, const int16_t round[5])
{
    const gw_response_settings *settings = &golden->settings;
    int32_t line[2];
    int32_t k;

    for (k = 0; k < 8; k++) {
        golden->past[k] = 0;
    }
    gw_response_record(&subject.response, 1, round[0]);
    for (k = 0; k < ((round[3] != 0) ? round[3] : INT32_C(@FULL@)); k++) {
        response_tick(golden, round);
    }
    response_found(golden, round[0]);
    golden->checksum = checksum_add(
        golden->checksum, (uint32_t)gw_response_pending(&subject.response, settings));
    gw_response_record(&subject.response, 0, round[0]);
    response_found(golden, round[0]);
    while (gw_response_pending(&subject.response, settings) != 0) {
        gw_response_evaluate(&subject.response, settings);
    }
    response_found(golden, round[0]);
    gw_response_line(&subject.response, settings, settings->first_line, line);
    golden->checksum = add_words(golden->checksum, line, 2U);
    gw_response_line(&subject.response, settings, settings->last_line, line);
    golden->checksum = add_words(golden->checksum, line, 2U);
    golden->checksum = checksum_add(golden->checksum, (uint32_t)subject.response.spread);
    golden->checksum = checksum_add(golden->checksum, (uint32_t)subject.response.limit_position);
    golden->checksum = checksum_add(golden->checksum, (uint32_t)subject.response.result_position);
    golden->checksum = checksum_add(golden->checksum, (uint32_t)subject.response.limit_line);
    golden->checksum = checksum_add(golden->checksum, (uint32_t)subject.response.bent);
}

/* A damaged slice ends the evaluation; a line beyond the band changes nothing; and as long as
 * an order is not taken, what was measured before it is not found. */
static uint32_t response_errors(void)
{
    const gw_response_settings *settings = &@MACHINE@.stage[0].response;
    int32_t expected[GW_INPUT_SLOTS] = {0};
    int32_t found[GW_INPUT_SLOTS] = {0};
    uint32_t right;
    int32_t k;

    subject.response.recording = 0;
    subject.response.evaluated = 0;
    subject.response.periods = settings->least_periods;
    subject.response.slice = INT32_MAX;
    gw_margins_take_line(&subject.response, settings, settings->last_line + 1);
    gw_response_evaluate(&subject.response, settings);
    right = ((subject.response.evaluated == 1) && (subject.response.slice == 0)) ? 1U : 0U;
    subject.order.word ^= GW_ORDER_PULSE;
    gw_axis_find(&subject, found);
    gw_axis_init(&subject, &@MACHINE@);
    subject.order.word ^= GW_ORDER_PULSE;
    gw_axis_find(&subject, expected);
    for (k = 0; k < GW_INPUT_SLOTS; k++) {
        right = (found[k] == expected[k]) ? right : 0U;
    }
    return right;
}

/* A damaged place in the test signal is its beginning. */
static uint32_t response_begins_again(void)
{
    const gw_response_settings *settings = &@MACHINE@.stage[0].response;
    const int32_t damaged[3] = {0, -1, GW_RESPONSE_POINTS * settings->stride};
    int32_t given[3];
    uint32_t right = 1U;
    uint32_t k;

    gw_axis_init(&subject, &@MACHINE@);
    gw_response_record(&subject.response, 1, 0);
    while (subject.response.due != 0) {
        (void)gw_response_sample(&subject.response, settings, 0);
        gw_response_prepare(&subject.response, settings);
    }
    for (k = 0U; k < 3U; k++) {
        subject.response.tick = damaged[k];
        given[k] = gw_response_sample(&subject.response, settings, 0);
        right = ((subject.response.tick == 1) && (given[k] == given[0])) ? right : 0U;
    }
    return right;
}

static uint32_t run_response(void)
{
    golden_response golden
        = {@MACHINE@.stage[0].response, CHECKSUM_START, NOISE_SEED, 0U, {0}};
    uint32_t k;

    gw_axis_init(&subject, &@MACHINE@);
    for (k = 0U; k < @ROUNDS@U; k++) {
        if (k >= @FIRST_GAP@U) {
            golden.settings.gap_from = @GAP_FROM@;
            golden.settings.gap_to = @GAP_TO@;
            subject.response.agreeing = 0;
        }
        response_round(&golden, golden_rounds[k]);
    }
    return report((golden.checksum == @SUM@) ? 1U : 0U, "loop response, rounds", k)
           + report(response_begins_again(), "loop response, damaged tick", 0U)
           + report(response_errors(), "loop response, errors", 0U);
}
"""
