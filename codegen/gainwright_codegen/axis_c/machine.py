"""Turns the tables of an axis into the objects of ``gw_machine.c``."""

from __future__ import annotations

from collections.abc import Sequence

from gainwright.detector.evidence import FINDINGS
from gainwright.detector.settings import DetectorSettings, LevelSettings
from gainwright.fixed.biquad_quantise import response_error
from gainwright.language.model import Signal, Trial
from gainwright_codegen.axis_c.layout import MachineConstant, MachineTable, MachineTables
from gainwright_codegen.axis_c.tables import AxisData, StageTables, axis_tables

CONTROL_TICKS = "GW_CONTROL_TICKS_PER_SEQUENCER_TICK"
_PER_STAGE = "GW_STAGE_SLOTS"
_PER_RUNG = "GW_RUNG_COUNT_MAX"
_BINDINGS = (
    ("gw_pulse_request_output", "pulse_request", "Output that asks for a test pulse"),
    ("gw_hearing_output", "hearing", "Output that says what blocks belong to"),
    ("gw_active_stage_output", "active_stage", "Output that says which stage is tuned"),
)


def control_ticks(trial: Trial, axis: AxisData) -> int:
    """Return how many control ticks a sequencer tick has, at least 1."""
    return max(1, round(trial.tick_us * 1e-6 / axis.timing.control_tick_s))


def machine_tables(trial: Trial, axis: AxisData) -> MachineTables:
    """Return all of ``gw_machine.*``; errors as :func:`axis_tables`."""
    stages = axis_tables(trial, axis)
    return MachineTables(
        name=axis.name,
        title=axis.title,
        digest=axis.digest,
        control_tick_us=round(axis.timing.control_tick_s * 1e6, 6),
        rated_torque_nm=axis.ratings.rated_torque_nm,
        top_speed_rad_per_s=axis.ratings.top_speed_rad_per_s,
        includes=("gw_detector.h", "gw_evidence.h", "gw_pulse.h", "gw_trial.h"),
        constants=(
            MachineConstant(_PER_RUNG, most_rungs(trial), "Longest gain ladder of all stages."),
            MachineConstant(
                CONTROL_TICKS,
                control_ticks(trial, axis),
                "Control ticks from one sequencer tick to the next.",
            ),
            *(_gain_format(stage) for stage in stages),
        ),
        trial_digest=trial.digest,
        tables=(
            *(_binding(trial, *names) for names in _BINDINGS),
            _finding_inputs(trial),
            *_stage_objects(axis, stages),
        ),
    )


def _gain_format(stage: StageTables) -> MachineConstant:
    return MachineConstant(
        f"GW_GAIN_FRACTION_BITS_{stage.stage.name.upper()}",
        stage.ladder.format.fraction_bits,
        f"{stage.stage.title}: fraction bits of the words of its ladder, which differ from export "
        f"to export; 1.0 is {stage.base:.9g} {stage.kind.unit}.",
    )


def most_rungs(trial: Trial) -> int:
    """Return the number of rungs of the longest ladder, 1 without stages."""
    return max((stage.rungs for stage in trial.stages), default=1)


def _binding(trial: Trial, name: str, signal: str, meaning: str) -> MachineTable:
    place = _place(trial.outputs, signal)
    return MachineTable("int32_t", name, place, f"{meaning}; -1: the trial has none.")


def _finding_inputs(trial: Trial) -> MachineTable:
    return MachineTable(
        "int32_t",
        "gw_finding_input",
        tuple(_place(trial.inputs, name) for name in FINDINGS),
        "Input that takes each finding of the detector; -1: the trial has none.",
        ("GW_FINDING_COUNT",),
    )


def _place(signals: Sequence[Signal], name: str) -> int:
    names = [signal.name for signal in signals]
    return names.index(name) if name in names else -1


