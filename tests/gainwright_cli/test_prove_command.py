"""``gainwright prove`` from the outside: evidence, recheck, replay, mutants, exit codes."""

from __future__ import annotations

import hashlib
import io
import json
import re
import runpy
import shutil
import sys
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

from gainwright_cli.main import main
from gainwright_cli.prove import progress
from gainwright_proof.c_checks import esbmc
from gainwright_proof.evidence.schema import evidence_schema

pytestmark = pytest.mark.slow

needs_esbmc = pytest.mark.skipif(esbmc.executable() is None, reason="ESBMC is not installed")
needs_spin = pytest.mark.skipif(shutil.which("spin") is None, reason="spin is not installed")

SMALL = runpy.run_path(str(Path(__file__).parents[1] / "shared" / "small_trial.py"))["SMALL"]


def run(capsys, *words):
    code = main(["prove", *(str(word) for word in words)])
    captured = capsys.readouterr()
    return code, captured.out, captured.err


@pytest.fixture(scope="module")
def proved(tmp_path_factory):
    folder = tmp_path_factory.mktemp("proved")
    (folder / "small.toml").write_text(SMALL, encoding="utf-8")
    code = main(["prove", str(folder / "small.toml"), "--out", str(folder / "evidence")])
    return folder, code


def broken(text: str) -> str:
    """The trial without the drop of the result below the limit, which its requirements forbid."""
    result, count = re.subn(r'result = "max\(rung - 2, 0\)"', 'result = "rung"', text, count=1)
    assert count == 1
    return result


def test_everything_is_proved_and_the_document_keeps_its_schema(proved):
    folder, code = proved
    document = json.loads((folder / "evidence" / "evidence.json").read_text(encoding="utf-8"))
    jsonschema.validate(document, evidence_schema())
    assert code == 0
    # What is not run lacks a tool on this computer; nothing may be refuted or undecided.
    assert set(document["verdicts"].values()) <= {"proved", "tested", "not run"}
    assert document["exploration"]["rows_taken"] == document["exploration"]["rows"]
    assert document["obligations"]
    assert document["verdicts"]["readers_agree"] == "proved"


def test_a_parser_with_a_defect_ends_the_proof(tmp_path, capsys, monkeypatch):
    """All methods prove what the parser gave them; the second reader does not."""
    from gainwright.language import parse

    whole = parse._Parser._in_state

    def dropping(self):
        read = whole(self)
        return replace(read, states=read.states[:1])

    monkeypatch.setattr(parse._Parser, "_in_state", dropping)
    path = tmp_path / "small.toml"
    path.write_text(SMALL.replace('"in_state(rest)"', '"in_state(rest, search)"'), encoding="utf-8")
    code, out, _ = run(capsys, path, "--json")
    verdicts = json.loads(out)["verdicts"]
    assert (code, verdicts["readers_agree"], verdicts["ends"]) == (1, "refuted", "proved")


def test_the_same_proof_gives_the_same_bytes(proved, tmp_path, capsys):
    folder, _ = proved
    run(capsys, folder / "small.toml", "--out", tmp_path / "again", "--afresh")
    contents = [
        {
            path.relative_to(place): path.read_bytes()
            for path in sorted(place.rglob("*"))
            if path.is_file()
        }
        for place in (folder / "evidence", tmp_path / "again")
    ]
    assert contents[0] == contents[1]


def test_recheck_confirms_and_notices_what_was_tampered_with(proved, tmp_path, capsys):
    folder, _ = proved
    code, out, _ = run(capsys, folder / "small.toml", "--recheck", folder / "evidence", "--json")
    solvers = json.loads(out)["solvers"]
    assert (code, json.loads(out)["open"]) == (0, [])
    assert "proved" in solvers.values()
    assert set(solvers.values()) <= {"proved", "tested", "not run"}
    code, _, err = run(capsys, "standard", "--recheck", folder / "evidence")
    assert code == 2
    assert "trial.digest" in err and "exported.digest" in err
    path = next((folder / "evidence" / "obligations").rglob("*.smt2"))
    original = path.read_text(encoding="utf-8")
    path.write_text(original + "; nothing changed, or was it?\n", encoding="utf-8")
    code, _, err = run(capsys, folder / "small.toml", "--recheck", folder / "evidence")
    path.write_text(original, encoding="utf-8")
    assert code == 2
    assert path.name in err


@pytest.mark.parametrize(
    ("said", "forged"),
    [
        pytest.param(
            r"program of the runs: \w+", f"program of the runs: {'5a' * 32}", marks=needs_esbmc
        ),
        pytest.param(r"Searched completely\.", "All was searched.", marks=needs_spin),
        (r"Needs no further facts\.", "Rests on nothing."),
    ],
    ids=["C source", "spin", "induction"],
)
def test_recheck_lets_every_method_find_again_what_it_said(proved, tmp_path, capsys, said, forged):
    """A finding is changed, and all sums are made to fit; what is kept in the cache about these
    bytes says what the evidence said before."""
    folder, _ = proved
    place = tmp_path / "evidence"
    shutil.copytree(folder / "evidence", place)
    document = (place / "evidence.json").read_text(encoding="utf-8")
    changed = re.sub(said, forged, document)
    assert changed != document
    (place / "evidence.json").write_text(changed, encoding="utf-8")
    sums = (place / "SHA256SUMS").read_text(encoding="utf-8")
    old, new = (hashlib.sha256(text.encode()).hexdigest() for text in (document, changed))
    (place / "SHA256SUMS").write_text(sums.replace(old, new), encoding="utf-8")
    code, _, err = run(capsys, folder / "small.toml", "--recheck", place)
    assert code == 2
    assert forged in err


