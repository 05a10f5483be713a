"""The exported evidence equals the Python reference bit for bit, whatever is heard when."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gainwright.detector.evidence import FINDINGS, Hearing, ReferenceEvidence
from gainwright.detector.settings import INPUT_LEVEL_MAX, LEVEL_MAX, LEVEL_ONE
from gainwright_codegen.host import compile_and_load, read_sources
from gainwright_codegen.sources import RUNTIME_DIRECTORY

_FILES = ("gw_fixed.h", "gw_highpass.h", "gw_detector.h", "gw_evidence.h", "gw_evidence.c")
_ALL_FINDINGS = "\n".join(
    [
        f"#define GW_INPUT_SLOTS {len(FINDINGS)}",
        *(f"#define GW_PLACE_OF_{name.upper()} {k}" for k, name in enumerate(FINDINGS)),
    ]
)
"""For the header of a trial that looks at each, in this order."""


@pytest.fixture(scope="module")
def exported():
    sources = read_sources(RUNTIME_DIRECTORY, *_FILES) | {"gw_trial.h": _ALL_FINDINGS}
    return compile_and_load(sources, ("gw_evidence.h",), name="evidence")


class Pair:
    """Both, told the same."""

    def __init__(self, exported, swing_level: int = LEVEL_MAX, steps_level: int = 0) -> None:
        self.ffi, self.library = exported
        self.reference = ReferenceEvidence(swing_level=swing_level, steps_level=steps_level)
        self.compiled = self.ffi.new("gw_evidence *")
        self.library.gw_evidence_reset(self.compiled)
        self.compiled.steps_level = steps_level

    def tell(self, what: str, *argument: int) -> None:
        swing = (self.reference.swing_level,) if what == "new_gain" else ()
        getattr(self.library, f"gw_evidence_{what}")(self.compiled, *argument, *swing)
        wrapped = [Hearing(a) for a in argument] if what == "hear" else argument
        getattr(self.reference, what)(*wrapped)

    def hear(self, hearing: Hearing, levels, burst: int = 0) -> dict[str, int]:
        self.tell("hear", hearing)
        for level in levels:
            self.tell("burst_block", burst)
            self.tell("ring_block", int(level))
        return self.same_findings()

    def same_findings(self) -> dict[str, int]:
        found = self.ffi.new("int32_t[]", len(FINDINGS))
        self.library.gw_evidence_findings(self.compiled, found)
        expected = self.reference.findings()
        assert dict(zip(FINDINGS, found, strict=True)) == expected
        return expected


levels = st.one_of(st.sampled_from([0, 1, 16, 255, 256, LEVEL_MAX]), st.integers(0, LEVEL_MAX))
told = st.one_of(
    st.tuples(st.just("ring_block"), levels),
    st.tuples(st.just("ring_block"), st.integers(0, 2000)),
    st.tuples(st.just("burst_block"), st.integers(0, 400)),
    st.tuples(st.just("burst_block"), levels),
    st.tuples(st.just("hear"), st.sampled_from([0, 1, 2, 3, 4])),
    st.tuples(st.just("new_gain"), st.sampled_from([0, 1])),
)


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.tuples(told, st.sampled_from([1, 1, 1, 5, 40, 300])), max_size=60), levels, levels
)
def test_anything_in_any_order(exported, messages, swing_level, steps_level):
    pair = Pair(exported, swing_level, steps_level)
    for message, times in messages:
        for _ in range(times if message[0] == "ring_block" else 1):
            pair.tell(*message)
        found = pair.same_findings()
        assert all(0 <= value <= INPUT_LEVEL_MAX for value in found.values())


def test_nothing_heard_is_no_evidence(exported):
    pair = Pair(exported)
    found = pair.ffi.new("int32_t[]", len(FINDINGS))
    pair.library.gw_evidence_no_findings(found)
    assert dict(zip(FINDINGS, found, strict=True)) == pair.same_findings()
    assert pair.same_findings() == {name: 0 for name in FINDINGS} | {"decay_level": INPUT_LEVEL_MAX}


def test_ringing_is_set_against_the_noise_of_the_same_gain(exported):
    """Silence is 3/2 of the largest of uneven noise blocks; a new gain forgets it."""
    pair = Pair(exported)
    pair.hear(Hearing.NOISE, [400, 1000, 600, 500], burst=20)
    found = pair.hear(Hearing.RINGING, [6000, 1500])
    assert (found["response_level"], found["ring_level"]) == (4 * LEVEL_ONE, LEVEL_ONE)
    assert (found["noise_blocks"], found["noise_level"], found["ring_blocks"]) == (4, 20, 2)
    pair.tell("new_gain", 0)
    found = pair.same_findings()
    assert (found["noise_blocks"], found["ring_blocks"], found["noise_level"]) == (0, 0, 20)


def test_silence_is_near_a_steady_tone(exported):
    """An eighth above the largest block, and 3/2 of the spread: 1000 + 125 + 60."""
    pair = Pair(exported)
    pair.hear(Hearing.NOISE, [960, 1000, 980, 970])
    assert pair.hear(Hearing.RINGING, [1185])["response_level"] == LEVEL_ONE
    assert pair.hear(Hearing.RINGING, [1184])["response_level"] == LEVEL_ONE - 1


def test_the_answer_is_in_the_first_two_blocks(exported):
    """What rises later is not the answer to the pulse, but shows in the ring level."""
    pair = Pair(exported)
    pair.hear(Hearing.NOISE, [100] * 4)
    found = pair.hear(Hearing.RINGING, [100, 110, 5000])
    assert found["response_level"] < LEVEL_ONE < found["ring_level"]


def test_a_move_is_noise_too_but_no_leap_of_it(exported):
    """A level that is more than 3/2 of the one at the gain before is no noise of the move."""
    pair = Pair(exported)
    for burst, expected in ((20, 20), (30, 30), (60, 0), (60, 60)):
        pair.hear(Hearing.MOVE, [], burst=0)
        pair.tell("burst_block", burst)
        found = pair.hear(Hearing.NOISE, [100], burst=5)
        assert (found["noise_level"], found["move_noise_level"]) == (5, expected)
        pair.tell("new_gain", 0)


def test_answers_are_hidden_once_four_gains_showed_none(exported):
    pair = Pair(exported)
    steps = [(unseen, int(unseen >= 4)) for unseen in (*range(1, 14), 0, 1)]
    for unseen, expected in steps:
        pair.hear(Hearing.NOISE, [1000] * 4)
        pair.hear(Hearing.RINGING, [1000 if unseen else 3000] * 2)
        pair.tell("new_gain", 0)
        assert pair.same_findings()["answers_hidden"] == expected
        assert pair.same_findings()["answers_vanished"] == (expected and unseen < 12)


@pytest.mark.parametrize(("answer", "expected"), [(2249, 1), (2250, 0)])
def test_a_faint_answer_counts_as_none(exported, answer, expected):
    """Silence is 1125: below twice that an answer may be chance."""
    pair = Pair(exported)
    for heard in (*[1000] * 3, answer):
        pair.hear(Hearing.NOISE, [1000] * 4)
        pair.hear(Hearing.RINGING, [heard] * 2)
        pair.tell("new_gain", 0)
    assert pair.same_findings()["answers_hidden"] == expected


def grown_after(pair: Pair, *noise: int) -> int:
    """Return the finding after gains with so much noise each."""
    for level in noise:
        pair.hear(Hearing.NOISE, [level] * 4)
        pair.tell("new_gain", 0)
    return pair.same_findings()["noise_grown"]


USUAL = (10_000, 9_000, 11_000, 12_000, 10_000, 11_000, 9_000, 10_000)
"""Noise of the gains that teach what is usual."""


def test_noise_of_the_speed_error_that_rises_for_good_has_grown(exported):
    """Four gains with more than four times the usual; one that falls back counts anew."""
    pair = Pair(exported)
    assert grown_after(pair, *USUAL) == 0
    for noise, expected in (
        (80_000, 0),
        (10_000, 0),
        (80_000, 0),
        (90_000, 0),
        (95_000, 0),
        (99_000, 1),
    ):
        assert grown_after(pair, noise) == expected
    assert grown_after(pair, 10_000) == 0


@pytest.mark.parametrize(("loudest", "tripled"), [(90_000, 1), (10_000, 0)])
def test_torque_is_compared_with_that_before_the_speed_error_grew(exported, loudest, tripled):
    """Where the speed error stays as it was, slow growth of the torque's noise is expected."""
    pair = Pair(exported)
    assert grown_after(pair, *USUAL) == 0
    for burst in (2, 4, 7, 11):
        pair.hear(Hearing.NOISE, [loudest] * 4, burst=burst)
        pair.tell("new_gain", 0)
    found = pair.hear(Hearing.NOISE, [loudest] * 4, burst=16)
    assert (found["noise_grown"], found["noise_tripled"]) == (tripled, tripled)