def _stage_objects(axis: AxisData, stages: Sequence[StageTables]) -> list[MachineTable]:
    rungs = max((len(stage.ladder.raw) for stage in stages), default=1)
    ladders = tuple(_filled(stage.ladder.raw, rungs) for stage in stages)
    heights = tuple(_filled(stage.pulse.heights, rungs) for stage in stages)
    shapes = [_shape(number, stage) for number, stage in enumerate(stages)]
    return [
        _per_stage(
            "int32_t", "gw_gain_ladder", ladders or ((0,),), _notes(stages, _ladder_note), _PER_RUNG
        ),
        _per_stage(
            "gw_detector_settings",
            "gw_stage_detector",
            tuple(_detector(stage.detector) for stage in stages) or (_NO_DETECTOR,),
            " ".join(_detector_note(axis, stage) for stage in stages) or "No stage.",
        ),
        *shapes,
        _per_stage(
            "gw_pulse_shape",
            "gw_stage_pulse",
            tuple(
                (shape.name, len(stage.pulse.shape))
                for shape, stage in zip(shapes, stages, strict=True)
            )
            or (("0", 0),),
            "Test pulse of each stage: shape and its length in control ticks.",
        ),
        _per_stage(
            "int32_t",
            "gw_pulse_height",
            heights or ((0,),),
            _notes(stages, _height_note),
            _PER_RUNG,
        ),
    ]


_NO_DETECTOR = (((0, 0, 0),) * 2, (1, 0, 1), (1, 0, 1))


def _per_stage(  # type: ignore[no-untyped-def]
    c_type: str, name: str, values, comment: str, *further_extents: str
) -> MachineTable:
    extents = (_PER_STAGE, *further_extents)
    return MachineTable(c_type, name, values, comment, extents, replaceable=True)


def _filled(values: tuple[int, ...], length: int) -> tuple[int, ...]:
    """Shorter ladders are filled up with their last value."""
    return values + (values[-1],) * (length - len(values))


def _notes(stages, note) -> str:  # type: ignore[no-untyped-def]
    return " ".join(note(stage) for stage in stages) or "No stage."


def _ladder_note(stage: StageTables) -> str:
    return (
        f"{stage.stage.title}, gain of each rung: {stage.ladder.format}, per unit of "
        f"{stage.kind.per_unit_of}; one unit is {stage.base:.9g} {stage.kind.unit}. From "
        f"{stage.gains[0]:.6g} to {stage.gains[-1]:.6g} {stage.kind.unit} by a ratio of "
        f"{stage.stage.ratio:g}; relative error at most {stage.ladder.relative_error_bound:.2g}."
    )


def _height_note(stage: StageTables) -> str:
    highest, lowest = (f(stage.pulse.heights) / 2**24 for f in (max, min))
    return (
        f"{stage.stage.title}, height of the test pulse at each rung: Q4.24 per unit of rated "
        f"torque, error at most 2^-25; from {highest:.4f} down to {lowest:.4f}."
    )


def _detector_note(axis: AxisData, stage: StageTables) -> str:
    rate_hz, corner_hz = 1.0 / axis.timing.control_tick_s, stage.detector.corner_hz
    error = response_error(stage.detector.quantised, rate_hz, corner_hz / 2, 0.49 * rate_hz)
    return (
        f"{stage.stage.title}: high-pass from {corner_hz:.1f} Hz in two sections, Q1.30, b0 a1 a2 "
        f"with a1 and a2 negated; quantising changes its response above half that frequency "
        f"by at most {error.largest_db:.2g} dB. Then block length in control ticks, shift and "
        "scale of the ring level (speed error), and the same of the burst level (torque command)."
    )


def _detector(settings: DetectorSettings):  # type: ignore[no-untyped-def]
    return (
        settings.words,
        _level(settings.ring),
        _level(settings.burst),
    )


def _level(settings: LevelSettings) -> tuple[int, ...]:
    return (settings.block_ticks, settings.shift, settings.scale)


def _shape(number: int, stage: StageTables) -> MachineTable:
    return MachineTable(
        "int16_t",
        f"pulse_shape_{number}",
        stage.pulse.shape,
        f"{stage.stage.title}, shape of the test pulse: Q0.15, one sample per control tick.",
        (str(len(stage.pulse.shape)),),
        private=True,
    )