def test_a_broken_trial_is_refuted_by_a_run_that_replays(tmp_path, capsys):
    (tmp_path / "broken.toml").write_text(broken(SMALL), encoding="utf-8")
    code, out, _ = run(capsys, tmp_path / "broken.toml", "--out", tmp_path / "evidence")
    assert code == 1
    assert "refuted" in out
    runs = sorted((tmp_path / "evidence" / "counterexamples").glob("*.json"))
    assert runs
    for path in runs:
        code, out, _ = run(capsys, tmp_path / "broken.toml", "--replay", path, "--json")
        shown = json.loads(out)
        assert code == 0
        assert shown["confirmed"]
        assert shown["subject"] in shown["violations"]


def test_mutants_are_reported_and_survivors_decide_the_exit_code(tmp_path, capsys):
    (tmp_path / "small.toml").write_text(SMALL, encoding="utf-8")
    code, out, _ = run(capsys, tmp_path / "small.toml", "--mutants", "--json")
    report = json.loads(out)["mutants"]
    outcomes = {mutant["outcome"] for mutant in report["mutants"]}
    assert "caught" in outcomes
    assert (code == 1) == ("survived" in outcomes)


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (["nothing"], "standard"),
        (["standard", "--recheck", "nowhere"], r"nowhere/evidence\.json"),
        (["standard", "--replay", "nowhere.json"], r"nowhere\.json"),
    ],
)
def test_bad_input_gives_one_clear_error(capsys, words, wanted):
    code, out, err = run(capsys, *words)
    assert (code, out) == (2, "")
    assert "Traceback" not in err
    assert re.search(wanted, err)
    assert "remedy:" in err


def test_unwritable_folder_leaves_nothing(tmp_path, capsys):
    (tmp_path / "small.toml").write_text(SMALL, encoding="utf-8")
    (tmp_path / "file").write_text("mine")
    code, _, err = run(capsys, tmp_path / "small.toml", "--out", tmp_path / "file")
    assert code == 2
    assert "file" in err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file", "small.toml"]


def test_one_requirement_alone(tmp_path, capsys):
    (tmp_path / "small.toml").write_text(SMALL, encoding="utf-8")
    code, out, _ = run(capsys, tmp_path / "small.toml", "--only", "can_find", "--quick")
    assert code in (0, 3)  # single-hit tables and rows are asked of every trial
    assert "can_find" in out and "loud_drops" not in out
    assert "--only" not in out.split("Next:")[1]


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (["standard", "--only", "nothing"], "--only"),
        (["standard", "--only", "trial_ends", "--out", "x"], "whole trial"),
        (["standard", "--exported", "x"], "--recheck"),
        (["standard", "--machine", "x"], "--exported"),
        (["standard", "--after", "x"], "--exported"),
        (["standard", "--schedule", "x"], "--exported"),
        (["standard", "--force"], "--out"),
        (["standard", "--quick", "--solvers"], "exploration alone"),
        (["standard", "--full", "--out", "x"], "waits folded"),
        (["standard", "--quick", "--afresh"], "never remembered"),
        (["standard", "--recheck", "x", "--quick"], "--recheck beside --quick"),
        (["standard", "--replay", "x", "--mutants"], "--replay beside --mutants"),
        (["--inserted-defects", "--out", "x"], "--inserted-defects beside --out"),
    ],
)
def test_options_that_do_nothing_are_refused(capsys, words, wanted):
    code, out, err = run(capsys, *words)
    assert (code, out) == (2, "")
    assert wanted in err


def test_refuted_first_with_values_and_hazard_in_80_columns(tmp_path, capsys):
    (tmp_path / "broken.toml").write_text(broken(SMALL), encoding="utf-8")
    code, out, err = run(capsys, tmp_path / "broken.toml", "--quick")
    assert code == 1
    lines = out.splitlines()
    assert lines[0] == "refuted"
    assert "violated:" in out and "where " in out and "hazard " in out
    assert "cannot stamp" in out
    assert max(len(line) for line in lines if "gainwright prove" not in line) <= 80
    assert "exploration of the compiled C: done" in err  # progress when piped


def test_show_tells_a_plan_without_evidence_and_a_verdict_with_it(tmp_path, capsys):
    """A sentence in a trial file that nobody proved must not read like a verdict."""
    (tmp_path / "small.toml").write_text(SMALL, encoding="utf-8")
    trial, evidence = str(tmp_path / "small.toml"), str(tmp_path / "evidence")
    assert main(["show", trial]) == 0
    plain = " ".join(capsys.readouterr().out.split())
    assert "to be proved by" in plain and "; proved by" not in plain
    assert main(["prove", trial, "--quick", "--out", evidence]) == 0
    # Exploration alone stamps nothing: what is next is the whole proof, not a change of the trial.
    ahead = capsys.readouterr().out.split("Next:")[1]
    assert "in full" in ahead and "--quick" not in ahead
    assert main(["show", trial, "--evidence", evidence]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "proved by exhaustive exploration of the compiled C" in told
    assert "to be proved" not in told
    assert main(["show", "standard", "--evidence", evidence]) == 2


def test_what_methods_say_side_by_side_stays_in_lines(monkeypatch):
    """Each line is one write: two threads cannot come between it and its end."""
    written = []

    class Plain(io.StringIO):
        def write(self, text):
            written.append(text)
            return len(text)

    monkeypatch.setattr(sys, "stderr", Plain())
    with progress() as announce:
        announce("one method", False)
        announce("one method", True)
    assert [text for text in written if text] == ["one method: ...\n", "one method: done\n"]