def test_noise_that_was_as_loud_before_is_usual(exported):
    """At first gains, and between: a machine that is noisy now and then oscillates by nothing."""
    pair = Pair(exported)
    assert grown_after(pair, *USUAL[:-1], 80_000, *[90_000] * 6) == 0
    pair = Pair(exported)
    assert grown_after(pair, *USUAL, *[80_000, 10_000, 10_000] * 8, *[80_000] * 6) == 0


def test_noise_that_is_loud_in_one_hearing_of_a_gain_is_usual_too(exported):
    pair = Pair(exported)
    for _ in range(8):
        pair.hear(Hearing.NOISE, [80_000] * 4)
        pair.hear(Hearing.NOISE, [10_000] * 4)
        pair.tell("new_gain", 0)
    assert grown_after(pair, *[80_000] * 6) == 0


def test_noise_that_grows_from_gain_to_gain_has_not_risen_at_once(exported):
    """What is usual follows by an eighth a gain, so that a slow growth never counts."""
    pair = Pair(exported)
    for gain in range(40):
        assert grown_after(pair, round(100 * 1.1**gain)) == 0


def test_noise_by_which_the_speed_swings_has_grown_whatever_is_usual(exported):
    """Not far above the usual, but more than a swing; what teaches the usual is no finding yet."""
    pair = Pair(exported, swing_level=12_000)
    assert grown_after(pair, *[12_001] * 8, *[12_000] * 6) == 0
    assert grown_after(pair, *[12_001] * 3) == 0
    assert grown_after(pair, 12_001) == 1
    assert grown_after(pair, 12_000) == 0


