"""What takes seconds is announced in a terminal by the time it begins.

The function that takes long is replaced by one that looks at the terminal and interrupts.
"""

from __future__ import annotations

import importlib
import io
import sys

import numpy as np
import pytest

from gainwright_cli.main import main

COMPILE = "gainwright_codegen.host.compilation._run"
CASES = {
    "rehearse, compiling": (
        ["rehearse", "grinder-slide"], COMPILE, "compiling the exported C and the rig"),
    "rehearse, drawing": (
        ["rehearse", "grinder-slide", "--out", "record"],
        "gainwright_sim.rehearsal.record.save_picture", "drawing the picture"),
    "everywhere": (
        ["rehearse", "kiln-shuttle", "--everywhere"], COMPILE,
        "compiling the exported C and the rig"),
    "job": (
        ["rehearse", "kiln-shuttle", "--trial", "complete", "--then", "loadside"], COMPILE,
        "rehearsing: complete"),
    "export": (
        ["export", "grinder-slide", "--out", "c"],
        "gainwright_codegen.bundle.axis.axis_bundle", "searching golden vectors"),
    "listen, compiling": (
        ["listen", "log.npz", "--torque", "torque", "--speed-error", "torque", "--rate", "2000"],
        COMPILE, "compiling the exported detector"),
    "listen, drawing": (
        ["listen", "log.npz", "--torque", "torque", "--speed-error", "torque", "--rate", "2000",
         "--out", "heard"],
        "gainwright_cli.views.listen_picture.save_listen_picture", "drawing the picture"),
    "crosscheck": (
        ["crosscheck", "nowhere"], "gainwright_codegen.crosscheck.run.crosscheck",
        "building and running the bundle"),
    "campaign, compiling": (
        ["campaign", "--family", "own", "--count", "1", "--workers", "1"], COMPILE, "own "),
    "campaign, drawing": (
        ["campaign", "--family", "own", "--count", "1", "--workers", "1", "--out", "campaign"],
        "gainwright_sim.campaign.record.save_picture", "drawing the picture"),
}  # fmt: skip


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize("case", CASES)
def test_a_terminal_says_what_goes_on(case, monkeypatch, tmp_path):
    words, place, expected = CASES[case]
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TERM", "xterm")
    for name in ("TTY_COMPATIBLE", "TTY_INTERACTIVE", "NO_COLOR"):
        monkeypatch.delenv(name, raising=False)
    if place == COMPILE:
        monkeypatch.setenv("GAINWRIGHT_CACHE_DIR", str(tmp_path / "cache"))
    noise = np.random.default_rng(1).normal(0.0, 0.01, 6000)
    np.savez("log.npz", torque=noise)
    terminal, seen = Terminal(), []

    def long_work(*arguments, **named):
        seen.append(terminal.getvalue())
        raise KeyboardInterrupt

    module, _, name = place.rpartition(".")
    monkeypatch.setattr(importlib.import_module(module), name, long_work)
    monkeypatch.setattr(sys, "stderr", terminal)
    assert main(words) == 130
    assert seen and expected in seen[0]
