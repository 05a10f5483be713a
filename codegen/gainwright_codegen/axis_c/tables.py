"""The numbers that tie a trial to one axis: gain ladders, detector settings, test pulses."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass

from gainwright.detector.design import RING_PERIODS, design_detector, design_pulse
from gainwright.detector.findings import measures_response
from gainwright.detector.response_design import SlowAxisError, design_response, response_wanted
from gainwright.detector.response_settings import ResponseSettings
from gainwright.detector.settings import LONGEST_BLOCK_TICKS, DetectorSettings, PulseSettings
from gainwright.detector.timing import DriveRatings, DriveTiming
from gainwright.errors import input_error
from gainwright.fixed.falling import FallingWords, falling_words
from gainwright.fixed.ladder import GainLadder, gain_ladder
from gainwright.language.model import Stage, Trial
from gainwright.stage_kind import PULSE_FALLS, STAGE_KINDS, StageKind

_LEAST_START = 1 / 1024
"""Lowest start value, per unit."""


@dataclass(frozen=True, slots=True)
class AxisData:
    """What an export needs to know of an axis; nothing about its mechanics behind the motor."""

    name: str
    title: str
    digest: str
    """SHA-256 (hex) of the machine description."""
    timing: DriveTiming
    ratings: DriveRatings
    start_settings: Mapping[str, float]
    """Safe start value of each drive setting by name, in its engineering unit."""
    cruise_speed_rad_per_s: float
    """Of the motor, in the constant part of moves."""


@dataclass(frozen=True, slots=True)
class StageTables:
    """Tables of one stage."""

    stage: Stage
    kind: StageKind
    base: float
    """Engineering value of one per unit of the setting."""
    ladder: GainLadder
    """Per unit."""
    detector: DetectorSettings
    pulse: PulseSettings
    response: ResponseSettings | None = None
    """None: the trial does not have the loop response measured."""

    @property
    def word_value(self) -> float:
        """Engineering value of one unit in the last place of the ladder's words."""
        return self.base * self.ladder.format.resolution

    @property
    def gains(self) -> tuple[float, ...]:
        """Engineering value of each rung, as the words give it."""
        return tuple(word * self.word_value for word in self.ladder.raw)

    @property
    def short_gains(self) -> FallingWords:
        """The ladder as an export keeps it, from the top rung down."""
        return falling_words(self.ladder.raw[::-1], (1.0 / self.stage.ratio,))

    @property
    def short_heights(self) -> FallingWords:
        """Heights of the test pulse as an export keeps them, from the lowest rung up."""
        ratios = tuple(self.stage.ratio**-power for power in PULSE_FALLS)
        return falling_words(self.pulse.heights, ratios)


def axis_tables(trial: Trial, axis: AxisData) -> tuple[StageTables, ...]:
    """Return the tables of every stage.

    Raises:
        InputError: a stage tunes a setting that no drive has, the axis gives it no start value, or
            its drive is so slow that the detector's blocks would be too long.
    """
    return tuple(_stage_tables(trial, stage, axis) for stage in trial.stages)


def _check_timing(axis: AxisData, kind: StageKind) -> None:
    lowest_hz = kind.lowest_oscillation_hz(axis.timing)
    period_ticks = 1 / (lowest_hz * axis.timing.control_tick_s)
    longest_ticks = LONGEST_BLOCK_TICKS / RING_PERIODS
    if period_ticks > longest_ticks:
        raise input_error(
            axis.name,
            "drive timing",
            f"the lowest frequency at which the loop can oscillate, {lowest_hz:.3g} Hz, has a "
            f"period of {period_ticks:.0f} control ticks",
            f"at most {longest_ticks:.0f} control ticks, as the detector sums {RING_PERIODS} "
            f"periods in blocks of at most {LONGEST_BLOCK_TICKS}",
            "lengthen the control tick, or shorten the speed filter or the current loop",
        )


