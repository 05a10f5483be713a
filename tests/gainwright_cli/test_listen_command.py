"""``gainwright listen``: what it prints and writes, and that it runs the exported C."""

from __future__ import annotations

import csv
import json
import math
import os
import re
import shlex
import struct
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from gainwright.listening.listen import listen
from gainwright.listening.options import OPTIONS, ListenOptions
from gainwright.listening.summary import summary_keys
from gainwright.recording.read import OPTIONS as CHANNEL_OPTIONS
from gainwright_cli import listen as command
from gainwright_cli.main import main
from gainwright_codegen.host.detector import CompiledDetector

from ..shared.recordings import RATE_HZ, growing, noise, recording, run_reference

SECONDS = 3.0
ARGUMENTS = ["--torque", "torque", "--speed-error", "error", "--rate", f"{RATE_HZ:g}"]
MOVING = ["--speed", "speed"]
FILES = ["README.txt", "levels.csv", "listen.png", "summary.json"]


@pytest.fixture
def log(tmp_path) -> Path:
    """A recording with onset near 2 s: a 310 Hz oscillation reaches 0.08 there."""
    torque = noise(SECONDS, 0.01, 1) + growing(SECONDS, 310.0, 2.0, 0.08, 10.0)
    path = tmp_path / "log.npz"
    np.savez(path, torque=torque, error=0.1 * torque)
    return path


@pytest.fixture
def quiet_log(tmp_path) -> Path:
    path = tmp_path / "quiet log.csv"
    torque = noise(SECONDS, 0.01, 2)
    rows = "\n".join(f"{value:.9g},{0.1 * value:.9g},{0.5 + value:.9g}" for value in torque)
    path.write_text(f"torque,error,speed\n{rows}\n")
    return path


def summary(capsys, *words) -> dict:
    code = main(["listen", *map(str, words), "--json"])
    keys = json.loads(capsys.readouterr().out)
    assert code == (3 if keys["verdict"] == "not known" else 0)
    return keys


def test_exported_detector_hears_what_the_reference_hears():
    torque = noise(SECONDS, 0.01, 1) + growing(SECONDS, 310.0, 2.0, 0.08, 10.0)
    made = recording(torque, 0.1 * torque)

    def run_compiled(settings, *signals):
        return CompiledDetector(settings).run(*signals)

    first, second = (listen(made, ListenOptions(), run) for run in (run_compiled, run_reference))
    assert first.onset == second.onset and first.onset is not None
    assert np.array_equal(first.burst.values, second.burst.values)
    assert np.array_equal(first.ring.values, second.ring.values)


def test_command_runs_the_compiled_detector(log, capsys, monkeypatch):
    counts = []
    run = CompiledDetector.run

    def counted(self, torque, error):
        counts.append(len(torque))
        return run(self, torque, error)

    monkeypatch.setattr(CompiledDetector, "run", counted)
    assert summary(capsys, log, *ARGUMENTS)["onset"] is True
    assert counts == [round(SECONDS * RATE_HZ)]


def test_json_has_the_documented_keys(log, capsys):
    keys = summary(capsys, log, *ARGUMENTS)
    documentation = summary_keys.__doc__
    for name in (*keys, *keys["thresholds"], *keys["burst_level_max"]):
        assert re.search(rf"\b{name}\b", documentation), name
    assert keys["recording"] == str(log)
    assert keys["sample_rate_hz"] == RATE_HZ and keys["duration_s"] == SECONDS
    assert keys["band_from_hz"] == 150.0 and keys["lowest_oscillation_hz"] == 250.0
    assert keys["onset_cause"] == "burst" and 1.5 < keys["onset_time_s"] < 2.1
    assert abs(keys["onset_frequency_hz"] - 310.0) < 8.0
    assert keys["thresholds"]["burst_source"] == "quiet part"
    assert keys["burst_level_max"]["level"] > 256
    assert len(keys["recording_digest"]) == len(keys["detector_settings_digest"]) == 64


def test_json_of_a_quiet_recording_with_given_thresholds(quiet_log, capsys):
    keys = summary(capsys, quiet_log, *ARGUMENTS, *MOVING, "--burst", 0.2, "--silence", 0.05)
    assert keys["onset"] is False
    assert keys["onset_time_s"] is keys["onset_cause"] is keys["onset_frequency_hz"] is None
    assert keys["thresholds"] == {
        "burst_per_unit": 0.2,
        "burst_source": "given",
        "silence_per_unit": 0.05,
        "silence_source": "given",
        "quiet_part_s": None,
        "quiet_factor": None,
    }


def test_words_say_what_json_says(log, capsys):
    keys = summary(capsys, log, *ARGUMENTS)
    assert main(["listen", str(log), *ARGUMENTS]) == 0
    text = capsys.readouterr().out
    assert f"at {keys['onset_time_s']:.4f} s, near {keys['onset_frequency_hz']:.4g} Hz" in text
    assert "2 times the strongest block" in text and "not a safety function" in text
    assert "\x1b" not in text


