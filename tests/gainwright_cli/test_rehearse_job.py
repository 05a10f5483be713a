"""``gainwright rehearse --then``: several trials in one go, with one summary and one folder."""

from __future__ import annotations

import dataclasses
import json
import tomllib

import pytest

from gainwright.result_folder import changed_files, listed_files
from gainwright_cli.main import main
from gainwright_sim.machine import load_machine
from gainwright_sim.rehearsal.job import has_result, job_of
from gainwright_sim.rehearsal.summary import Elsewhere, Summary

from ..shared.pictures import without_pictures

TRIALS = ("standard", "loadside")


def run(capsys, *words):
    capsys.readouterr()
    code = main(["rehearse", *words])
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return code, out, err


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Speed gain, then load side, on the shipped axis with a load sensor."""
    place = tmp_path_factory.mktemp("job") / "record"
    words = ["--trial", TRIALS[0], "--then", TRIALS[1], "--out", str(place)]
    with without_pictures():
        assert main(["rehearse", "kiln-shuttle", *words]) == 0
    return place


def test_one_folder_holds_every_record(folder):
    parts = [folder / "1-standard", folder / "2-loadside"]
    assert all((part / "summary.json").is_file() for part in parts)
    assert {"1-standard/summary.json", "2-loadside/signals.npz"} <= listed_files(folder).keys()
    assert not changed_files(folder)
    whole = json.loads((folder / "summary.json").read_text())
    assert whole["parts"] == [json.loads((part / "summary.json").read_text()) for part in parts]


def test_later_trial_starts_from_the_results_before_it(folder):
    first, second = json.loads((folder / "summary.json").read_text())["parts"]
    (stage,) = first["stages"]
    started = tomllib.loads((folder / "2-loadside" / "machine.toml").read_text())
    assert started["speed_loop"]["start_speed_gain_nms_per_rad"] == pytest.approx(stage["result"])
    assert stage["result"] > 5 * stage["start"]
    assert second["load_limit"]["exact_share"] == pytest.approx(1.0, abs=0.06)


def test_summary_of_the_whole_says_all(folder):
    whole = json.loads((folder / "summary.json").read_text())
    assert whole["complete"] and whole["trial"] == "standard, loadside"
    assert [stage["stage"] for stage in whole["stages"]] == ["speed_gain", "load_position_gain"]
    times = [part["machine_time_s"] for part in whole["parts"]]
    assert whole["machine_time_s"] == sum(times) > max(times)
    # Each share is of the limit with what was held then; the margins are those of the end.
    shares = [stage["theory"]["result_share"] for stage in whole["stages"]]
    heaviest = whole["elsewhere"][-1]
    assert heaviest["result_shares"]["speed_gain"] == pytest.approx(shares[0], rel=0.05)
    assert heaviest["result_shares"]["load_position_gain"] > shares[1]
    assert whole["margins"] == whole["parts"][1]["margins"]


def test_the_record_of_a_job_is_one_to_start_from_and_to_compare(folder, capsys):
    assert main(["compare", str(folder), str(folder / "2-loadside")]) == 1
    said = capsys.readouterr().out
    assert "limit by decay of the load" in said
    again = run(capsys, "kiln-shuttle", "--after", str(folder), "--json")
    assert json.loads(again[1])["stages"][0]["start"] == pytest.approx(
        json.loads((folder / "summary.json").read_text())["stages"][0]["result"]
    )


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["glaze-gantry", "--then", "loadside"], "[load_sensor]"),
        (["kiln-shuttle", "--then", "no-such-trial"], "no-such-trial"),
        (["kiln-shuttle", "--then", "loadside", "--repeat", "3"], "--then beside --repeat"),
        (["--family", "own", "--axis-seed", "1", "--then", "gentle"], "--then beside --family"),
    ],
)
def test_what_cannot_be_is_refused_before_anything_moves(capsys, tmp_path, words, said):
    code, out, err = run(capsys, *words, "--out", str(tmp_path / "none"))
    assert code == 2 and not out
    assert said in " ".join(err.split())
    assert not (tmp_path / "none").exists()


def stub(outcome, **more):
    fields = {field.name: None for field in dataclasses.fields(Summary)}
    empty = {"stages": (), "settings": (), "elsewhere": (), "violations": ()}
    numbers = {"machine_time_s": 1.0, "outcome": outcome, "trial": "first", "machine": "shuttle"}
    return Summary(**(fields | empty | numbers | more))


@pytest.mark.parametrize("outcome", ["aborted", "fault_latched", "unfinished", "wrong_too_high"])
def test_nothing_is_built_on_a_trial_without_a_good_result(outcome):
    machine = load_machine("kiln-shuttle")
    assert not has_result(stub(outcome))
    job = job_of(machine, ["first", "second"], [stub(outcome)])
    assert not job.complete and job.exit_code != 0 and job.places == ()
    assert any("second: not begun" in line for line in job.lines())


def test_exit_code_is_the_worst_of_all():
    parts = (stub("finished"), stub("finished"))
    job = job_of(load_machine("kiln-shuttle"), ["first", "second"], parts)
    assert job.complete and job.exit_code == 0
    unstable = dataclasses.replace(job, places=(*job.places, Elsewhere("there", None, {})))
    assert unstable.exit_code == 1
    assert any("NOT STABLE" in line for line in unstable.lines())


@pytest.mark.slow
def test_job_at_every_place(capsys, tmp_path):
    words = ["kiln-shuttle", "--trial", "complete", "--then", "loadside", "--everywhere"]
    code, out, _ = run(capsys, *words, "--json", "--out", str(tmp_path / "every"))
    found = json.loads(out)
    assert code == 0
    assert json.loads((tmp_path / "every" / "everywhere.json").read_text()) == found
    first, second = found["parts"]
    assert {len(first["situations"]), len(second["situations"])} == {5}
    chosen = {one["setting"]: one["value"] for one in found["chosen"]}
    assert chosen["load_position_gain"] < 1.0 < chosen["position_gain"]
    assert (tmp_path / "every" / "2-loadside" / "gw_schedule_kiln_shuttle.c").is_file()
    code, out, _ = run(capsys, "kiln-shuttle", "--after", str(tmp_path / "every"), "--json")
    assert json.loads(out)["stages"][0]["start"] == pytest.approx(chosen["speed_gain"])