def _stage_tables(trial: Trial, stage: Stage, axis: AxisData) -> StageTables:
    kind = _kind(trial, stage)
    _check_timing(axis, kind)
    start = kind.start(axis.timing, axis.start_settings.get(kind.setting, 0.0))
    if not start > 0.0:
        raise input_error(
            axis.name,
            f"start value of {kind.setting}",
            f"{start}",
            f"above 0 {kind.unit}: stage {stage.name} of {trial.name} raises it from there",
            "give the machine description a start value, or choose a trial without this stage",
        )
    base = kind.base(axis.ratings)
    _check_start(trial, stage, kind, axis, start)
    ladder = _ladder(trial, stage, start / base)
    values = tuple(base * value for value in ladder.values())
    speed = axis.cruise_speed_rad_per_s
    detector = design_detector(kind, stage, axis.timing, axis.ratings, speed)
    return StageTables(
        stage=stage,
        kind=kind,
        base=base,
        ladder=ladder,
        detector=detector,
        pulse=design_pulse(kind, stage, axis.timing, axis.ratings, values),
        response=_response(trial, stage, kind, axis, detector, start),
    )


def _check_start(trial: Trial, stage: Stage, kind: StageKind, axis: AxisData, start: float) -> None:
    """Refuse a gain that leaves next to nothing of a Q4.24 signal."""
    base = kind.base(axis.ratings)
    if start < _LEAST_START * base:
        raise input_error(
            axis.name,
            f"start value of {kind.setting}",
            f"{start:.3g} {kind.unit}, {start / base:.3g} per unit",
            f"at least {_LEAST_START * base:.3g} {kind.unit}: stage {stage.name} of {trial.name} "
            "would begin where a signal of 1.0 per unit gives less than 0.001",
            "check the unit of the start value, or start from a higher one",
        )


def _ladder(trial: Trial, stage: Stage, start: float) -> GainLadder:
    try:
        return gain_ladder(start, stage.ratio, stage.rungs)
    except ValueError:
        most = _most_rungs(start, stage)
        span = stage.ratio ** (stage.rungs - 1)
        raise input_error(
            trial.name,
            f"stage {stage.name}",
            f"{stage.rungs} rungs of ratio {stage.ratio:g}, which climb by {span:.3g}, from "
            f"{start:.4g} per unit",
            f"a ladder whose lowest rungs still differ in 32 bits: at most {most} rungs of this "
            "ratio",
            "use fewer rungs or a smaller ratio",
        ) from None


def _most_rungs(start: float, stage: Stage) -> int:
    for rungs in range(stage.rungs - 1, 0, -1):
        with suppress(ValueError):
            gain_ladder(start, stage.ratio, rungs)
            return rungs
    return 0


def _response(
    trial: Trial,
    stage: Stage,
    kind: StageKind,
    axis: AxisData,
    detector: DetectorSettings,
    start: float,
) -> ResponseSettings | None:
    if not measures_response(trial):
        return None
    wanted = response_wanted(trial, stage)
    speed = axis.cruise_speed_rad_per_s
    try:
        return design_response(
            wanted, kind, stage, axis.timing, axis.ratings, detector, speed, start
        )
    except SlowAxisError as error:
        raise input_error(
            axis.name,
            "cruise speed",
            f"{speed:.3g} rad/s of the motor",
            f"at least {error.least_speed_rad_per_s:.3g} rad/s: the test signal of {trial.name} "
            "follows it, and would be none",
            "let the axis move faster, or choose a trial without a test signal",
        ) from None


def _kind(trial: Trial, stage: Stage) -> StageKind:
    kind = STAGE_KINDS.get(stage.name)
    if kind is None:
        raise input_error(
            trial.name,
            f"stage {stage.name}",
            stage.name,
            f"one of: {', '.join(STAGE_KINDS)}",
            "name the stage after the drive setting that it raises",
        )
    return kind
