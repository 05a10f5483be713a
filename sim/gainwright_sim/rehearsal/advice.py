"""What a trial will probably meet on a machine: moves and times, start gain and exact limit."""

from __future__ import annotations

import math
from collections.abc import Iterator

from gainwright.language.model import Trial
from gainwright_codegen.axis_c.tables import StageTables
from gainwright_sim.machine import Machine
from gainwright_sim.theory.limit import UnstableAtStartError
from gainwright_sim.theory.stages import SPEED_GAIN

Q15 = 2**15
Q24 = 2**24


def machine_advice(trial: Trial, machine: Machine, tables: tuple[StageTables, ...]) -> list[str]:
    """Return a sentence for each way in which the rehearsal is likely to end without a result.

    Times are those of the reference, for constants of the names that the shipped trial uses.
    """
    return [
        *_move_advice(trial, machine),
        *_play_advice(machine, tables),
        *_gain_advice(machine, tables),
    ]


def time_to_cruise_s(machine: Machine) -> float:
    """Return the time from rest to constant speed: v / a, and the jerk-limited rounding a / j."""
    motion = machine.motion
    return (
        motion.cruise_speed_rad_per_s / motion.acceleration_rad_per_s2
        + motion.acceleration_rad_per_s2 / motion.jerk_rad_per_s3
    )


def cruise_time_s(trial: Trial, machine: Machine) -> float | None:
    """Return how long a move between the turning points runs at constant speed; below 0 for never.

    None where the trial does not name its turning points.
    """
    ends = _constants(trial, "lower_end_position", "upper_end_position")
    if ends is None:
        return None
    distance_rad = (ends[1] - ends[0]) / Q15 * machine.motion.travel_window_rad / 2.0
    return distance_rad / machine.motion.cruise_speed_rad_per_s - time_to_cruise_s(machine)


def _constants(trial: Trial, *names: str) -> list[int] | None:
    try:
        return [trial.constant(name) for name in names]
    except KeyError:
        return None


def _move_advice(trial: Trial, machine: Machine) -> Iterator[str]:
    cruise_s = cruise_time_s(trial, machine)
    if cruise_s is not None and cruise_s <= 0.0:
        yield (
            "the moves are too short to reach cruise_speed_rad_per_s, so nothing can be judged: "
            "widen travel_window_rad, or lower the speed"
        )
    timeout = _constants(trial, "move_timeout_ticks")
    needed_s = 2.0 * time_to_cruise_s(machine)
    if timeout is not None and needed_s > timeout[0] * trial.tick_us * 1e-6:
        yield (
            f"turning round takes {needed_s:.3g} s, longer than move_timeout_ticks of trial "
            f"{trial.name}, {timeout[0] * trial.tick_us * 1e-6:.3g} s: raise acceleration and jerk"
        )
    approach = _constants(trial, "approach_timeout_ticks", "lower_end_position")
    if approach is not None:
        way_rad = abs(approach[1]) / Q15 * machine.motion.travel_window_rad / 2.0
        needed_s = way_rad / machine.motion.cruise_speed_rad_per_s + time_to_cruise_s(machine)
        if needed_s > approach[0] * trial.tick_us * 1e-6:
            yield (
                f"the first move takes {needed_s:.3g} s, longer than approach_timeout_ticks of "
                f"trial {trial.name}, {approach[0] * trial.tick_us * 1e-6:.3g} s: raise "
                "cruise_speed_rad_per_s, or narrow travel_window_rad"
            )


def pressing_torque_nm(machine: Machine) -> float:
    """Return what presses the flanks of a play together at cruise speed: friction and weight."""
    friction = machine.friction
    rubbing = friction.load_viscous_nms_per_rad * machine.motion.cruise_speed_rad_per_s
    pretension = 0.0 if machine.play is None else machine.play.pretension_nm
    return friction.load_coulomb_nm + rubbing + abs(friction.constant_load_torque_nm) + pretension


def _play_advice(machine: Machine, tables: tuple[StageTables, ...]) -> Iterator[str]:
    """A load that floats in its play is not in the loop that is judged, but is when pushed."""
    if machine.play is None or machine.play.gap_rad <= 0.0 or not tables:
        return
    inertias = machine.chain.inertias_kgm2
    pulse_nm = max(tables[0].pulse.heights) / Q24 * machine.drive.rated_torque_nm
    reaching_nm = pulse_nm * (1.0 - inertias[0] / sum(inertias))
    pressing_nm = pressing_torque_nm(machine)
    if pressing_nm < reaching_nm:
        yield (
            f"at constant speed {pressing_nm:.3g} N m press the flanks of the backlash together, "
            f"and the test pulse takes {reaching_nm:.3g} N m off: the load may float, and what is "
            "judged is the motor alone; take the backlash out by pretension, or let weight or a "
            "brake press"
        )


def _gain_advice(machine: Machine, tables: tuple[StageTables, ...]) -> Iterator[str]:
    try:
        limit = SPEED_GAIN.limit(machine)
    except UnstableAtStartError as error:
        yield f"start_speed_gain_nms_per_rad: {error}: lower it"
        return
    start = machine.speed_loop.start_speed_gain_nms_per_rad
    if math.isfinite(limit.gain) and limit.gain <= start:
        yield (
            f"the start gain {start:.4g} N m s/rad is not below the exact limit "
            f"{limit.gain:.4g}: lower start_speed_gain_nms_per_rad"
        )
        return
    for table in tables[:1]:
        top, margin = table.gains[-1], table.stage.margin
        if limit.gain * (1.0 - margin) < start:
            yield (
                f"the exact limit {limit.gain:.4g} leaves no margin above the start gain "
                f"{start:.4g} N m s/rad: lower start_speed_gain_nms_per_rad"
            )
        elif limit.gain > top:
            yield (
                f"the ladder ends at {top:.4g} N m s/rad, below the exact limit "
                f"{limit.gain:.4g}: raise start_speed_gain_nms_per_rad"
            )
