"""The picture of what tuning changed: a step of the position, and a move, before and after."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from gainwright.picture import legend_above, new_figure, save, tidy
from gainwright_sim.machine import Machine
from gainwright_sim.machine.model import start_settings
from gainwright_sim.rehearsal.rehearse import Rehearsal
from gainwright_sim.theory.response import Response, move_response, step_response

STEP_TIME_CONSTANTS, STEP_S_MAX, REST_S = 6.0, 3.0, 1.0
"""How long a step is looked at: times the slower 1 / position gain, and at most."""
DISTANCE_SHARE = 0.5
"""Distance of the move, of the travel window."""
COLOURS = {"before": "#9e9e9e", "after": "#1f4e79"}


def save_responses(path: Path, rehearsal: Rehearsal) -> None:
    """Save the picture as PNG: with the machine's own start settings, and with what was chosen."""
    machine = rehearsal.machine
    own = start_settings(machine)
    settings = {"before": own, "after": {**own, **rehearsal.settings(-1)}}
    figure = new_figure(11.5, 7.0)
    axes = figure.subplots(2, 2, sharex="col")
    slowest = min(values["position_gain"] for values in settings.values())
    step_s = min(STEP_TIME_CONSTANTS / slowest, STEP_S_MAX)
    for name, values in settings.items():
        step = step_response(machine, values, step_s)
        _lines(axes[:, 0], step, name, 1.0, step.motor_rad, step.load_rad)
        move = move_response(
            machine, values, DISTANCE_SHARE * machine.motion.travel_window_rad, REST_S
        )
        behind = (move.reference_rad - angle for angle in (move.motor_rad, move.load_rad))
        _lines(axes[:, 1], move, name, _per_unit(machine), *behind)
    _label(axes, machine)
    figure.suptitle(
        f"{machine.name}: before (start settings) and after; linear loop, without friction",
        x=0.01, ha="left", fontsize=11,
    )  # fmt: skip
    save(figure, path)


def _per_unit(machine: Machine) -> float:
    """Return mm per rad of a load that moves along a line, else mrad per rad."""
    metres = machine.motor_rad_per_load_m
    return 1e3 if metres is None else 1e3 / metres


def _lines(axes: Any, response: Response, name: str, scale: float, motor: Any, load: Any) -> None:
    for axis, values in zip(axes, (motor, load), strict=True):
        axis.plot(response.time_s, scale * values, color=COLOURS[name], lw=1.2, label=name)


def _label(axes: Any, machine: Machine) -> None:
    unit = "mrad" if machine.motor_rad_per_load_m is None else "mm"
    for line, part in enumerate(("motor", "load")):
        axes[line, 0].set_ylabel(f"{part} position\n[of the step]")
        axes[line, 1].set_ylabel(f"{part} behind the reference\n[{unit}]")
    axes[0, 0].set_title("step of the position reference", fontsize=10, loc="left")
    axes[0, 1].set_title("move by half the travel window, then rest", fontsize=10, loc="left")
    legend_above(axes[0, 0])
    for axis in axes.ravel():
        tidy(axis)
    for axis in axes[-1]:
        axis.set_xlabel("time [s]")
