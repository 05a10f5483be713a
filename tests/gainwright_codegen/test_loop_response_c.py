"""The exported loop-response measurement against its Python twin, bit for bit; no overflow."""

from __future__ import annotations

import math
import random
from functools import cache

import numpy as np
import pytest

from gainwright.detector.loop_response import ReferenceLoopResponse
from gainwright.detector.response_settings import (
    CROSSINGS,
    PERIODS_MAX,
    POINTS,
    RESPONSE_FINDINGS,
    SHAPE_STEPS,
    SPREAD_MAX,
    ResponseSettings,
    is_noise_line,
)
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.axis_c.response import RESPONSE_SCALARS
from gainwright_codegen.axis_c.tables import axis_tables
from gainwright_codegen.host import compile_and_load, read_sources
from gainwright_codegen.sources import RUNTIME_DIRECTORY
from gainwright_sim.campaign.families import FAMILIES
from gainwright_sim.campaign.sampling import sample
from gainwright_sim.rig.axis import axis_data

_FILES = tuple(
    f"gw_loop_{part}.{kind}"
    for part in ("crossings", "margins", "response", "transform")
    for kind in "hc"
)
SANITIZED = ("-O1", "-fsanitize=undefined", "-fno-sanitize-recover=undefined")


class Compiled:
    """The exported measurement, one sample at a time."""

    def __init__(self, settings: ResponseSettings, flags: tuple[str, ...] = ("-O2",)) -> None:
        sources = read_sources(RUNTIME_DIRECTORY, "gw_fixed.h", *_FILES)
        self.ffi, self.library = compile_and_load(
            sources, ("gw_loop_response.h", "gw_loop_margins.h"), flags, name="lr"
        )
        self._kept = (
            self.ffi.new("int8_t[]", list(settings.shape)),
            self.ffi.new("int16_t[]", [word for line in settings.lines for word in line]),
        )
        scalars = [getattr(settings, name) for name in RESPONSE_SCALARS]
        self.settings = self.ffi.new("gw_response_settings *", [*self._kept, *scalars])
        self.state = self.ffi.new("gw_loop_response *")
        self.library.gw_response_reset(self.state)

    def record(self, on: bool, rung: int) -> None:
        self.library.gw_response_record(self.state, int(on), rung)

    def sample(self, torque: int) -> int:
        given = self.library.gw_response_sample(self.state, self.settings, torque)
        if self.state.due:
            self.library.gw_response_prepare(self.state, self.settings)
        return given

    def evaluate(self) -> int:
        slices = 0
        while self.library.gw_response_pending(self.state, self.settings):
            self.library.gw_response_evaluate(self.state, self.settings)
            slices += 1
        return slices

    def findings(self, rung: int) -> dict[str, int]:
        found = self.ffi.new("int32_t[]", len(RESPONSE_FINDINGS))
        self.library.gw_response_findings(self.state, self.settings, rung, found)
        return dict(zip(RESPONSE_FINDINGS, found, strict=True))

    def inverse(self, line: int) -> tuple[int, int]:
        found = self.ffi.new("int32_t[]", 2)
        self.library.gw_response_line(self.state, self.settings, line, found)
        return found[0], found[1]


@cache
def settings_of(family: str, seed: int) -> ResponseSettings:
    trial = load_trial(shipped_trial_path("gentle"))
    found = axis_tables(trial, axis_data(sample(FAMILIES[family], seed)))[0].response
    assert found is not None
    return found


