"""Turns the tables of an axis into the objects of ``gw_machine_NAME.c``."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from gainwright.detector.settings import LevelSettings
from gainwright.fixed.biquad_quantise import response_error
from gainwright.fixed.falling import FallingWords
from gainwright.language.model import Trial
from gainwright_codegen.axis_c.layout import MachineConstant, MachineTable, MachineTables
from gainwright_codegen.axis_c.response import response_arrays, response_initialiser
from gainwright_codegen.axis_c.tables import AxisData, StageTables, axis_tables
from gainwright_codegen.axis_c.text import bits, number, unsigned


def control_ticks(trial: Trial, axis: AxisData) -> int:
    """Return how many control ticks a sequencer tick has, at least 1."""
    return max(1, round(trial.tick_us * 1e-6 / axis.timing.control_tick_s))


def machine_tables(trial: Trial, axis: AxisData) -> MachineTables:
    """Return all of ``gw_machine_NAME.*``; errors as :func:`axis_tables`."""
    stages = axis_tables(trial, axis)
    tables = MachineTables(
        name=axis.name,
        title=axis.title,
        digest=axis.digest,
        control_tick_us=round(axis.timing.control_tick_s * 1e6, 6),
        rated_torque_nm=axis.ratings.rated_torque_nm,
        top_speed_rad_per_s=axis.ratings.top_speed_rad_per_s,
        includes=("gw_axis.h",),
        constants=(),
        trial_digest=trial.digest,
        tables=(),
    )
    constants = _constants(tables.prefix, trial, axis, stages)
    return replace(
        tables,
        constants=constants,
        checks=_checks(constants[0].name),
        tables=_stage_objects(tables, axis, stages),
    )


def _constants(
    prefix: str, trial: Trial, axis: AxisData, stages: Sequence[StageTables]
) -> tuple[MachineConstant, ...]:
    return (
        MachineConstant(
            f"{prefix}_CONTROL_TICKS",
            control_ticks(trial, axis),
            "Control ticks from one sequencer tick to the next.",
        ),
        MachineConstant(
            f"{prefix}_CONTROL_TICK_NS", round(axis.timing.control_tick_s * 1e9), "Control tick."
        ),
        MachineConstant(
            f"{prefix}_RATED_TORQUE_UNM",
            round(axis.ratings.rated_torque_nm * 1e6),
            "What 1.0 of torque is, in uN m.",
        ),
        MachineConstant(
            f"{prefix}_TOP_SPEED_URAD_PER_S",
            round(axis.ratings.top_speed_rad_per_s * 1e6),
            "What 1.0 of speed is, in urad/s.",
        ),
        *(
            MachineConstant(
                f"{prefix}_{stage.stage.name.upper()}_FRACTION_BITS",
                stage.ladder.format.fraction_bits,
                f"{stage.stage.title}: fraction bits of the words of its ladder, which differ "
                f"from export to export; 1.0 is {stage.base:.9g} {stage.kind.unit}.",
            )
            for stage in stages
        ),
    )


def _checks(ticks: str) -> tuple[str, ...]:
    return (
        f"#if ({ticks} < 1) || ({ticks} > GW_CONTROL_TICKS_MAX)",
        '#error "this many control ticks in a sequencer tick cannot be counted"',
        "#endif\n",
    )


def _stage_objects(
    machine: MachineTables, axis: AxisData, stages: Sequence[StageTables]
) -> tuple[MachineTable, ...]:
    arrays = [
        table
        for k, stage in enumerate(stages)
        for table in (*_arrays(k, stage), *response_arrays(k, stage))
    ]
    values = [_stage(machine.prefix, k, stage) for k, stage in enumerate(stages)] or [_NO_STAGE]
    if not stages:
        arrays = [MachineTable("uint32_t", "nothing", (0,), "No stage.", ("1",), private=True)]
    fields = [
        f".name = {machine.prefix}_NAME, .digest = {machine.prefix}_DIGEST",
        f".control_ticks = {machine.prefix}_CONTROL_TICKS",
        f".control_tick_ns = {machine.prefix}_CONTROL_TICK_NS",
        f".rated_torque_unm = {machine.prefix}_RATED_TORQUE_UNM",
        f".top_speed_urad_per_s = {machine.prefix}_TOP_SPEED_URAD_PER_S",
        ".stage = {\n        " + ",\n        ".join(values) + "}",
    ]
    notes = " ".join(_detector_note(axis, stage) for stage in stages)
    return (
        *arrays,
        MachineTable(
            "gw_machine",
            machine.object,
            "{\n    " + ",\n    ".join(fields) + "}",
            f"All that an axis needs to know of {machine.name}. {notes}".strip(),
        ),
    )


def _arrays(place: int, stage: StageTables) -> tuple[MachineTable, ...]:
    gains, heights = stage.short_gains, stage.short_heights
    own = [("uint32_t", "pulse_height_within", unsigned(heights.within), _ROOT_NOTE)]
    return tuple(
        MachineTable(c_type, f"{name}_{place}", values, note, (str(len(values)),), private=True)
        for c_type, name, values, note in (
            ("uint32_t", "gain_step", unsigned(gains.steps), _ladder_note(stage)),
            ("uint32_t", "gain_within", unsigned(gains.within), "Powers of the ratio, Q0.32."),
            ("uint32_t", "gain_one_more", bits(gains.one_more), _ONE_MORE_NOTE),
            ("uint32_t", "pulse_height_step", unsigned(heights.steps), _height_note(stage)),
            *(own if heights.within != gains.within else []),
            ("uint32_t", "pulse_height_one_more", bits(heights.one_more), _ONE_MORE_NOTE),
            ("int16_t", "pulse_shape", stage.pulse.shape, _shape_note(stage)),
        )
    )


_ONE_MORE_NOTE = "A bit for each of these words that is one more than the product rounded down."
_ROOT_NOTE = "Powers of the square root of the ratio, Q0.32."


def _ladder(name: str, within: str, place: int, words: FallingWords) -> str:
    """Return the initialiser of a ``gw_ladder``."""
    return (
        f"{{.step = {name}_step_{place}, .within = {within}_within_{place},\n"
        f"                  .one_more = {name}_one_more_{place}, .shift = {words.shift}U, "
        f".most = UINT32_C({words.most})}}"
    )


def _stage(prefix: str, place: int, stage: StageTables) -> str:
    """Return the initialiser of a ``gw_machine_stage``."""
    bits = f"{prefix}_{stage.stage.name.upper()}_FRACTION_BITS"
    settings = stage.detector
    gains, heights = stage.short_gains, stage.short_heights
    within = "gain" if heights.within == gains.within else "pulse_height"
    sections = (",\n" + " " * 34).join(_words(words) for words in settings.words)
    return (
        f"{{.gain = {_ladder('gain', 'gain', place, gains)},\n"
        f"         .pulse_height = {_ladder('pulse_height', within, place, heights)},\n"
        f"         .rungs = {len(stage.ladder.raw)},\n"
        f"         .gain_fraction_bits = {bits},\n"
        f"         .pulse = {{pulse_shape_{place}, {len(stage.pulse.shape)}}},\n"
        f"         .detector = {{.section = {{{sections}}},\n"
        f"                      .ring = {_level(settings.ring)},\n"
        f"                      .burst = {_level(settings.burst)},\n"
        f"                      .swing_level = {number(settings.swing_level)}, "
        f".steps_level = {number(settings.steps_level)}}}"
        f"{response_initialiser(place, stage)}}}"
    )


_NO_STAGE = (
    "{.gain = {nothing, nothing, nothing, 0U, 1U},\n"
    "         .pulse_height = {nothing, nothing, nothing, 0U, 1U},\n"
    "         .rungs = 1, .gain_fraction_bits = 0,\n"
    "         .pulse = {0, 0},\n"
    "         .detector = {.section = {{0, 0, 0}, {0, 0, 0}}, .ring = {1, 0U, 1},\n"
    "                      .burst = {1, 0U, 1}, .swing_level = 0,\n"
    "                      .steps_level = 0}}"
)


def _words(words: Iterable[int]) -> str:
    return "{" + ", ".join(number(word) for word in words) + "}"


def _level(settings: LevelSettings) -> str:
    return (
        f"{{.block_ticks = {settings.block_ticks}, .shift = {settings.shift}U, "
        f".scale = {number(settings.scale)}}}"
    )


def _shape_note(stage: StageTables) -> str:
    return f"{stage.stage.title}, shape of the test pulse: Q0.15, one sample per control tick."


def _ladder_note(stage: StageTables) -> str:
    return (
        f"{stage.stage.title}, gain of each rung: {stage.ladder.format}, per unit of "
        f"{stage.kind.per_unit_of}; one unit is {stage.base:.9g} {stage.kind.unit}. From "
        f"{stage.gains[0]:.6g} to {stage.gains[-1]:.6g} {stage.kind.unit} by a ratio of "
        f"{stage.stage.ratio:g}; relative error at most {stage.ladder.relative_error_bound:.2g}. "
        f"Kept as gw_ladder.h says, from the top down; the words, lowest rung first: "
        f"{_listed(stage.ladder.raw)}."
    )


def _height_note(stage: StageTables) -> str:
    highest, lowest = (f(stage.pulse.heights) / 2**24 for f in (max, min))
    return (
        f"{stage.stage.title}, height of the test pulse at each rung: Q4.24 per unit of rated "
        f"torque, error at most 2^-25; from {highest:.4f} down to {lowest:.4f}. Kept as "
        f"gw_ladder.h says; the words, lowest rung first: {_listed(stage.pulse.heights)}."
    )


def _listed(words: Sequence[int]) -> str:
    return ", ".join(map(str, words))


def _detector_note(axis: AxisData, stage: StageTables) -> str:
    rate_hz, corner_hz = 1.0 / axis.timing.control_tick_s, stage.detector.corner_hz
    error = response_error(stage.detector.quantised, rate_hz, corner_hz / 2, 0.49 * rate_hz)
    return (
        f"{stage.stage.title}: high-pass from {corner_hz:.1f} Hz in two sections, Q1.30, b0 a1 a2 "
        f"with a1 and a2 negated; quantising changes its response above half that frequency "
        f"by at most {error.largest_db:.2g} dB. Then block length in control ticks, shift and "
        "scale of the ring level (speed error), the same of the burst level (torque command), and "
        "the ring levels above which the speed itself swings and up to which encoder steps rise."
    )
