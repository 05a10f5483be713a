"""A rehearsal from the outside: what it finds, what it leaves, the same bytes twice."""

from __future__ import annotations

import csv
import dataclasses
import hashlib
import itertools
import json
import math

import numpy as np
import pytest

from gainwright.errors import InputError
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_sim.machine import load_machine, machine_path, shipped_machine_names
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.record import write_record
from gainwright_sim.rehearsal.rehearse import rehearse
from gainwright_sim.rehearsal.rungs import rung_table
from gainwright_sim.rehearsal.summary import summarise
from gainwright_sim.rehearsal.words import summary_lines
from gainwright_sim.rig.run import Override
from gainwright_sim.theory.stages import SPEED_GAIN

TRIAL_FILE = shipped_trial_path("standard")
TRIAL = load_trial(TRIAL_FILE)
RATIO = TRIAL.stages[0].ratio


def rehearsed(name, seed=1, **options):
    return rehearse(Bench(TRIAL, load_machine(name), changeable=True), seed, **options)


LIMITED_BY_NOISE = "positioning-bench"
"""Its encoder is so coarse that noise fills the torque before the stability limit is reached."""


def test_a_coarse_encoder_ends_the_search_by_noise_well_below_the_limit():
    summary = summarise(rehearsed(LIMITED_BY_NOISE, log_control=True))
    stage = summary.stages[0]
    assert summary.outcome == "limited_by_noise"
    assert not summary.violations
    assert stage.limit is None and stage.margin_db is None
    assert stage.theory.result_is_stable and stage.theory.result_share < 0.7
    assert summary.ending.reason == "below_noise"


@pytest.mark.parametrize("name", sorted({*shipped_machine_names()} - {LIMITED_BY_NOISE}))
def test_every_shipped_axis_is_tuned_within_one_rung(name):
    rehearsal = rehearsed(name, log_control=True)
    summary = summarise(rehearsal)
    stage = summary.stages[0]
    assert summary.outcome == "finished"
    assert not summary.violations
    exact = SPEED_GAIN.limit(load_machine(name))
    assert stage.limit / exact.gain == pytest.approx(1.0, abs=RATIO - 1.0)
    assert stage.onset_frequency_hz == pytest.approx(exact.frequency_hz, rel=0.05)
    assert stage.result <= stage.limit * (1.0 - TRIAL.stages[0].margin)
    assert stage.margin_db == pytest.approx(20 * math.log10(stage.limit / stage.result))
    assert stage.quiet_rung == stage.onset_rung - 1
    assert summary.torque_oscillation_max_of_limit < 0.15


def test_summary_keys_are_those_documented():
    data = summarise(rehearsed("grinder-slide", log_control=True)).as_json()
    assert {
        "outcome", "stages", "machine_time_s", "torque_oscillation_max_per_unit", "seed",
        "trial_digest", "machine_digest",
    } <= data.keys()  # fmt: skip
    assert {
        "stage", "limit", "result", "unit", "quiet_rung", "onset_rung", "onset_frequency_hz",
    } <= data["stages"][0].keys()  # fmt: skip
    assert json.loads(json.dumps(data, allow_nan=False)) == json.loads(json.dumps(data))


def test_record_is_complete_and_the_same_bytes_twice(tmp_path):
    digests = []
    for place in ("first", "second"):
        rehearsal = rehearsed("grinder-slide", seed=7, log_control=True)
        write_record(
            tmp_path / place, rehearsal, summarise(rehearsal), TRIAL_FILE,
            machine_path("grinder-slide").read_bytes(),
        )  # fmt: skip
        files = sorted((tmp_path / place).iterdir())
        digests.append({p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in files})
    assert digests[0] == digests[1]
    assert {"summary.json", "trial.toml", "machine.toml", "signals.npz", "rehearsal.png",
            "rungs-speed_gain.csv"} <= digests[0].keys()  # fmt: skip
    with np.load(tmp_path / "first" / "signals.npz") as signals:
        lengths = {len(signals[name]) for name in signals.files}
        assert len(lengths) == 1
        assert signals["torque_highest_nm"].max() > 0.0
    with (tmp_path / "first" / "rungs-speed_gain.csv").open(newline="") as stream:
        rungs = [int(line["rung"]) for line in csv.DictReader(stream)]
    limit = max(rungs)
    assert rungs[: limit + 1] == list(range(limit + 1))


def test_rung_table_covers_the_whole_time_without_gaps():
    rehearsal = rehearsed("grinder-slide")
    lines = rung_table(rehearsal, rehearsal.tables[0])
    assert lines[0].from_s == 0.0
    assert lines[-1].until_s == pytest.approx(rehearsal.machine_time_s)
    assert all(a.until_s == b.from_s for a, b in itertools.pairwise(lines))


def test_permit_released_gives_a_withdrawn_summary_without_result():
    override = Override(start=3000, stop=10**6, input="run_permit", value=0)
    rehearsal = rehearsed("grinder-slide", overrides=[override])
    summary = summarise(rehearsal)
    assert summary.outcome == "aborted"
    assert summary.stages[0].result is None
    assert rehearsal.output("speed_gain_rung")[-1] == 0
    assert any("aborted" in line for line in summary_lines(summary))


@pytest.mark.parametrize(
    ("brake_s", "key"), [("open_time_s", "brake.open_time_s"), ("close_time_s", "brake.close")]
)
def test_brake_slower_than_the_trial_allows_is_refused(brake_s, key):
    machine = load_machine("door-hoist")
    slow = dataclasses.replace(machine, brake=dataclasses.replace(machine.brake, **{brake_s: 0.9}))
    with pytest.raises(InputError, match=key):
        Bench(TRIAL, slow)


def test_control_tick_that_does_not_divide_the_sequencer_tick_is_refused():
    machine = load_machine("grinder-slide")
    odd = dataclasses.replace(
        machine, drive=dataclasses.replace(machine.drive, control_tick_s=0.3e-3)
    )
    with pytest.raises(InputError, match="whole part of the sequencer tick"):
        Bench(TRIAL, odd)
