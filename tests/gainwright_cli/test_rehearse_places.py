"""``gainwright rehearse`` at every place, from another record, and beside a reference."""

from __future__ import annotations

import json

import pytest

from gainwright.result_folder import result_folder
from gainwright_cli.main import main

STAGES = [
    {"stage": "speed_gain", "result": 14.8},
    {"stage": "integral_rate", "result": 200.0},
    {"stage": "position_gain", "result": 40.0},
]


def record(folder, machine="kiln-shuttle", stages=STAGES, **more):
    with result_folder(folder) as place:
        summary = {"machine": machine, "trial": "complete", "stages": stages, **more}
        (place / "summary.json").write_text(json.dumps(summary), encoding="utf-8")
    return str(folder)


def run(capsys, *words):
    capsys.readouterr()
    code = main(["rehearse", *words])
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return code, out, err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["grinder-slide", "--everywhere"], "other positions or payloads"),
        (["kiln-shuttle", "--everywhere", "--at", "15 m, 920 kg"], "--everywhere beside --at"),
        (["kiln-shuttle", "--everywhere", "--repeat", "3"], "--everywhere beside --repeat"),
        (["glaze-gantry", "--trial", "loadside"], "[load_sensor]"),
        (["--family", "own", "--axis-seed", "1", "--after", "x"], "--after beside --family"),
        (["kiln-shuttle", "--reference", "/no/such/record"], "no summary.json"),
    ],
)
def test_what_cannot_be_is_refused(capsys, words, said):
    code, out, err = run(capsys, *words)
    assert code == 2 and not out
    assert said in " ".join(err.split())


@pytest.mark.parametrize("option", ["--after", "--reference"])
def test_record_of_another_machine_is_refused(capsys, tmp_path, option):
    other = record(tmp_path / "other", machine="door-hoist")
    code, _, err = run(capsys, "kiln-shuttle", option, other)
    assert code == 2
    assert "a record of door-hoist" in " ".join(err.split()) and option in err


def test_record_without_results_is_no_start(capsys, tmp_path):
    empty = record(tmp_path / "empty", stages=[{"stage": "speed_gain", "result": None}])
    code, _, err = run(capsys, "kiln-shuttle", "--after", empty)
    assert code == 2 and "without results" in " ".join(err.split())


@pytest.mark.slow
def test_load_side_after_the_speed_loop_at_every_place(capsys, tmp_path):
    """The heaviest load at the softest place has the smallest gain; the choice suits all."""
    before = record(tmp_path / "before")
    words = ["kiln-shuttle", "--trial", "loadside", "--after", before]
    code, out, _ = run(capsys, *words, "--everywhere", "--json", "--out", str(tmp_path / "every"))
    found = json.loads(out)
    assert code == 0
    assert json.loads((tmp_path / "every" / "everywhere.json").read_text()) == found
    assert len(found["situations"]) == 5
    names = {path.name for path in (tmp_path / "every").iterdir()}
    assert {"gw_schedule.h", "gw_schedule_kiln_shuttle.c"} <= names
    points = found["schedule"]["load_position_gain"]
    assert [point["position_m"] for point in points] == [-15.0, 0.0, 15.0]
    # The belt is softest far from the driving pulley; each point is the heaviest load's.
    assert points[2]["gain"] == min(point["gain"] for point in points)
    (chosen,) = found["chosen"]
    assert chosen["situation"] == "15 m, 920 kg"
    assert chosen["value"] < 0.5 * chosen["largest"]
    assert all(place["margins"] is not None for place in found["margins"])
    for place in found["situations"]:
        assert 0.94 < place["load_limit"]["exact_share"] < 1.06


@pytest.mark.slow
def test_loose_belt_is_seen_against_a_reference(capsys, tmp_path):
    """A heavier load on the same belt: limit and frequency go down, and a hint says why."""
    before = record(tmp_path / "before")
    words = ["kiln-shuttle", "--trial", "loadside", "--after", before]
    light = str(tmp_path / "light")
    assert run(capsys, *words, "--at", "15 m, 320 kg", "--out", light)[0] == 0
    more = ["--at", "15 m, 920 kg", "--reference", light]
    code, out, _ = run(capsys, *words, *more)
    assert code == 0
    assert "limit by decay of the load" in out and "frequency of the load" in out
    assert "the load swings slower: a looser belt" in " ".join(out.split())
    moved = {item["what"] for item in json.loads(run(capsys, *words, *more, "--json")[1])["moved"]}
    assert "frequency of the load [Hz]" in moved
    code, out, _ = run(capsys, *words, "--at", "15 m, 320 kg", "--reference", light)
    assert "hint" not in out