def test_words_for_a_quiet_recording(quiet_log, capsys):
    assert main(["listen", str(quiet_log), *ARGUMENTS, *MOVING]) == 0
    text = capsys.readouterr().out
    assert re.search(r"Onset +none seen", text)
    margins = re.findall(r"([\d.]+) dB below its threshold \(level (\d+) of 256\)", text)
    assert len(margins) == 2
    for decibels, level in margins:
        assert float(decibels) == pytest.approx(-10 * math.log10(int(level) / 256), abs=0.06)


def test_suggested_command_works_and_writes_the_picture(quiet_log, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    options = ["--delay-ticks", "2", "--current-loop-s", "0.0002", "--quiet-seconds", "0.8"]
    assert main(["listen", str(quiet_log), *ARGUMENTS, *MOVING, *options]) == 0
    first = capsys.readouterr().out
    (line,) = (line for line in first.splitlines() if line.startswith("  gainwright listen"))
    words = shlex.split(line)
    assert main(words[1:]) == 0
    second = capsys.readouterr().out
    assert second.splitlines()[:10] == first.splitlines()[:10]
    assert sorted(os.listdir("listen-quiet log")) == sorted([*FILES, "SHA256SUMS"])


def test_folder_holds_picture_levels_and_summary(log, capsys, tmp_path):
    keys = summary(capsys, log, *ARGUMENTS, "--out", tmp_path / "out")
    folder = tmp_path / "out"
    assert json.loads((folder / "summary.json").read_text()) == keys
    picture = (folder / "listen.png").read_bytes()
    assert picture[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", picture[16:24])
    assert width > 1000 and height > 800
    with (folder / "levels.csv").open(newline="") as file:
        rows = [{name: float(cell) for name, cell in row.items()} for row in csv.DictReader(file)]
    loud = [row["time_s"] for row in rows if row["burst_level"] >= 256 and row["time_s"] > 0.04]
    assert loud[0] == keys["onset_time_s"]
    assert max(row["ring_level"] for row in rows) == keys["ring_level_max"]["level"]
    assert "safety" in (folder / "README.txt").read_text()


def test_onset_is_marked_in_the_picture(log, quiet_log, tmp_path, capsys):
    """A red line from top to bottom, where the onset lies in time; none in a quiet recording."""
    from matplotlib.image import imread

    red_pixels, keys = [], []
    for path in (log, quiet_log):
        keys.append(summary(capsys, path, *ARGUMENTS, "--out", tmp_path / "out"))
        red, green, _ = np.moveaxis(imread(tmp_path / "out" / "listen.png")[..., :3], 2, 0)
        red_pixels.append(np.sum(red - green > 0.3, axis=0))
    onset, quiet = red_pixels
    assert onset.max() > 500 and quiet.max() == 0
    # The axes fill the width but for the labels on the left: about 0.1 of it.
    share = np.argmax(onset) / len(onset)
    assert abs(share - (0.1 + 0.9 * keys[0]["onset_time_s"] / SECONDS)) < 0.03


def test_same_input_same_bytes(log, capsys, tmp_path):
    for name in ("first", "second"):
        summary(capsys, log, *ARGUMENTS, "--out", tmp_path / name)
    for name in FILES:
        first, second = ((tmp_path / run / name).read_bytes() for run in ("first", "second"))
        assert first == second, name


@pytest.mark.slow
def test_an_earlier_folder_of_ours_is_replaced(log, capsys, tmp_path):
    summary(capsys, log, *ARGUMENTS, "--out", tmp_path / "out")
    (tmp_path / "out" / "notes.txt").write_text("mine")
    summary(capsys, log, *ARGUMENTS, "--out", tmp_path / "out")
    assert (tmp_path / "out" / "listen.png").read_bytes()[1:4] == b"PNG"
    assert (tmp_path / "out" / "notes.txt").read_text() == "mine"


def test_options_are_named_as_in_messages():
    channels = {field: option for option, field, *_ in (*command._CHANNELS, *command._SCALES)}
    assert channels == CHANNEL_OPTIONS
    listening = {field: option for option, field, *_ in (*command._BAND, *command._THRESHOLDS)}
    assert listening | {"delay_ticks": "--delay-ticks"} == OPTIONS


def test_help_imports_nothing_heavy():
    code = (
        "import sys; from gainwright_cli.main import main\n"
        "try: main(['listen', '--help'])\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'scipy', 'matplotlib', 'rich', 'cffi', 'transitions'}\n"
        "sys.exit(', '.join(sorted(heavy & set(sys.modules))) or 0)"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert result.returncode == 0, result.stderr
    assert "--quiet-seconds" in result.stdout
