"""Bad input to ``gainwright listen``: one clear error, exit code 2, nothing written."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from gainwright_cli.main import main

from ..shared.recordings import RATE_HZ, noise

BEFORE = sorted(
    [
        "a-file",
        "bad.csv",
        "binary.csv",
        "empty.csv",
        "folder.csv",
        "gap.npz",
        "log.npz",
        "mine",
        "short.npz",
    ]
)
RATE = ["--rate", f"{RATE_HZ:g}"]
CHANNELS = ["--torque", "torque", "--speed-error", "error"]
GOOD = ["log.npz", *CHANNELS, *RATE]


@pytest.fixture
def folder(tmp_path, monkeypatch) -> Path:
    monkeypatch.chdir(tmp_path)
    torque = noise(3.0, 0.01, 1)
    gap = torque.copy()
    gap[1234] = np.nan
    np.savez("log.npz", torque=torque, error=torque, huge=1e3 * torque, wide=np.ones((6000, 2)))
    np.savez("gap.npz", torque=gap, error=torque)
    np.savez("short.npz", torque=torque[:1500], error=torque[:1500])
    Path("empty.csv").touch()
    Path("binary.csv").write_bytes(bytes(range(256)) * 8)
    Path("bad.csv").write_text("torque,error\n" + "0.1,0.2\n" * 200 + "0.1,oops\n")
    Path("folder.csv").mkdir()
    Path("a-file").write_text("mine")
    Path("mine").mkdir()
    Path("mine/summary.json").write_text("keep")
    return tmp_path


CASES = {
    "missing file": (["lgo.npz", *CHANNELS, *RATE], "there is log.npz"),
    "folder": (["folder.csv", *CHANNELS, *RATE], "a folder"),
    "empty file": (["empty.csv", *CHANNELS, *RATE], "an empty file"),
    "binary file": (["binary.csv", *CHANNELS, *RATE], "no UTF-8 text"),
    "other kind of file": (["a-file", *CHANNELS, *RATE], "no suffix"),
    "bad cell": (["bad.csv", *CHANNELS, *RATE], "column error, row 202"),
    "unknown channel": (["log.npz", "--torque", "torqe", "--speed-error", "error", *RATE], "torqe"),
    "two-column channel": (
        ["log.npz", "--torque", "torque", "--speed-error", "wide", *RATE],
        "6000x2",
    ),
    "no rate": (["log.npz", *CHANNELS], "--rate 8000"),
    "rate of 0": (["log.npz", *CHANNELS, "--rate", "0"], "--rate"),
    "rate nan": (["log.npz", *CHANNELS, "--rate", "nan"], "--rate"),
    "no speed error": (["log.npz", "--torque", "torque", *RATE], "--position"),
    "two motions": ([*GOOD, "--speed", "torque", "--position", "error"], "--speed and --position"),
    "reference alone": ([*GOOD, "--position-reference", "torque"], "--position-reference"),
    "sample that is no number": (["gap.npz", *CHANNELS, *RATE], "index 1234"),
    "beyond 16 per unit": (
        ["log.npz", "--torque", "huge", "--speed-error", "error", *RATE],
        "--torque-base",
    ),
    "torque base of 0": ([*GOOD, "--torque-base", "0"], "--torque-base"),
    "negative threshold": ([*GOOD, "--burst=-0.1"], "--burst"),
    "threshold nan": ([*GOOD, "--silence", "nan"], "--silence"),
    "threshold too low": ([*GOOD, "--silence", "1e-7"], "resolves"),
    "threshold too high": ([*GOOD, "--burst", "20"], "below 16 per unit"),
    "band above half the rate": ([*GOOD, "--band-from", "1200"], "record at a higher rate"),
    "negative band": ([*GOOD, "--band-from=-3"], "--band-from"),
    "band twice": ([*GOOD, "--band-from", "200", "--control-tick", "1e-4"], "--control-tick"),
    "band too low": ([*GOOD, "--band-from", "0.1"], "16384 samples"),
    "drive faster than the log": ([*GOOD, "--control-tick", "2e-5"], "by the drive's timing"),
    "no delay": ([*GOOD, "--delay-ticks", "0"], "--delay-ticks"),
    "quiet part too short": ([*GOOD, "--quiet-seconds", "0.05"], "at least --quiet-seconds"),
    "quiet part too long": ([*GOOD, "--quiet-seconds", "30"], "a recording of 3 s"),
    "quiet part in a short recording": (
        ["short.npz", *CHANNELS, *RATE, "--quiet-seconds", "1"],
        "a recording of 0.75 s",
    ),
    "factor below 1": ([*GOOD, "--quiet-factor", "0.5"], "--quiet-factor"),
    "ringing for 0 s": ([*GOOD, "--ringing-seconds", "0"], "--ringing-seconds"),
    "output is a file": ([*GOOD, "--out", "a-file"], "a file"),
    "output below a file": ([*GOOD, "--out", "a-file/out"], "--out"),
    "output of somebody else": ([*GOOD, "--out", "mine"], "not written by gainwright"),
}


@pytest.mark.parametrize("case", CASES)
def test_one_clear_error(folder, capsys, case):
    words, expected = CASES[case]
    assert main(["listen", *words]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert expected in captured.err
    assert captured.err.count("remedy:") == 1 and captured.err.count("found:") == 1
    assert "Traceback" not in captured.err
    assert sorted(os.listdir()) == BEFORE
    assert Path("a-file").read_text() == "mine"
    assert os.listdir("mine") == ["summary.json"]


@pytest.mark.parametrize(
    "words",
    [
        ["log.npz", "--speed-error", "error", *RATE],
        [*GOOD, "--rate", "fast"],
        [*GOOD, "--delay-ticks", "1.5"],
        [*GOOD, "--bandfrom", "300"],
        [],
    ],
)
def test_command_lines_that_cannot_be_read(folder, capsys, words):
    with pytest.raises(SystemExit) as ended:
        main(["listen", *words])
    assert ended.value.code == 2
    assert "usage: gainwright" in capsys.readouterr().err
    assert sorted(os.listdir()) == BEFORE


def test_bad_options_and_bad_channels_come_together(folder, capsys):
    words = ["log.npz", "--torque", "torqe", "--speed-error", "eror", *RATE, "--burst=-1"]
    assert main(["listen", *words]) == 2
    text = capsys.readouterr().err
    assert text.count("remedy:") == 3
    assert "torqe" in text and "eror" in text and "--burst" in text


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_folder_without_the_right_to_write(folder, capsys):
    Path("mine").chmod(0o500)
    assert main(["listen", *GOOD, "--out", "mine/out"]) == 2
    assert "permissions" in capsys.readouterr().err


def test_picture_that_fails_leaves_nothing(folder, capsys, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("gainwright_cli.views.listen_picture.save_listen_picture", full)
    assert main(["listen", *GOOD, "--out", "out"]) == 2
    assert "No space left" in capsys.readouterr().err
    assert sorted(os.listdir()) == BEFORE


def test_interrupted_leaves_nothing(folder, capsys, monkeypatch):
    def interrupt(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("gainwright_cli.views.listen_picture.save_listen_picture", interrupt)
    assert main(["listen", *GOOD, "--out", "out"]) == 130
    assert "interrupted" in capsys.readouterr().err
    assert sorted(os.listdir()) == BEFORE


def test_a_recording_stays_where_the_results_go(folder):
    """One rule for all folders: files of others stay, and none is written over unasked."""
    recording = Path("log.npz").read_bytes()
    assert main(["listen", *GOOD, "--out", "."]) in (0, 3)
    assert Path("log.npz").read_bytes() == recording
    assert {*BEFORE, "summary.json", "levels.csv", "listen.png"} <= set(os.listdir())
    Path("levels.csv").write_text("mine")
    assert main(["listen", *GOOD, "--out", "."]) == 2
    assert main(["listen", *GOOD, "--out", ".", "--force"]) in (0, 3)
    assert Path("levels.csv").read_text() != "mine"
