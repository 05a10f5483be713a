"""A probe axis: any trial's stages on a drive so fast that every block of the detector fits a tick.

Invented numbers; nothing about a machine is claimed. The control tick is 1/250 of the sequencer
tick, so that a signal held over one sequencer tick fills three whole blocks of the ring level.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from gainwright.detector.findings import trial_findings
from gainwright.detector.timing import DriveRatings, DriveTiming
from gainwright.language.model import Stage, Trial
from gainwright.stage_kind import STAGE_KINDS
from gainwright_codegen.axis_c.tables import AxisData, StageTables
from gainwright_codegen.c_text import array

CONTROL_TICKS = 250
_START, _LIGHT, _RATED_TORQUE = 0.05, 0.2, 10.0
PULSE_OUTPUT, STAGE_OUTPUT, HEARING_OUTPUT = "pulse_request", "active_stage", "hearing"


def probe_axis(trial: Trial) -> AxisData:
    """Return the axis."""
    tick_s = trial.tick_us * 1e-6 / CONTROL_TICKS
    timing = DriveTiming(tick_s, 1, 0.0, 0.0)
    top_speed = 0.01 / tick_s
    # So light that the height of the pulse falls from rung to rung: a wrong rung then shows.
    inertia = _LIGHT * _START * _RATED_TORQUE / top_speed * tick_s
    ratings = DriveRatings(_RATED_TORQUE, 2 * _RATED_TORQUE, top_speed, 1 << 14, inertia)
    start = {name: _START * kind.base(ratings) for name, kind in STAGE_KINDS.items()}
    # No cruise speed bounds the test signal: it would be none on an axis so light.
    return AxisData("probe", "Probe for the lockstep", "0" * 64, timing, ratings, start, math.inf)


def probe_trial(trial: Trial) -> Trial:
    """Return the trial with flat ladders: which gain a rung has does not matter, and all fit."""
    return replace(trial, stages=tuple(_flat(stage) for stage in trial.stages))


FLAT_RATIO = 1.02


def _flat(stage: Stage) -> Stage:
    """Return a stage with a flat ladder and, in rungs, the same margin."""
    ratio = min(stage.ratio, FLAT_RATIO)
    rungs = math.ceil(stage.margin_rungs * math.log(stage.ratio) / math.log(ratio) - 1e-9)
    return replace(stage, ratio=ratio, margin_rungs=rungs)


def lockstep_tables(trial: Trial, machine: str, stages: Sequence[StageTables]) -> str:
    """Return ``lockstep_tables.h``: what the model knows, from the tables before they were C.

    ``machine`` is the C name of the probe's object.
    """
    outputs = [output.name for output in trial.outputs]
    numbers = {
        "GL_CONTROL_TICKS": CONTROL_TICKS,
        "GL_PULSE_OUTPUT": _place(outputs, PULSE_OUTPUT),
        "GL_STAGE_OUTPUT": _place(outputs, STAGE_OUTPUT),
        "GL_STAGES": len(stages),
    }
    tables = {
        "int32_t gl_ladder": [table.ladder.raw for table in stages] or [(0,)],
        "int32_t gl_height": [table.pulse.heights for table in stages] or [(0,)],
        "int32_t gl_pulse_shape": [table.pulse.shape for table in stages] or [(0,)],
        "int32_t gl_signal": [_signal(table) for table in stages] or [(0,)],
    }
    lines = [f'#include "{machine}.h"', f"#define GL_MACHINE {machine}"]
    lines += [f"#define {name} ({value})" for name, value in numbers.items()]
    for name, rows in tables.items():
        widest = max(map(len, rows))
        text = array([array([str(value) for value in row]) for row in rows])
        lines.append(f"static const {name}[{len(rows)}][{widest}] = {text};")
    single = {
        "gl_signal_step": [_signal_step(table) for table in stages] or [0],
        "gl_signal_ticks": [len(_signal(table)) for table in stages] or [1],
        "gl_pulse_ticks": [len(table.pulse.shape) for table in stages] or [0],
        "gl_is_finding": [int(s.name in trial_findings(trial)) for s in trial.inputs] or [0],
        "gl_rung_output": [outputs.index(table.stage.rung) for table in stages] or [0],
    }
    for name, values in single.items():
        text = array([str(value) for value in values])
        lines.append(f"static const int32_t {name}[{len(values)}] = {text};")
    return "\n".join([*lines, ""])


def _signal(table: StageTables) -> tuple[int, ...]:
    """Return the test signal of a loop response; one 0 where it is not measured."""
    return (0,) if table.response is None else table.response.shape


def _signal_step(table: StageTables) -> int:
    return 0 if table.response is None else table.response.step


def _place(names: Sequence[str], name: str) -> int:
    return names.index(name) if name in names else -1