@pytest.mark.parametrize(("hidden_gains", "expected"), [(7, 0), (8, 1)])
def test_one_gain_is_enough_where_answers_are_hidden(exported, hidden_gains, expected):
    pair = Pair(exported)
    for gain in range(9):
        pair.hear(Hearing.NOISE, [90_000 if gain == 8 else 10_000] * 4)
        seen = gain < 9 - hidden_gains
        pair.hear(Hearing.RINGING, [500_000 if seen else 10_000] * 2)
        pair.tell("new_gain", 0)
    assert pair.same_findings()["noise_grown"] == expected


def test_a_lower_gain_forgets_that_noise_has_grown(exported):
    pair = Pair(exported)
    assert grown_after(pair, *USUAL, *[90_000] * 4) == 1
    pair.tell("new_gain", 1)
    assert pair.same_findings()["noise_grown"] == 0


def test_a_lower_gain_gets_a_higher_pulse(exported):
    pair = Pair(exported)
    for expected in (1, 2, 3, 3):
        pair.tell("new_gain", 1)
        pair.same_findings()
        assert pair.reference.boost == pair.compiled.boost == expected
    pair.tell("new_gain", 0)
    assert pair.reference.boost == pair.compiled.boost == 3


@pytest.mark.parametrize(("answer", "expected"), [(16 * 112 - 1, 1), (16 * 112, 0)])
def test_a_lower_gain_keeps_a_pulse_that_was_seen_well(exported, answer, expected):
    """Sixteen times silence, which lies an eighth above steady noise."""
    pair = Pair(exported)
    pair.hear(Hearing.NOISE, [100] * 4)
    pair.hear(Hearing.RINGING, [answer], burst=10)
    pair.tell("new_gain", 1)
    assert pair.reference.boost == pair.compiled.boost == expected


