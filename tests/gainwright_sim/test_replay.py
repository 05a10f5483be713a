"""A run from a file goes the same way everywhere: reference, compiled C, and rig on any machine."""

from __future__ import annotations

import numpy as np
import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_cli.main import main
from gainwright_proof.exploration import read_run, replay_run, run_text
from gainwright_proof.exploration.run_file import run_of
from gainwright_sim.machine import load_machine
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.rehearse import rehearse
from gainwright_sim.rig.run import Override

TRIAL = load_trial(shipped_trial_path("standard"))
TICKS = 4000


@pytest.fixture(scope="module")
def recorded():
    log = rehearse(
        Bench(TRIAL, load_machine("grinder-slide"), changeable=True), 3, exact_ticks=TICKS
    ).log
    vectors = [tuple(int(value) for value in line) for line in log.inputs]
    return log, run_of(TRIAL, "a rehearsal", "what happened", vectors)


def test_forced_inputs_take_the_rig_of_another_machine_the_same_way(recorded, tmp_path):
    log, run = recorded
    (tmp_path / "run.json").write_text(run_text(run))
    forced = read_run(tmp_path / "run.json", TRIAL).forced_inputs()
    assert len(forced) > 64
    replayed = rehearse(
        Bench(TRIAL, load_machine("door-hoist"), changeable=True),
        99,
        overrides=[Override(*stretch) for stretch in forced],
        exact_ticks=run.ticks,
    ).log
    assert len(replayed) == TICKS
    for name in ("state", "row", "inputs", "variables", "outputs"):
        assert np.array_equal(getattr(replayed, name), getattr(log, name)), name


def test_reference_and_compiled_c_end_where_the_rig_ended(recorded):
    log, run = recorded
    outcome = replay_run(TRIAL, run)
    assert outcome.ticks == TICKS
    assert outcome.final.state == TRIAL.states[log.state[-1]].name
    assert list(outcome.final.variables.values()) == list(log.variables[-1])


def test_run_of_another_trial_is_refused(recorded, tmp_path, capsys):
    _, run = recorded
    file = tmp_path / "run.json"
    file.write_text(run_text(run).replace(TRIAL.digest, "0" * 64))
    for words in (["rehearse", "grinder-slide"], ["prove"]):
        assert main([*words, "--replay", str(file)]) == 2
        assert "digest" in capsys.readouterr().err
