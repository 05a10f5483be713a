"""Where and with what load an axis works: other positions of a belt's carriage, other payloads.

The stiffness of a belt loop follows the position, k = EA (1/L1 + 1/L2); one trial moves little in
comparison and sees one of them. The damping ratio stays that of the description.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from gainwright.errors import input_error
from gainwright_sim.machine.check import Checker
from gainwright_sim.machine.model import Machine, Situation
from gainwright_sim.machine.reduce import reduce_mechanics

SHORTEST_SPAN_M = 1e-3
NEAREST_M = 1e-3
"""Two positions nearer than this are the same."""


def check_situations(checker: Checker) -> None:
    """Report positions beyond the belt and a payload range that is none."""
    values = checker.values.get("mechanics", {})
    first, second = values.get("belt_first_length_m"), values.get("belt_second_length_m")
    for number, position in enumerate(values.get("positions_m") or ()):
        if first is None or second is None:
            return
        if min(first + position, second - position) < SHORTEST_SPAN_M:
            checker.report(
                f"mechanics.positions_m[{number}]", f"{position:g} m, beyond the belt's ends",
                f"from {SHORTEST_SPAN_M - first:g} to {second - SHORTEST_SPAN_M:g} m: it is "
                "added to belt_first_length_m and taken from belt_second_length_m",
                "count positions from where the two lengths hold",
            )  # fmt: skip
    _check_twice(checker, values.get("positions_m") or ())
    _check_range(checker, values)


def check_belt_window(checker: Checker, machine: Machine) -> None:
    """Report a travel window that leads the carriage of a belt beyond the belt's ends somewhere."""
    values = checker.values["mechanics"]
    if machine.motor_rad_per_load_m is None or "belt_first_length_m" not in values:
        return
    half = 0.5 * machine.motion.travel_window_rad / machine.motor_rad_per_load_m
    spans = values["belt_first_length_m"], values["belt_second_length_m"]
    lowest, highest = SHORTEST_SPAN_M + half - spans[0], spans[1] - SHORTEST_SPAN_M - half
    places = [("motion", 0.0)]
    places += [
        (f"mechanics.positions_m[{number}]", position)
        for number, position in enumerate(values.get("positions_m") or ())
    ]
    for place, position in places:
        if not lowest <= position <= highest:
            checker.report(
                place, f"moves of {half:g} m either way about {position:g} m, beyond the belt's "
                "ends", f"a place from {lowest:g} to {highest:g} m" if lowest <= highest
                else f"a window of less than {2.0 * half + highest - lowest:g} m",
                "narrow the travel window, or check the two lengths of the belt",
            )  # fmt: skip


def _check_twice(checker: Checker, positions: Sequence[float]) -> None:
    """Report a position that is given twice: a gain over the position would not be one value."""
    for number, position in enumerate(positions):
        if any(abs(position - other) < NEAREST_M for other in positions[:number]):
            checker.report(
                f"mechanics.positions_m[{number}]", f"{position:g} m twice",
                f"positions that are {NEAREST_M:g} m apart or more", "leave one out",
            )  # fmt: skip


def _check_range(checker: Checker, values: Mapping[str, Any]) -> None:
    masses, own = values.get("load_mass_range_kg"), values.get("load_mass_kg")
    if not masses or own is None:
        return
    if len(masses) != 2 or not masses[0] <= own <= masses[1]:
        checker.report(
            "mechanics.load_mass_range_kg", f"[{', '.join(f'{mass:g}' for mass in masses)}]",
            f"two masses, the smaller first, with load_mass_kg = {own:g} between them",
            "give [empty, full], everything that moves included",
        )  # fmt: skip


def build_situations(values: Mapping[str, Any]) -> tuple[Situation, ...]:
    """Return every position with every end of the payload range; empty where none are given."""
    positions = tuple(values.get("positions_m") or ())
    masses = tuple(values.get("load_mass_range_kg") or ())
    if not positions and not masses:
        return ()
    return tuple(
        _situation(values, position, mass)
        for position in positions or (None,)
        for mass in masses or (None,)
    )


def _situation(values: Mapping[str, Any], position: float | None, mass: float | None) -> Situation:
    changed, name = dict(values), []
    if position is not None:
        changed["belt_first_length_m"] += position
        changed["belt_second_length_m"] -= position
        name.append(f"{position:g} m")
    if mass is not None:
        changed["load_mass_kg"] = mass
        name.append(f"{mass:g} kg")
    return Situation(", ".join(name), reduce_mechanics(changed).chain, position)


def machine_at(machine: Machine, name: str) -> Machine:
    """Return the machine in one of its situations.

    Raises:
        InputError: it has none of that name.
    """
    for situation in machine.situations:
        if situation.name == name:
            return replace(machine, chain=situation.chain, situations=())
    known = "; ".join(situation.name for situation in machine.situations)
    raise input_error(
        "--at", "", f"{name!r}, which is no situation of {machine.name}",
        f"one of: {known}" if known else "a machine whose description gives positions or payloads",
        "give a situation as `gainwright check` lists it" if known
        else "add mechanics.positions_m or mechanics.load_mass_range_kg",
    )  # fmt: skip