@pytest.mark.parametrize(("rate_per_block", "share"), [(0.0, 256), (-0.02, None), (0.02, None)])
def test_decay_compares_the_middle_of_the_listening_with_its_end(exported, rate_per_block, share):
    """exp(rate * t): level falls or grows by the rate times the distance of the two groups."""
    pair = Pair(exported)
    pair.hear(Hearing.NOISE, [10] * 4)
    times = np.arange(97)
    found = pair.hear(Hearing.RINGING, np.rint(10 + 100_000 * np.exp(rate_per_block * times)))
    # 96 blocks after the pulse's own: six groups of 16; the third against the sixth, 48 blocks on.
    expected = share or LEVEL_ONE * np.exp(rate_per_block * 48)
    assert found["decay_level"] == pytest.approx(expected, rel=0.01)


def test_a_fast_mode_does_not_hide_a_lasting_one(exported):
    """The answer falls to a hundredth in a moment, and then no further: that is no decay."""
    pair = Pair(exported)
    pair.hear(Hearing.NOISE, [10] * 4)
    times = np.arange(65)
    found = pair.hear(Hearing.RINGING, 100_000 * np.exp(-times) + 1000)
    assert found["response_level"] == INPUT_LEVEL_MAX and found["ring_level"] > LEVEL_ONE
    assert found["decay_level"] == pytest.approx(LEVEL_ONE, abs=2)


def test_a_ringing_no_louder_than_encoder_steps_may_be_is_nothing(exported):
    """Heard at a speed at which they are quiet, they rise where the speed is a little other."""
    for level, decay in ((92, 0), (94, LEVEL_ONE)):
        pair = Pair(exported, steps_level=92)
        pair.hear(Hearing.NOISE, [20] * 4)
        assert pair.hear(Hearing.RINGING, [1000, *[level] * 20])["decay_level"] == decay


def test_listening_again_adds_to_what_is_known(exported):
    pair = Pair(exported)
    for _ in range(3):
        pair.hear(Hearing.NOISE, [10] * 4)
        once = pair.hear(Hearing.RINGING, [100_000, *[80_000] * 16, *[40_000] * 16])
    assert once["decay_level"] == pytest.approx(LEVEL_ONE / 2, rel=0.01)
    pair.hear(Hearing.NOISE, [10] * 4)
    assert pair.hear(Hearing.RINGING, [10])["decay_level"] == once["decay_level"]


def test_noise_that_leaps_is_not_expected_to_stay(exported):
    pair = Pair(exported)
    assert pair.hear(Hearing.NOISE, [100], burst=10)["noise_leapt"] == 0
    pair.tell("new_gain", 0)
    for level, leapt, tripled in ((19, 0, 0), (20, 1, 0), (34, 1, 0), (35, 1, 1)):
        found = pair.hear(Hearing.NOISE, [100], burst=level)
        assert found["noise_level"] == level
        assert (found["noise_leapt"], found["noise_tripled"]) == (leapt, tripled)
    pair.tell("new_gain", 0)
    assert pair.same_findings()["noise_level"] == 10 + 10 // 4 + 2


def test_a_pulse_that_is_hardly_seen_is_given_higher(exported):
    pair = Pair(exported)
    boosts = []
    for response, answer in ((100, 5), (100, 10), (100, 0), (5000, 70)):
        pair.hear(Hearing.NOISE, [100] * 4)
        pair.hear(Hearing.RINGING, [response], burst=answer)
        pair.tell("hear", Hearing.NOTHING)
        boosts.append(pair.reference.boost)
        assert pair.compiled.boost == pair.reference.boost
    assert boosts == [1, 1, 3, 2]


