"""The position loop over a sensor at the load: the rig against exact theory, and trial loadside."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from gainwright.errors import InputError
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_sim.campaign.families import SWINGING
from gainwright_sim.campaign.run import Benches
from gainwright_sim.campaign.sampling import sample
from gainwright_sim.machine import Friction, LoadSensor, load_machine, machine_digest
from gainwright_sim.plant.natural import natural_frequencies
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.load_limit import decays, load_table
from gainwright_sim.rehearsal.rehearse import rehearse
from gainwright_sim.rehearsal.summary import summarise
from gainwright_sim.rehearsal.words import summary_lines
from gainwright_sim.rig.faults import RigFault
from gainwright_sim.rig.run import Override
from gainwright_sim.theory.closed_loop import LOAD_SETTING, machine_loop
from gainwright_sim.theory.stages import STAGE_THEORY

TRIAL = load_trial(shipped_trial_path("loadside"))
MARGIN_RUNGS = 10


def tuned(name: str = "kiln-shuttle", **changes):
    """The shuttle with the speed loop that trial complete finds for it."""
    machine = load_machine(name)
    loop = dataclasses.replace(
        machine.speed_loop,
        start_speed_gain_nms_per_rad=14.8,
        integral_time_s=1.0 / 200.0,
        hold_gain_per_s=20.0,
    )
    return dataclasses.replace(machine, speed_loop=loop, **changes)


@pytest.fixture(scope="module")
def bench():
    return Bench(TRIAL, tuned(), changeable=True)


def exact_decay(machine, gain_per_s: float) -> float:
    loop = machine_loop(machine, LOAD_SETTING)
    values = np.linalg.eigvals(loop.matrix(gain_per_s))
    hz = np.angle(values) / (2.0 * math.pi * loop.tick_s)
    (swinging,) = values[(hz > 2.0) & (hz < 6.0)]
    return -math.log(abs(swinging)) / loop.tick_s


@pytest.mark.parametrize("rung", [pytest.param(28, marks=pytest.mark.slow), 37])
def test_rig_swings_as_the_exact_loop_does(bench, rung):
    """Below the limit, and (by force, which no trial would do) above it, where it grows.

    Without Coulomb friction, which would bound the swinging where the load turns round.
    """
    machine = tuned(friction=Friction(load_viscous_nms_per_rad=0.0096))
    bench.mount(machine)
    forced = Override(0, 10**6, "load_limit_rung", rung + MARGIN_RUNGS)
    rehearsal = rehearse(bench, 1, overrides=[forced])
    found = decays(rehearsal, load_table(rehearsal))[:2]
    gains = [decay.gain_per_s for decay in found]
    assert gains == [bench.tables[0].gains[0], bench.tables[0].gains[rung]]
    assert (gains[1] > STAGE_THEORY[LOAD_SETTING].limit(machine).gain) == (rung == 37)
    for decay in found:
        assert decay.decay_per_s == pytest.approx(exact_decay(machine, decay.gain_per_s), abs=0.012)
    assert (found[1].decay_per_s < 0.0) == (rung == 37)


def test_sensor_counts_and_is_late(bench):
    """What is recorded are whole counts, of where the load was."""
    sensor = LoadSensor(resolution_rad=0.05, delay_s=5e-3)
    machine = tuned(load_sensor=sensor)
    assert machine.load_delay_ticks == 40
    bench.mount(machine)
    rig = bench.rig(1, exact_ticks=6000)
    rig.advance(6000)
    log = rig.log()
    seen = log.signal("load_position").astype(float)
    start = math.pi / machine.drive.encoder_counts_per_turn
    counts = (seen + start) / sensor.resolution_rad
    assert np.abs(counts - np.round(counts)).max() < 1e-3 and np.ptp(counts) > 100
    # The motor all but follows its reference, and the load swings little about it.
    moving = slice(2500, 3500)
    motor = log.signal("position")[moving].astype(float)
    behind = float((motor - seen[moving]).mean())
    speed = machine.motion.cruise_speed_rad_per_s
    twist = machine.friction.load_coulomb_nm + machine.friction.load_viscous_nms_per_rad * speed
    expected = -speed * 5e-3 - twist / machine.chain.stiffnesses_nm_per_rad[0]
    # Towards smaller angles: late and dragged is farther up; counting rounds down.
    assert -behind == pytest.approx(-expected - sensor.resolution_rad / 2.0, abs=0.01)


def test_limit_is_told_without_crossing_it(bench):
    machine = tuned()
    bench.mount(machine)
    rehearsal = rehearse(bench, 3)
    summary = summarise(rehearsal)
    assert summary.outcome == "finished" and summary.ending.reason == "below_load_limit"
    found, (stage,) = summary.load_limit, summary.stages
    assert 0.94 < found.exact_share < 1.06
    assert found.highest_share < 0.42
    assert 0.34 < stage.theory.result_share < 0.42
    locked_hz = natural_frequencies(machine.chain).locked_motor_hz
    assert found.frequency_hz == pytest.approx(locked_hz, rel=0.01)
    assert found.own_decay_per_s == pytest.approx(exact_decay(machine, 1e-9), rel=0.03)
    assert summary.machine_time_s < 240.0
    swing = summary.load_swing
    assert swing.sensor_m == pytest.approx(
        swing.sensor_rad / machine.motor_rad_per_load_m, rel=1e-9
    )
    assert 1e-5 < swing.sensor_m < 2e-3
    words = " ".join(" ".join(summary_lines(summary)).split())
    assert "limit by decay" in words and "residual vibration at the load sensor" in words


def test_a_sensor_on_a_soft_bracket_tells_the_limit_of_what_it_sees(bench):
    """Its head swings by a tenth more than the load does, so that the limit is a tenth lower."""
    rigid = tuned()
    sensor = dataclasses.replace(rigid.load_sensor, mounting_hz=11.5, mounting_damping_ratio=0.03)
    machine = tuned(load_sensor=sensor)
    limits = [STAGE_THEORY[LOAD_SETTING].limit(one).gain for one in (machine, rigid)]
    assert limits[0] / limits[1] == pytest.approx(1.0 - (3.54 / 11.5) ** 2, abs=0.03)
    assert machine_digest(machine) != machine_digest(rigid)
    bench.mount(machine)
    summary = summarise(rehearse(bench, 1))
    assert summary.outcome == "finished"
    assert 0.94 < summary.load_limit.exact_share < 1.06


def test_frozen_load_sensor_gives_no_result(bench):
    """One count for the whole travel: what does not ring is no evidence."""
    bench.mount(tuned(load_sensor=LoadSensor(resolution_rad=1e3, delay_s=0.0)))
    summary = summarise(rehearse(bench, 1))
    assert not any(stage.result for stage in summary.stages)
    assert summary.outcome == "aborted"


@pytest.mark.parametrize("kind", ["load_frozen", "load_reversed"])
@pytest.mark.parametrize("tick", [0, 12_000])
def test_broken_load_sensor_gives_no_result(bench, kind, tick):
    """Nobody says so: what the loop makes of it, or ringing that is none, ends the trial."""
    bench.mount(tuned())
    rehearsal = rehearse(bench, 1, fault=RigFault(kind, tick))
    summary = summarise(rehearsal)
    assert summary.outcome in ("aborted", "fault_latched")
    assert summary.stages[0].result is None
    assert rehearsal.output("load_gain_rung").max() == 0, "the gain was not raised"
    window = tuned().motion.travel_window_rad
    assert np.abs(rehearsal.log.signal("position")).max() < 0.5 * window


@pytest.mark.slow
def test_random_swinging_axes_tell_their_limit():
    """Of 20 axes drawn once (0 to 19): 17 results, limit / exact 0.979 to 1.009."""
    benches, shares = Benches(TRIAL), list[float]()
    for seed in (0, 1, 2, 8, 9, 16):
        machine = sample(SWINGING, seed)
        summary = summarise(rehearse(benches.mounted(machine), seed))
        assert summary.outcome in ("finished", "aborted"), seed
        if summary.load_limit is not None:
            shares.append(summary.load_limit.exact_share)
            assert summary.load_limit.highest_share < 0.45, seed
    assert len(shares) == 5
    assert min(shares) > 0.94 and max(shares) < 1.06


def test_a_load_that_goes_back_is_heard_again_at_another_speed():
    """Teeth that pass near its frequency swing it by more than cruise speed."""
    rehearsal = rehearse(Benches(TRIAL).mounted(sample(SWINGING, 2)), 2, exact_ticks=40_000)
    first = int(np.flatnonzero(rehearsal.input("decay_evaluated"))[0])
    assert rehearsal.input("decay_spread")[first] == 511
    assert rehearsal.output("cruise_share")[first - 1] == 256
    assert rehearsal.output("cruise_share")[first + 1] == 192
    load = rehearsal.log.signal("load_speed")[first - 25_000 : first]
    assert load.min() < 0.0 < load.max()


def test_a_load_without_friction_may_go_back_at_both_speeds(bench):
    """Teeth swing it by twice cruise speed; its decay is the same at both, and is believed then."""
    bench.mount(sample(SWINGING, 82053))
    rehearsal = rehearse(bench, seed=82053)
    summary = summarise(rehearsal)
    assert rehearsal.variable("measurements").max() == 2
    assert summary.outcome == "finished"
    assert summary.load_limit.exact_share == pytest.approx(1.0, abs=0.02)


@pytest.mark.slow
def test_a_gain_above_the_limit_is_not_kept(bench):
    """Once led beyond the limit, where friction keeps the swinging at one size, it comes back."""
    bench.mount(tuned())
    forced = Override(0, 40_000, "load_limit_rung", 42 + MARGIN_RUNGS)
    rehearsal = rehearse(bench, 1, overrides=[forced])
    assert rehearsal.output("load_gain_rung").max() == 42
    summary = summarise(rehearsal)
    assert summary.outcome in ("finished", "aborted")


@pytest.mark.slow
def test_a_load_that_hardly_loses_anything_leaves_no_room(bench):
    """The lowest gain of the ladder is too near the limit, or above it: no result, no crossing."""
    machine = tuned()
    chain = dataclasses.replace(machine.chain, dampings_nms_per_rad=(1e-4,))
    friction = dataclasses.replace(machine.friction, load_viscous_nms_per_rad=1e-4)
    loop = dataclasses.replace(
        machine.speed_loop, start_speed_gain_nms_per_rad=30.0, integral_time_s=0.005
    )
    machine = dataclasses.replace(machine, chain=chain, friction=friction, speed_loop=loop)
    assert STAGE_THEORY[LOAD_SETTING].limit(machine).gain < 0.02
    bench.mount(machine)
    summary = summarise(rehearse(bench, 1))
    assert summary.outcome == "aborted" and summary.stages[0].result is None


def test_machine_without_load_sensor_is_refused(bench):
    with pytest.raises(InputError) as caught:
        bench.mount(load_machine("glaze-gantry"))
    assert caught.value.problems[0].place == "[load_sensor]"


def test_moves_too_short_to_hear_the_load_are_refused(bench):
    machine = tuned()
    motion = dataclasses.replace(machine.motion, travel_window_rad=12.0)
    with pytest.raises(InputError) as caught:
        bench.mount(dataclasses.replace(machine, motion=motion))
    assert "constant speed" in caught.value.problems[0].found
