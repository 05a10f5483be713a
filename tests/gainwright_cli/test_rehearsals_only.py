"""A trial that says it is for rehearsals only is never called ready for a machine."""

from __future__ import annotations

import json

import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_cli.main import main
from gainwright_codegen.sources import trial_sources

WHY = "Nobody has watched it stop."
HEAD = 'initial_state = "idle"\n'


@pytest.fixture(scope="module")
def trial_file(tmp_path_factory):
    text = shipped_trial_path("standard").read_text(encoding="utf-8")
    path = tmp_path_factory.mktemp("trial") / "reserved.toml"
    path.write_text(text.replace(HEAD, f'{HEAD}rehearsals_only = "{WHY}"\n', 1), encoding="utf-8")
    return path


def said(capsys, *words):
    code = main([str(word) for word in words])
    out, err = capsys.readouterr()
    return code, " ".join(out.split()), " ".join(err.split())


def test_it_is_part_of_the_meaning(trial_file):
    standard, reserved = load_trial(shipped_trial_path("standard")), load_trial(trial_file)
    assert standard.rehearsals_only == "" and reserved.rehearsals_only == WHY
    assert standard.digest != reserved.digest


def test_check_and_show_say_it(trial_file, capsys):
    assert f"rehearsals only: {WHY}" in said(capsys, "check", trial_file)[1]
    assert f"For rehearsals only: {WHY}" in said(capsys, "show", trial_file)[1]
    assert "rehearsals_only" not in json.loads(said(capsys, "check", "standard", "--json")[1])


@pytest.mark.slow
def test_a_rehearsal_does_not_send_the_c_home(trial_file, capsys):
    code, out, _ = said(capsys, "rehearse", "grinder-slide", "--trial", trial_file)
    assert code == 0
    assert WHY in out and "take the C home" not in out
    assert "take the C home" in said(capsys, "rehearse", "grinder-slide")[1]


def test_the_c_is_marked(trial_file):
    header = trial_sources(load_trial(trial_file))["gw_trial.h"].decode()
    assert f"FOR REHEARSALS ONLY, not for a machine: {WHY}" in " ".join(header.split(" * "))


@pytest.mark.slow
def test_the_export_is_marked(trial_file, capsys, tmp_path):
    out = tmp_path / "c"
    code, words, _ = said(capsys, "export", "grinder-slide", "--trial", trial_file, "--out", out)
    assert code == 0
    marked = f"FOR REHEARSALS ONLY, not for a machine: {WHY}"
    assert marked in words
    for name in ("README.txt", "gw_trial.h"):
        text = (out / name).read_text(encoding="utf-8")
        assert marked in " ".join(text.replace(" * ", " ").split()), name


def test_it_is_a_text(trial_file, capsys, tmp_path):
    text = trial_file.read_text(encoding="utf-8")
    path = tmp_path / "number.toml"
    path.write_text(text.replace(f'"{WHY}"', "true", 1), encoding="utf-8")
    code, _, err = said(capsys, "check", path)
    assert code == 2
    assert "[trial]" in err and "rehearsals_only" in err
