"""The door of the command line: version, lists, templates, last net, output that cannot be had."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from gainwright import __version__
from gainwright.language.shipped import shipped_trial_names, shipped_trial_path
from gainwright_cli import list as list_command
from gainwright_cli.main import COMMANDS, EXIT_CODES, INTERNAL_ERROR, main
from gainwright_sim.machine import machine_path, shipped_machine_names

from ..shared.cases import cases


def command(*words: str, **options):
    return subprocess.run(
        [sys.executable, "-m", "gainwright_cli.main", *words],
        capture_output="stdout" not in options, text=True, **options,
    )  # fmt: skip


def test_version(capsys):
    with pytest.raises(SystemExit) as ended:
        main(["--version"])
    assert ended.value.code == 0
    assert capsys.readouterr().out == f"gainwright {__version__}\n"


def test_shipped_files_are_listed(capsys):
    assert main(["list"]) == 0
    said = capsys.readouterr().out
    assert all(f"  {name} " in said for name in (*shipped_trial_names(), *shipped_machine_names()))


@pytest.mark.parametrize("kind", ["trial", "machine"])
def test_a_template_passes_the_check(kind, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["new", kind, "mine"]) == 0
    assert main(["check", "mine.toml"]) == 0
    said = capsys.readouterr().out
    assert f"mine.toml: valid {kind}" in said
    assert main(["new", kind, "mine"]) == 2
    assert "a file that exists" in capsys.readouterr().err


@pytest.mark.parametrize("kind", ["trial", "machine"])
def test_a_name_that_cannot_be_leaves_no_file(kind, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["new", kind, "no such name!"]) == 2
    said = capsys.readouterr().err
    assert "no such name!.toml" in said
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_explains_itself(name, capsys):
    with pytest.raises(SystemExit) as left:
        main([name, "--help"])
    assert left.value.code == 0
    assert f"gainwright {name}" in capsys.readouterr().out


@pytest.mark.parametrize("shell", ["bash", "zsh"])
def test_completion_knows_commands_and_options(shell, capsys):
    assert main(["completion", shell]) == 0
    said = capsys.readouterr().out
    assert "rehearse" in said and "--trial" in said


def test_completion_is_bash(capsys):
    main(["completion", "bash"])
    text = capsys.readouterr().out
    assert subprocess.run(["bash", "-n"], input=text, text=True, check=False).returncode == 0


def test_a_mistake_of_ours_is_said_to_be_one(monkeypatch, capsys):
    def broken(_):
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr(list_command, "run", broken)
    assert main(["list"]) == INTERNAL_ERROR
    said = capsys.readouterr().err
    assert "internal error: ZeroDivisionError" in said and "please report" in said
    assert "Traceback" not in said
    monkeypatch.setenv("GAINWRIGHT_TRACE", "1")
    main(["list"])
    assert "Traceback" in capsys.readouterr().err


def test_exit_codes_are_different_and_explained():
    assert {0, 1, 2, 3, INTERNAL_ERROR, 130} == set(EXIT_CODES)


def test_a_reader_that_goes_away_is_no_failure():
    done = subprocess.run(
        ["bash", "-o", "pipefail", "-c", f"{sys.executable} -m gainwright_cli.main show | head -1"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
@pytest.mark.parametrize("words", cases([["show"], ["--version"]], slow=[["list"], ["--help"]]))
def test_a_full_disk_is_one_sentence(words):
    with open("/dev/full", "w") as full:
        done = command(*words, stdout=full, stderr=subprocess.PIPE)
    assert done.returncode == 2
    assert done.stderr == "gainwright: standard output: no space left on device\n"


def test_a_terminal_that_knows_ascii_only():
    done = command("show", env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert done.returncode == 0 and "tick 1000 ?s" in done.stdout


def test_one_state_and_one_requirement_can_be_shown(capsys):
    assert main(["show", "--state", "approach"]) == 0
    said = capsys.readouterr().out
    assert "== State approach" in said and "== State idle" not in said
    assert main(["show", "--requirement", "trial_ends"]) == 0
    assert "== Hazard endless_trial" in capsys.readouterr().out
    assert main(["show", "--state", "aproach"]) == 2
    assert "did you mean approach?" in capsys.readouterr().err


def test_the_shipped_trial_needs_no_advice_and_one_without_a_row_for_faults_does(tmp_path, capsys):
    assert main(["check", "standard"]) == 0
    assert "Advice" not in capsys.readouterr().out
    text = shipped_trial_path().read_text(encoding="utf-8")
    blind = text.replace(
        'holds = "not drive_ready or not feedback_valid or ', 'holds = "not drive_ready or '
    )
    assert blind != text
    path = tmp_path / "blind.toml"
    path.write_text(blind, encoding="utf-8")
    assert main(["check", str(path)]) == 0
    assert "state energise asks for torque, but none of its rows looks at feedback_valid" in (
        capsys.readouterr().out
    )


@pytest.mark.parametrize(
    ("key", "factor", "said"),
    [
        ("start_speed_gain_nms_per_rad", 3e-3, "the ladder ends at"),
        ("start_speed_gain_nms_per_rad", 40.0, "is not below the exact limit"),
        ("acceleration_rad_per_s2", 6.5e-2, "too short to reach"),
    ],
)
def test_advice_about_a_machine(key, factor, said, tmp_path, capsys):
    lines = machine_path("positioning-bench").read_text(encoding="utf-8").splitlines()
    for number, line in enumerate(lines):
        name, _, rest = line.partition(" = ")
        if name.startswith(key[:12]) and key.split("_")[0] in name:
            value = float(rest.split("#")[0])
            lines[number] = f"{name} = {value * factor!r}"
    path = tmp_path / "bench.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    assert main(["check", str(path)]) == 0
    assert said in capsys.readouterr().out


def test_a_trial_option_beside_a_trial_is_refused(capsys):
    assert main(["check", "standard", "--trial", "other.toml"]) == 2
    assert "leave it out" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (["rehearse", "kiln-shuttle", "--force"], "--force without --out"),
        (["campaign", "--force"], "--force without --out"),
        (["listen", "x.csv", "--torque", "a", "--force"], "--force without --out"),
        (["crosscheck", "x", "--force"], "--force without --out"),
        (["crosscheck", "x", "--fuzz", "3"], "--fuzz without --gates"),
        (["crosscheck", "x", "--gates", "--target", "y"], "--gates beside --target"),
    ],
)
def test_an_option_that_does_nothing_is_refused(words, wanted, capsys):
    assert main(words) == 2
    captured = capsys.readouterr()
    assert captured.out == "" and wanted in captured.err
