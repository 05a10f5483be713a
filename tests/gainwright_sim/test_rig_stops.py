"""Ways out of a running rehearsal: violated requirements, released permit, lost feedback."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import numpy as np
import pytest

from gainwright.language.load import load_trial, trial_from_document
from gainwright.language.model import Trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_sim.machine import load_machine
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.rehearse import Rehearsal, rehearse
from gainwright_sim.rig.faults import RigFault
from gainwright_sim.rig.run import Override

TRIAL = load_trial(shipped_trial_path())
HOIST = load_machine("door-hoist")
SEED = 4


@pytest.fixture(scope="module")
def stop_tick() -> int:
    """A tick in mid search, at constant speed."""
    rehearsal = rehearse(Bench(TRIAL, HOIST, changeable=True), SEED)
    assert rehearsal.ended and not rehearsal.violations
    listening = np.array(states(rehearsal)) == "detect"
    return int(np.flatnonzero(listening & (rehearsal.variable("gain_rung") == 20))[0]) + 10


def states(rehearsal: Rehearsal) -> list[str]:
    names = [state.name for state in rehearsal.trial.states]
    return [names[index] for index in rehearsal.log.state]


def with_requirement(**requirement: str | int) -> Trial:
    document = tomllib.loads(shipped_trial_path().read_text(encoding="utf-8"))
    document["requirements"]["planted"] = {
        "hazard": "wrong_result",
        "sentence": "Planted by a test, and wrong.",
        "proved_by": "nothing",
        **requirement,
    }
    # With the digest of the sound trial: requirements are in no C, which is compiled once so.
    return replace(TRIAL, requirements=trial_from_document(document, "planted").requirements)


@pytest.mark.parametrize("watched", [False, True])
def test_violated_invariant_ends_the_rehearsal_with_tick_and_values(watched):
    trial = with_requirement(kind="invariant", formula="gain_rung <= 9 or finished")
    slices = []
    progress = slices.append if watched else None
    rehearsal = rehearse(Bench(trial, HOIST), seed=SEED, progress=progress)
    (violation,) = rehearsal.violations
    assert violation.requirement_id == "planted"
    assert violation.values == {"state": "move", "gain_rung": 10, "finished": 0}
    rungs = rehearsal.variable("gain_rung")
    assert violation.tick == len(rehearsal.log)
    assert rungs[-1] == 10 and rungs[:-1].max() == 9
    assert not rehearsal.ended
    if watched:
        assert sum(map(len, slices)) < violation.tick + 2000, "it ran on after the slice of 2 s"


def test_violated_step_shows_the_values_before_and_after():
    trial = with_requirement(kind="step", formula="next(gain_rung) >= gain_rung")
    rehearsal = rehearse(Bench(trial, HOIST), seed=SEED)
    (violation,) = rehearsal.violations
    before, after = rehearsal.variable("gain_rung")[-2:]
    assert violation.values["gain_rung"] == before
    assert violation.values["next(gain_rung)"] == after == before - 16
    assert states(rehearsal)[-1] == "back_off"


def test_violated_response_is_late_by_its_ticks():
    trial = with_requirement(
        kind="response", trigger="in_state(pulse)", formula="in_state(move)", within_ticks=5
    )
    rehearsal = rehearse(Bench(trial, HOIST), seed=SEED)
    (violation,) = rehearsal.violations
    triggered = states(rehearsal).index("pulse") + 1  # the tick that sees the state
    assert violation.tick == triggered + 5


def stopped(stop_tick: int, name: str, value: int) -> Rehearsal:
    overrides = [Override(stop_tick, 10**6, name, value)]
    rehearsal = rehearse(Bench(TRIAL, HOIST, changeable=True), SEED, overrides=overrides)
    assert rehearsal.ended and not rehearsal.violations
    assert rehearsal.variable("gain_rung")[stop_tick - 1] == 20, "in mid search"
    return rehearsal


@pytest.mark.parametrize("name", ["run_permit", "inside_travel_window"])
def test_operator_releases_the_permit_in_mid_search(stop_tick, name):
    """Controlled stop, brake closed before torque goes, start gain at once, load held."""
    rehearsal = stopped(stop_tick, name, 0)
    assert states(rehearsal)[stop_tick] == "stop_axis"
    assert states(rehearsal)[-1] == "aborted"
    assert (rehearsal.output("motion_enable")[stop_tick:] == 0).all()
    assert (rehearsal.output("speed_gain_rung")[stop_tick:] == 0).all()
    brake = falling_edge(rehearsal.output("brake_open"))
    torque = falling_edge(rehearsal.output("torque_request"))
    assert stop_tick < brake < torque
    assert torque - brake > HOIST.brake.close_time_s * 1000
    speed = np.abs(rehearsal.log.signal("speed"))
    moving = HOIST.motion.cruise_speed_rad_per_s
    assert speed[stop_tick] == pytest.approx(moving, rel=0.05)
    assert speed[brake] < 0.02 * moving, "standstill before the brake closes"
    # Stopping distance: v^2 / 2a, and v times half the time of the moving average.
    motion = HOIST.motion
    distance = moving**2 / (2 * motion.acceleration_rad_per_s2)
    distance += moving * motion.acceleration_rad_per_s2 / motion.jerk_rad_per_s3 / 2
    reference = rehearsal.log.signal("position_reference")
    assert abs(reference[brake] - reference[stop_tick]) == pytest.approx(distance, rel=0.02)
    position = rehearsal.log.signal("position")
    assert np.abs(position).max() < motion.travel_window_rad / 2, "inside the window"
    assert np.ptp(position[torque:]) < 1e-3, "the closed brake holds the load"
    assert (rehearsal.log.signal("torque_highest")[torque + 2 :] == 0.0).all()


@pytest.mark.parametrize("name", ["feedback_valid", "drive_ready"])
def test_lost_feedback_withdraws_torque_in_the_very_tick_that_sees_it(stop_tick, name):
    rehearsal = stopped(stop_tick, name, 0)
    assert states(rehearsal)[stop_tick:] == ["fault"] * (len(rehearsal.log) - stop_tick)
    for output in ("torque_request", "brake_open", "motion_enable", "speed_gain_rung"):
        assert (rehearsal.output(output)[stop_tick:] == 0).all(), output
    assert rehearsal.output("torque_request")[stop_tick - 1] == 1
    # Signals of a line are those of the control ticks before its sequencer tick.
    torque = rehearsal.log.signal("torque_highest")
    assert torque[stop_tick] != 0.0
    assert (torque[stop_tick + 2 :] == 0.0).all()
    # The load falls freely until the brake has closed, at most its closing time.
    position = rehearsal.log.signal("position")
    brake_s, friction = HOIST.brake.close_time_s, HOIST.friction
    fall = abs(friction.constant_load_torque_nm) / HOIST.chain.total_inertia_kgm2
    speed = HOIST.motion.cruise_speed_rad_per_s
    assert np.abs(position[stop_tick:] - position[stop_tick]).max() < (
        2 * speed * brake_s + fall * brake_s**2 / 2
    )
    assert np.ptp(position[-40:]) < 1e-3, "the brake holds"


def test_axis_that_sinks_when_the_brake_opens_is_caught():
    """Standstill never comes: the brake closes again, torque stays until it has."""
    overrides = [Override(200, 10**6, "standstill", 0)]
    rehearsal = rehearse(Bench(TRIAL, HOIST, changeable=True), seed=SEED, overrides=overrides)
    assert states(rehearsal)[-1] == "fault" and reason(rehearsal) == "axis_not_at_rest"
    opened = rising_edge(rehearsal.output("brake_open"))
    closed = falling_edge(rehearsal.output("brake_open"))
    torque = falling_edge(rehearsal.output("torque_request"))
    assert closed - opened <= TRIAL.constant("open_brake_timeout_ticks") + 1
    assert torque - closed > TRIAL.constant("brake_close_ticks")


def test_torque_that_stays_saturated_withdraws(stop_tick):
    rehearsal = stopped(stop_tick, "torque_saturated", 1)
    assert states(rehearsal)[-1] == "aborted"
    assert rehearsal.output("speed_gain_rung")[-1] == 0


@pytest.mark.parametrize(
    ("kind", "expected", "most_ticks"),
    [
        ("position_frozen", {"feedback_frozen"}, 60),
        ("torque_reversed", {"speed_too_high"}, 40),
        ("torque_lost", {"feedback_frozen", "following_error_too_large"}, 800),
        ("axis_blocked", {"feedback_frozen"}, 60),
    ],
)
@pytest.mark.parametrize("name", ["glaze-gantry", "kiln-shuttle"])
def test_what_breaks_unsaid_ends_as_a_fault(name, kind, expected, most_ticks):
    """Feedback is "valid" and the drive "ready" all the time; what freezes does so in a move."""
    bench, begin = Bench(TRIAL, load_machine(name), changeable=True), 8000
    if expected == {"feedback_frozen"}:
        steady = rehearse(bench, SEED).input("cruising")
        begin = next(tick for tick in range(8000, len(steady)) if steady[tick : tick + 100].all())
    rehearsal = rehearse(bench, SEED, fault=RigFault(kind, begin))
    assert rehearsal.ended and not rehearsal.violations
    assert states(rehearsal)[-1] == "fault" and reason(rehearsal) in expected
    assert rehearsal.input("feedback_valid").all() and rehearsal.input("drive_ready").all()
    off = falling_edge(rehearsal.output("torque_request"))
    assert begin < off <= begin + most_ticks
    assert falling_edge(rehearsal.output("brake_open")) <= off


@pytest.mark.parametrize(
    ("forced", "expected"),
    [
        (("following_error", 256), "following_error_too_large"),
        (("strained_ticks", 500), "strained_too_long"),
        (("overspeed", 1), "speed_too_high"),
    ],
)
def test_what_the_drive_watches_ends_as_a_fault(stop_tick, forced, expected):
    rehearsal = stopped(stop_tick, *forced)
    assert states(rehearsal)[stop_tick] == "fault" and reason(rehearsal) == expected


def test_axis_without_torque_falls_behind_its_reference():
    """Falling is faster than the reference, or against it: one of the two is seen."""
    rehearsal = rehearse(
        Bench(TRIAL, HOIST, changeable=True), SEED, fault=RigFault("torque_lost", 8000)
    )
    assert reason(rehearsal) in ("speed_too_high", "following_error_too_large")
    assert falling_edge(rehearsal.output("brake_open")) < 8100


def test_reversed_torque_is_strained_where_speed_is_not_watched():
    """Overspeed and following error held back: the strain of the torque is what is left."""
    quiet = [Override(0, 10**6, "overspeed", 0), Override(0, 10**6, "following_error", 0)]
    quiet += [Override(0, 10**6, "inside_travel_window", 1)]
    gantry = load_machine("glaze-gantry")
    rehearsal = rehearse(
        Bench(TRIAL, gantry, changeable=True),
        SEED,
        overrides=quiet,
        fault=RigFault("torque_reversed", 8000),
    )
    assert reason(rehearsal) == "strained_too_long"
    assert falling_edge(rehearsal.output("torque_request")) <= 8000 + 600


def reason(rehearsal: Rehearsal) -> str:
    values = TRIAL.enumeration("end_reasons").values
    return values[int(rehearsal.output("end_reason")[-1])].name


def falling_edge(signal: np.ndarray) -> int:
    return int(np.flatnonzero(np.diff(signal) < 0)[0]) + 1


def rising_edge(signal: np.ndarray) -> int:
    return int(np.flatnonzero(np.diff(signal) > 0)[0]) + 1


def test_without_torque_there_is_no_oscillation_and_the_brake_holds_to_the_bit():
    """The step to zero torque is none, and a closed brake does not creep under the weight."""
    rehearsal = rehearse(Bench(TRIAL, HOIST, changeable=True), seed=SEED)
    assert rehearsal.ended
    requested = rehearsal.output("torque_request").astype(bool)
    oscillation = rehearsal.log.signal("torque_oscillation")
    resting = ~requested[:-1] & ~requested[1:]
    assert resting.sum() > 40 and requested.sum() > 1000
    assert np.all(oscillation[1:][resting] == 0.0) and oscillation[requested].max() > 0.0
    position = rehearsal.log.signal("position")[-40:]
    assert np.all(position == position[0]) and not requested[-40:].any()
