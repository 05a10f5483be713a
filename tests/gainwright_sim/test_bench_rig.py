"""Benchmarks of the rig (``pytest --benchmark-enable``), and that they compare like with like.

Nothing here asserts seconds: figures come from ``python -m gainwright_sim.benchmark``.
"""

from __future__ import annotations

import dataclasses
import json
import sys

import numpy as np
import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_sim.benchmark.__main__ import main
from gainwright_sim.benchmark.bare_loop import BareLoop
from gainwright_sim.benchmark.rig_speed import bare_loop, measure, python_loop_s
from gainwright_sim.machine import Chain, load_machine
from gainwright_sim.rehearsal.bench import Bench

from .fixed_gain import TURN_SHARE, fixed_gain_trial

TRIAL = load_trial(shipped_trial_path())
SHUTTLE = load_machine("kiln-shuttle")
TICKS = 8000


@pytest.mark.parametrize(
    "name", [pytest.param("kiln-shuttle", marks=pytest.mark.slow), "glaze-gantry"]
)
def test_bare_loop_moves_the_axis_exactly_as_the_rig_does(name):
    """The yardstick does all that the rig does but for detector, sequencer and record."""
    machine, trial = load_machine(name), fixed_gain_trial(1000, pulse_ticks=30_000)
    bench = Bench(trial, machine)
    rig = bench.rig(seed=9, longest_s=TICKS * 1e-3)
    rig.advance(TICKS)
    position = rig.log().signal("position")
    down, up = bench.tables[0].gains
    turn_rad = TURN_SHARE * machine.motion.travel_window_rad / 2
    bare = BareLoop(machine, trial, (down, up), turn_rad, seed=9)
    angles = []
    for _ in range(TICKS):
        angles.append(bare.angle_rad)
        bare.run(1)
    np.testing.assert_array_equal(position, np.float32(angles))
    assert np.ptp(angles) > turn_rad and down != up


def test_bare_loop_refuses_what_it_is_not_written_for():
    for machine in (
        load_machine("door-hoist"),
        dataclasses.replace(SHUTTLE, chain=Chain((1e-3,), (), ())),
    ):
        with pytest.raises(ValueError, match="two masses without a brake"):
            BareLoop(machine, TRIAL, (1.0, 1.0), 1.0, seed=1)


def test_figures_belong_together():
    speed = measure(TRIAL, SHUTTLE, repeats=1)
    assert 20.0 < speed.machine_time_s < 60.0
    assert speed.real_time_factor == pytest.approx(speed.control_tick_s / speed.rig_s)
    # A hundred times apart. Bare loop and rig are so near that a busy computer mixes them up.
    assert max(speed.bare_s, speed.rig_s) < speed.python_s
    assert speed.over_bare * speed.bare_s == pytest.approx(speed.over_numpy * speed.python_s)


def test_command_prints_documented_keys_and_refuses_wrong_machines(monkeypatch, capsys):
    command = ["benchmark", "--repeats", "1"]
    monkeypatch.setattr(sys, "argv", [*command, "--json"])
    main()
    assert set(json.loads(capsys.readouterr().out)) == {
        "machine", "control_tick_s", "machine_time_s", "rig_ns", "bare_loop_ns", "numpy_loop_ns",
        "real_time_factor", "over_bare_loop", "over_numpy_loop",
    }  # fmt: skip
    for machine, words in (("door-hoist", "two masses"), ("no-such", "neither a shipped machine")):
        monkeypatch.setattr(sys, "argv", [*command, "--machine", machine])
        assert main() == 2 and words in capsys.readouterr().err


@pytest.mark.benchmark(group="one second of machine time, 8 kHz")
def test_rig_benchmark(benchmark):
    """Two masses with friction, detector and sequencer included, in mid search."""
    bench = Bench(TRIAL, SHUTTLE)

    def setup():
        rig = bench.rig(seed=1)
        rig.advance(5000)
        return (rig,), {}

    ticks = benchmark.pedantic(lambda rig: rig.advance(1000), setup=setup, rounds=20)
    assert ticks == 6000


@pytest.mark.benchmark(group="one second of machine time, 8 kHz")
def test_bare_loop_benchmark(benchmark):
    def setup():
        loop = bare_loop(TRIAL, SHUTTLE)
        loop.run(5000)
        return (loop,), {}

    benchmark.pedantic(lambda loop: loop.run(1000), setup=setup, rounds=20)


@pytest.mark.benchmark(group="one second of machine time, 8 kHz")
def test_numpy_loop_benchmark(benchmark):
    assert benchmark.pedantic(lambda: python_loop_s(SHUTTLE, ticks=8000), rounds=2) > 0.0
