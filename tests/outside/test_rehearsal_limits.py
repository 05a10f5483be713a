"""A whole rehearsal of the shipped trial brackets the limits of fully specified speed loops.

The loops and their limits are those of ``loop_cases``: true motor speed (a speed sensor) unless
said otherwise, no position hold. The trial knows none of it: it starts far below, climbs the ladder
and takes what its detector says. Rungs are 4.5 % apart, so a search can be right to one rung at
best.
"""

from __future__ import annotations

import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_sim.machine import Machine, machine_from_document
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.rehearse import rehearse
from gainwright_sim.rehearsal.summary import summarise

from .loop_cases import CASES

NAMES = ("R1", "R2", "R3", "R4", "R2d", "A1", "B1", "C1", "D1")
"""A2 and D2 are left to theory: there the limit is that of a resonance with 0.025 and 0.0125 of
critical damping, whose ringing outlasts the trial's listening time from two rungs below the limit
on."""
START_SHARES = (0.0515, 0.08, 0.1)
"""Start gains, as shares of the limit; the limit then falls in other places between two rungs."""


def machine_of(name: str, start_share: float) -> Machine:
    """Return the case with an ordinary 20-bit encoder, torque noise 1e-4 and short moves."""
    case = CASES[name]
    motor = case.chain.motor_inertia_kgm2
    rated_nm = 10.0 * (motor / 1e-3) ** 0.75
    acceleration = min(0.4 * rated_nm / case.chain.total_inertia_kgm2, 120.0)
    document = {
        "format": 1,
        "name": name.lower(),
        "origin": "computed for this project",
        "mechanics": {
            "kind": "chain",
            "inertias_kgm2": list(case.chain.inertias_kgm2),
            "stiffnesses_nm_per_rad": list(case.chain.stiffnesses_nm_per_rad),
            "dampings_nms_per_rad": list(case.chain.dampings_nms_per_rad),
        },
        "friction": {"motor_viscous_nms_per_rad": case.viscous},
        "drive": {
            "control_tick_s": case.tick_s,
            "torque_delay_ticks": case.delay,
            "speed_source": "difference" if case.difference else "sensor",
            "rated_torque_nm": rated_nm,
            "torque_limit_nm": 2.5 * rated_nm,
            "top_speed_rad_per_s": 314.0,
            "encoder_counts_per_turn": 2**20,
            "torque_noise_per_unit": 1e-4,
        },
        "speed_loop": {
            "start_speed_gain_nms_per_rad": start_share * case.gain,
            "integral_time_s": case.integral_time_s,
        },
        "motion": {
            "travel_window_rad": 12.0,
            "cruise_speed_rad_per_s": 6.0,
            "acceleration_rad_per_s2": acceleration,
            "jerk_rad_per_s3": acceleration / 0.04,
        },
    }
    return machine_from_document(document, f"{name}.toml")


@pytest.mark.parametrize("name", NAMES)
def test_rehearsal_brackets_the_limit_within_one_rung(name):
    case = CASES[name]
    trial = load_trial(shipped_trial_path())
    ratio = trial.stages[0].ratio
    bench = Bench(trial, machine_of(name, START_SHARES[0]), changeable=True)
    for seed, start_share in enumerate(START_SHARES):
        bench.mount(machine_of(name, start_share))
        rehearsal = rehearse(bench, seed, log_control=True)
        summary = summarise(rehearsal)
        stage = summary.stages[0]
        assert summary.outcome == "finished"
        gains = rehearsal.tables[0].gains
        quiet, onset = gains[stage.quiet_rung], gains[stage.onset_rung]
        assert stage.onset_rung == stage.quiet_rung + 1
        assert quiet / ratio <= case.gain <= onset * ratio, f"seed {seed}, start {start_share}"
        # Found from a short stretch of the burst up to a rung above the limit: some per cent off.
        assert stage.onset_frequency_hz == pytest.approx(case.frequency_hz, rel=0.08)
