"""Axes that break at some moment, unsaid: no trial verifies a gain on one of them."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_cli.main import main
from gainwright_sim.campaign.broken import BrokenAxis, broken_lines, drawn_fault, run_broken
from gainwright_sim.campaign.families import FAMILIES
from gainwright_sim.campaign.run import Benches
from gainwright_sim.campaign.sampling import sample
from gainwright_sim.machine import load_machine
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.outcome import OUTCOMES
from gainwright_sim.rehearsal.rehearse import rehearse
from gainwright_sim.rehearsal.summary import summarise
from gainwright_sim.rig.faults import FAULT_KINDS, SOUND, RigFault

TRIAL = load_trial(shipped_trial_path("standard"))
MET = BrokenAxis("own", 1, 1, "torque_lost", 3.0, "fault_latched", "feedback_frozen", 3.8)
DOUBLED = {"outcome": "finished", "decided_s": 20.0, "kind": "position_doubled"}


def test_faulty_axes_end_without_a_result():
    results = run_broken(TRIAL, range(730000, 730008), 0, 1, lambda done: None, FAMILIES["own"])
    assert sum(result.met for result in results) >= 4
    assert not any(result.wrong for result in results)
    assert "Wrongly verified: 0 of" in "\n".join(broken_lines(results))


@pytest.mark.parametrize(
    ("change", "met", "wrong"),
    [
        ({}, True, False),
        ({"fault_s": 3.9}, False, False),
        ({"outcome": "finished", "decided_s": 20.0}, True, True),
        ({"outcome": "finished", "decided_s": 4.9}, False, False),
        ({"outcome": "finished", "decided_s": 20.0, "kind": "pulse_lost"}, True, False),
        ({"outcome": "wrong_too_high", "decided_s": 20.0, "kind": "pulse_lost"}, True, True),
        ({"outcome": "refused", "decided_s": None}, False, False),
        (DOUBLED | {"result_share": 0.36}, True, True),
        (DOUBLED | {"result_share": 0.34}, True, False),
    ],
)
def test_what_counts_as_wrong(change, met, wrong):
    result = dataclasses.replace(MET, **change)
    assert (result.met, result.wrong) == (met, wrong)
    assert ("WRONG on 1 of 2" in "\n".join(broken_lines([MET, result]))) == wrong


def test_faults_of_the_load_sensor_need_one():
    kinds = {drawn_fault(sample(FAMILIES["own"], k), k, TRIAL).kind for k in range(150)}
    assert kinds == {kind.name for kind in FAULT_KINDS.values() if not kind.at_the_load}


def test_replay_line_repeats_the_axis(capsys):
    axis = run_broken(TRIAL, [730001], 0, 1, lambda done: None, FAMILIES["own"])[0]
    assert main(["rehearse", *axis.replay.split(), "--json"]) in (0, 1)
    summary = json.loads(capsys.readouterr().out)
    assert (summary["outcome"], summary["ending"]["time_s"]) == (axis.outcome, axis.decided_s)
    assert summary["broken"] == {"kind": axis.kind, "from_s": axis.fault_s}


def test_campaign_on_faulty_axes_leaves_a_record(tmp_path, capsys):
    out = tmp_path / "faults"
    assert main(["campaign", "--faults", "--count", "3", "--workers", "1", "--out", str(out)]) == 0
    assert "Wrongly verified: 0 of" in capsys.readouterr().out
    data = json.loads((out / "faults.json").read_text())
    assert [axis["axis_seed"] for axis in data["axes"]] == [0, 1, 2]


@pytest.mark.parametrize("text", ["pulse@2", "torque_lost", "torque_lost@", "torque_lost@-1", "@2"])
def test_bad_fault_is_refused(text, capsys):
    with pytest.raises(SystemExit) as refused:
        main(["rehearse", "kiln-shuttle", "--fault", text])
    assert refused.value.code == 2
    assert "position_frozen@3.5" in capsys.readouterr().err


@pytest.mark.parametrize("beside", [["--repeat", "2"], ["--everywhere"]])
def test_fault_goes_with_one_rehearsal_only(beside, capsys):
    assert main(["rehearse", "kiln-shuttle", "--fault", "torque_lost@2", *beside]) == 2
    assert "leave one out" in capsys.readouterr().err


@pytest.mark.parametrize("kind", [kind.name for kind in FAULT_KINDS.values() if kind.input])
def test_fault_that_is_said_stops_the_axis_at_once(kind):
    rehearsal = rehearse(
        Bench(TRIAL, load_machine("kiln-shuttle"), changeable=True), 1, fault=RigFault(kind, 4000)
    )
    moving = rehearsal.output("motion_enable") * rehearsal.output("torque_request")
    assert moving[3999] and not moving[4000]
    assert not rehearsal.ends_with("finished") and not rehearsal.ends_with("limited_by_noise")


def test_torque_that_is_stuck_is_noticed():
    fault = RigFault("torque_stuck", 4000)
    rehearsal = rehearse(
        Bench(TRIAL, load_machine("grinder-slide"), changeable=True), 1, fault=fault
    )
    assert rehearsal.ends_with("fault_latched") or rehearsal.ends_with("aborted")
    assert rehearsal.machine_time_s < 6.0


def broken(name: str, kind: str, start: int):
    bench = Bench(TRIAL, load_machine(name), changeable=True)
    rehearsal = rehearse(bench, 1, fault=RigFault(kind, start))
    return rehearsal, summarise(rehearsal)


def test_encoder_that_pauses_is_noticed_at_once():
    rehearsal, summary = broken("grinder-slide", "position_paused", 12_000)
    assert rehearsal.ends_with("fault_latched") and summary.ending.reason == "feedback_frozen"
    assert summary.ending.time_s < 12.05


def test_encoder_that_jumps_shakes_the_axis_once_and_is_no_later_limit():
    """The blow is a burst: onset at the gain of that time, and half of it is verified."""
    _, summary = broken("grinder-slide", "position_jumped", 12_000)
    assert summary.outcome == "finished" and summary.stages[0].onset_time_s < 12.1
    assert summary.stages[0].theory.result_share < 0.35


def test_encoder_that_counts_twice_makes_a_loop_of_twice_the_gain():
    """The axis moves at half of the speed, as it is measured; the result is safe for that loop."""
    rehearsal, summary = broken("grinder-slide", "position_doubled", 12_000)
    cruising = rehearsal.input("cruising")[12_500:] > 0
    speed = np.median(np.abs(rehearsal.log.signal("speed")[12_500:][cruising]))
    assert speed == pytest.approx(rehearsal.machine.motion.cruise_speed_rad_per_s / 2, rel=0.05)
    assert summary.stages[0].theory.result_share < 0.35


def test_motor_that_is_weak_gives_less_and_verifies_nothing_wrong():
    bench = Benches(TRIAL).mounted(sample(FAMILIES["mixed"], 2730029))
    torque = []
    for fault in (SOUND, RigFault("torque_weak", 1_000)):
        rehearsal = rehearse(bench, 1, fault=fault)
        torque.append(np.abs(rehearsal.log.signal("measured_torque")[1_100:]).max())
        assert not OUTCOMES[summarise(rehearsal).outcome].wrong
    assert torque[1] < 0.31 * bench.machine.drive.torque_limit_nm < torque[0]