def course(settings: ResponseSettings, kind: str, ticks: int, seed: int) -> np.ndarray:
    """Return a torque command: noise, nothing, the largest there is, or an answer to the signal."""
    draw = np.random.default_rng(seed)
    if kind == "noise":
        return draw.integers(-(2**20), 2**20, ticks)
    if kind == "largest":
        return draw.choice([-(2**31), 2**31 - 1], ticks)
    if kind == "nothing":
        return np.zeros(ticks, dtype=int)
    signal = np.tile(settings.shape, ticks // len(settings.shape) + 2)[:ticks]
    answer = -0.3 * settings.step * SHAPE_STEPS * np.roll(signal, 3) + draw.normal(0, 300, ticks)
    return np.rint(answer).astype(int)


@pytest.mark.parametrize("kind", ["answer", "noise", "nothing", "largest"])
@pytest.mark.parametrize(("family", "seed"), [("own", 11), ("timing", 4)])
def test_bit_identical_with_the_twin(kind: str, family: str, seed: int) -> None:
    settings = settings_of(family, seed)
    compiled, twin = Compiled(settings), ReferenceLoopResponse(settings)
    ticks = settings.period_ticks * 4
    for run, rung in enumerate((0, 0, 12, 12)):
        torque = course(settings, kind, ticks, run)
        # The second run is cut off at once and the third in the middle of a period.
        length = (ticks, 700, ticks - 777, ticks)[run]
        for side in (compiled, twin):
            side.record(True, rung)
        given = [(compiled.sample(int(u)), twin.sample(int(u))) for u in torque[:length]]
        assert all(a == b for a, b in given)
        for side in (compiled, twin):
            side.record(False, rung)
        assert compiled.findings(rung)["evaluated"] == twin.findings(rung)["evaluated"]
        compiled.evaluate()
        twin.evaluate()
        assert compiled.findings(rung) == twin.findings(rung)
        assert compiled.state.spread == twin.spread
        assert compiled.state.limit_position == twin.limit_position
        assert compiled.state.result_position == twin.result_position
    lines = range(settings.first_line, settings.last_line + 1)
    assert [compiled.inverse(k) for k in lines] == [twin.inverse(k) for k in lines]


def test_the_evaluation_is_sliced() -> None:
    settings = settings_of("own", 11)
    compiled = Compiled(settings)
    compiled.record(True, 0)
    for torque in course(settings, "answer", 4 * settings.period_ticks, 1):
        compiled.sample(int(torque))
    compiled.record(False, 0)
    # Levelling and scaling 512 points by 32, 1024 butterflies by 8, a line without excitation each,
    # then every line, the conclusion.
    assert compiled.evaluate() == 16 + 16 + 128 + 64 + settings.last_line + 2


@pytest.mark.parametrize(("times", "shaken"), [(0.8, False), (1.25, True)])
def test_a_motor_that_is_shaken_too_much_is_measured_again_with_half(times, shaken) -> None:
    """A sine in the torque command whose speed lies on either side of what the trial allows."""
    settings = settings_of("own", 11)
    compiled, twin = Compiled(settings), ReferenceLoopResponse(settings)
    # Points are in Q4.20, samples in Q4.24; the sine lies on line 60.
    torque = math.sqrt(2.0) * 16.0 * times * 2.0 ** (settings.shaken / settings.octave)
    ticks = 4 * settings.period_ticks
    angles = 2.0 * np.pi * 60 * np.arange(ticks) / settings.period_ticks
    for side in (compiled, twin):
        side.record(True, 0)
        for sample_ in np.rint(torque * np.sin(angles)).astype(int):
            side.sample(int(sample_))
        side.record(False, 0)
        side.evaluate()
    assert settings.stride == 1
    assert compiled.state.most_eighths == twin.most_eighths == (4 if shaken else 8)
    assert compiled.findings(0) == twin.findings(0)
    for side in (compiled, twin):
        side.record(True, 0)
        side.sample(0)
        side.sample(0)
        side.sample(0)
    assert compiled.state.eighths == twin.eighths == (4 if shaken else 8)


def answer(settings: ResponseSettings, share: float, late: float) -> np.ndarray:
    """Return a period of a torque command, behind the high-pass: a share of D / 8, and late."""
    assert settings.stride == 1
    spectrum = np.zeros(POINTS // 2 + 1, dtype=complex)
    for line, word in enumerate(settings.lines, settings.first_line):
        turn = np.exp(-2j * np.pi * line * late / POINTS)
        spectrum[line] = 0.0 if is_noise_line(line) else complex(*word) * turn
    return -2.0 * share * 2.0**settings.exponent * np.fft.irfft(spectrum, POINTS)


def measured(settings: ResponseSettings, shares: list[float]) -> ReferenceLoopResponse:
    """Return the twin after measurements in which the loop answers by these shares."""
    twin = ReferenceLoopResponse(settings)
    for share in shares:
        twin.record(True, 0)
        comes = answer(settings, share, 4.0)
        for _ in range(8 * settings.period_ticks):
            twin.sample(round(comes[twin.tick] * twin.eighths))
        twin.record(False, 0)
        twin.evaluate()
    return twin


def test_what_depends_on_the_height_of_the_test_signal_is_no_prediction() -> None:
    """Planted: the limit seems 1.5 times as high whenever the test signal has its full height."""
    settings = settings_of("own", 11)
    linear = measured(settings, [0.3] * 4)
    assert linear.agreeing == 4
    assert linear.eighths == 4, "every other measurement has half of it"
    bent = measured(settings, [0.3, 0.2, 0.3, 0.2, 0.3])
    assert bent.agreeing == 1
    assert bent.spread == SPREAD_MAX


def test_a_known_loop_is_found() -> None:
    """U = -g D delayed by n ticks, W = U + D: L = -U / W is known at every line."""
    settings = settings_of("own", 11)
    compiled, delay, share = Compiled(settings), 3, 0.3
    compiled.record(True, 0)
    assert [compiled.sample(0) for _ in range(2)] == [0, 0]
    settling = settings.period_ticks - settings.settle_ticks
    for torque in course(settings, "answer", 6 * settings.period_ticks, 1)[settling:]:
        compiled.sample(int(torque))
    compiled.record(False, 0)
    compiled.evaluate()
    # The torque command is taken as behind the high-pass, whose share of D is in the lines.
    for k in (settings.first_line + 5, 61, 97):
        line = complex(*settings.lines[k - settings.first_line]) * 2.0**settings.exponent
        raw = np.fft.fft(np.array(settings.shape) * settings.step * SHAPE_STEPS / 16)[k]
        answer = -share * raw * np.exp(-2j * np.pi * k * delay / POINTS)
        expected = 1.0 + line / answer
        found = complex(*compiled.inverse(k)) / 4096.0
        assert abs(found - expected) < 0.02 * abs(expected)


def test_no_overflow_whatever_the_memory_holds() -> None:
    settings = settings_of("own", 11)
    compiled = Compiled(settings, SANITIZED)
    draw = random.Random(5)
    extremes = [0, 1, -1, 7, 255, 2**31 - 1, -(2**31), 2**20, -(2**27)]
    names = [name for name, kind in compiled.ffi.typeof("gw_loop_response").fields
             if kind.type.kind == "primitive"]  # fmt: skip
    for _ in range(4000):
        state = compiled.state
        for name in names:
            pick = draw.choice(extremes) if draw.random() < 0.5 else draw.getrandbits(32) - 2**31
            setattr(state, name, pick)
        for i in range(2):
            state.noise_lines[i] = draw.choice(extremes)
            state.noise_most[i] = draw.choice(extremes)
            state.noise[i] = draw.getrandbits(64) - 2**63
        for i in draw.sample(range(POINTS), 40):
            state.point[i] = draw.choice(extremes)
        for i in range(CROSSINGS):
            state.crossing[i] = draw.choice(extremes)
            state.crossing_line[i] = draw.choice(extremes)
            state.crossing_noise[i] = draw.choice(extremes)
            state.known[i] = draw.choice(extremes)
            state.known_line[i] = draw.choice(extremes)
        state.slice = draw.randrange(0, 500)
        torque = compiled.sample(draw.choice(extremes))
        assert abs(torque) <= 127 * SHAPE_STEPS * settings.step
        if draw.random() < 0.7:
            state.recording, state.evaluated, state.periods = 0, 0, draw.randrange(2, 40)
        compiled.library.gw_response_evaluate(state, compiled.settings)
        found = compiled.findings(draw.choice(extremes))
        assert 0 <= found["measured_periods"] <= PERIODS_MAX
        assert abs(found["rungs_to_limit"]) <= 127
        compiled.record(draw.random() < 0.5, draw.choice(extremes))
        compiled.inverse(draw.choice(extremes))
