"""``gainwright compare``: what moved, and only that; what cannot be compared is refused."""

from __future__ import annotations

import json

import pytest

from gainwright.language.shipped import shipped_trial_path
from gainwright_cli.main import main
from gainwright_sim.rehearsal.compare import MOVED

from ..shared.pictures import without_pictures


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    """Two rehearsals that differ by the seed, one with a wider margin; two campaigns likewise."""
    place = tmp_path_factory.mktemp("records")
    text = shipped_trial_path("standard").read_text(encoding="utf-8")
    wider = text.replace("margin_rungs = { value = 16", "margin_rungs = { value = 24")
    assert wider != text
    (place / "wider.toml").write_text(wider, encoding="utf-8")
    with without_pictures():
        make_records(place)
    return place


def make_records(place):
    for name, *options in (
        ("first",),
        ("second", "--seed", "2"),
        ("wide", "--trial", str(place / "wider.toml")),
    ):
        main(["rehearse", "grinder-slide", *options, "--out", str(place / name)])
    for name, *options in (("all",), ("wide_all", "--trial", str(place / "wider.toml"))):
        words = ["--count", "2", "--workers", "1"]
        main(["campaign", *words, *options, "--out", str(place / name)])


def compared(records, capsys, *names, more=()):
    capsys.readouterr()
    code = main(["compare", *(str(records / name) for name in names), *more])
    out, err = capsys.readouterr()
    return code, out, err


def test_record_and_itself(records, capsys):
    code, out, _ = compared(records, capsys, "first", "first")
    assert code == 0
    assert "same trial, machine and seed" in out
    assert "moved" not in out and "->" not in out


def test_another_seed_moves_no_limit(records, capsys):
    code, out, _ = compared(records, capsys, "first", "second", more=["--json"])
    data = json.loads(out)
    assert data["other_sources"] == ["seed"]
    moved = [item["what"] for item in data["differences"] if item["moved"]]
    assert not [what for what in moved if "limit" in what or "gain" in what]
    assert code == int(bool(moved))


def test_a_wider_margin_moves_the_result_and_not_the_limit(records, capsys):
    code, out, _ = compared(records, capsys, "first", "wide", more=["--json"])
    by_name = {item["what"]: item for item in json.loads(out)["differences"]}
    result, limit = by_name["speed_gain: gain chosen"], by_name["speed_gain: limit found"]
    assert code == 1
    assert result["moved"] and result["ratio"] == pytest.approx(1.045**-8, rel=MOVED)
    assert not limit["moved"]


def test_campaigns_axis_by_axis(records, capsys):
    code, out, _ = compared(records, capsys, "all", "wide_all")
    assert code == 1
    assert "own, 2 axes in both" in out
    assert "results moved by more than 3 %   2" in out
    assert compared(records, capsys, "all", "all")[0] == 0


def test_what_cannot_be_compared_is_refused(records, capsys, tmp_path):
    for names, said in (
        (("all", "first"), "two of a kind"),
        (("first", "nowhere"), "no summary.json"),
    ):
        code, _, err = compared(records, capsys, *names)
        assert code == 2
        assert said in err


def test_changed_record_is_refused(records, capsys):
    path = records / "second" / "summary.json"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('"seed": 2', '"seed": 3'), encoding="utf-8")
    code, _, err = compared(records, capsys, "first", "second")
    path.write_text(text, encoding="utf-8")
    assert code == 2
    assert "another content" in err


def test_campaign_record_is_whole(records):
    names = {path.name for path in (records / "all").iterdir()}
    assert {"report.txt", "campaign.json", "axes.csv", "replay.txt", "campaign.png",
            "trial.toml", "README.txt"} <= names  # fmt: skip
    lines = (records / "all" / "axes.csv").read_text(encoding="utf-8").splitlines()
    assert len(lines) == 3
    assert lines[0].startswith("family,axis_seed,noise_seed")