@pytest.mark.parametrize(
    ("ringing", "again", "steps", "expected"),
    [
        ([9000] + [700] * 12, [321] * 4, 0, 1),
        ([9000] + [700] * 12, [321, 320, 400, 400], 0, 0),  # not in every block
        ([9000] + [700] * 12, [321] * 4, 321, 0),  # no louder than steps
        ([9000] + [700] * 6 + [600] * 6, [321] * 4, 0, 0),  # it fell
        ([9000] + [639] * 12, [321] * 4, 0, 0),  # not well above silence
        ([9000, 700, 700], [321] * 4, 0, 0),  # too short to tell
    ],
)
def test_ringing_stays_where_noise_is_louder_after_it(exported, ringing, again, steps, expected):
    """Silence is 160: ringing of four times that does not fall, then noise is twice that."""
    pair = Pair(exported, steps_level=steps)
    pair.hear(Hearing.NOISE, [143] * 4)
    assert pair.hear(Hearing.RINGING, [160])["ring_level"] == LEVEL_ONE
    assert not pair.hear(Hearing.RINGING, ringing)["ringing_stays"]
    pair.hear(Hearing.MOVE, [])
    assert pair.hear(Hearing.NOISE, again)["ringing_stays"] == expected
    pair.tell("new_gain", 0)
    assert not pair.hear(Hearing.NOISE, again)["ringing_stays"]


def _listening(pair: Pair, ringing) -> int:
    """One gain more: noise of 143 (silence 160), and the answer to its pulse."""
    pair.hear(Hearing.NOISE, [143] * 4)
    pair.hear(Hearing.RINGING, ringing)
    pair.hear(Hearing.MOVE, [])
    pair.tell("new_gain", 0)
    return pair.same_findings()["ringing_stalls"]


STALLED, FALLEN = [320] + [170] * 15, [320] + [170] * 7 + [150] * 8


@pytest.mark.parametrize(
    ("gains", "expected"),
    [
        ([STALLED] * 3, [0, 0, 1]),
        ([STALLED, *[FALLEN] * 4, STALLED, *[FALLEN] * 7, STALLED], [0] * 13 + [1]),
        ([STALLED, *[FALLEN] * 4, STALLED, *[FALLEN] * 8, STALLED], [0] * 15),
        ([[319] + [170] * 15] * 4, [0] * 4),  # not well seen
        ([[320] + [170] * 14] * 4, [0] * 4),  # too short
        ([[320] + [143] * 15] * 4, [0] * 4),  # nothing left
    ],
)
def test_ringing_stalls_at_three_of_fourteen_gains(exported, gains, expected):
    pair = Pair(exported)
    assert [_listening(pair, ringing) for ringing in gains] == expected


@pytest.mark.parametrize(
    ("noise", "hidden", "expected"),
    [
        ([10, 10, 35, 52], "3 4", [0, 0, 0, 1]),  # more than 34 and 46 are leaps
        ([10, 10, 35, 52], "3", [0, 0, 0, 0]),
        ([10, 10, 41, 10, 41], "3 5", [0, 0, 0, 0, 1]),
        ([10, 10, 41, 10, 10, 41], "3 6", [0] * 6),
        ([10, 10, 41, 10, 10, 41], "3 4 5 6", [0] * 5 + [1]),
        ([10, 10, 34, 34], "3 4", [0] * 4),
    ],
)
def test_noise_that_leaps_and_hides_the_answer_twice_stalls(exported, noise, hidden, expected):
    pair = Pair(exported)
    found = []
    for gain, level in enumerate(noise, 1):
        pair.hear(Hearing.NOISE, [143] * 4, burst=level)
        pair.hear(Hearing.RINGING, [200 if str(gain) in hidden.split() else 500, 143])
        pair.tell("new_gain", 0)
        found.append(pair.same_findings()["ringing_stalls"])
    assert found == expected


@pytest.mark.parametrize(("stalled", "expected"), [(2, 1), (1, 0)])
def test_two_stalls_are_enough_where_answers_are_hidden(exported, stalled, expected):
    """Gains at which no answer is seen take nothing back, before and after four of them."""
    pair = Pair(exported)
    for _ in range(stalled):
        assert not _listening(pair, STALLED)
    assert [_listening(pair, [200]) for _ in range(6)] == [0] * 3 + [expected] * 3


def test_lower_gain_has_no_stalls_and_an_earlier_listening_counts(exported):
    """The repeated pulse is heard for too short to tell; the first one told."""
    pair = Pair(exported)
    for gain in range(3):
        pair.hear(Hearing.NOISE, [143] * 4)
        pair.hear(Hearing.RINGING, STALLED)
        assert _listening(pair, [320]) == (gain == 2)
    assert pair.same_findings()["ringing_stalls"]
    pair.tell("new_gain", 1)
    assert not pair.same_findings()["ringing_stalls"]
