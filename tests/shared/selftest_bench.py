"""Tries changed files of a bundle in its self-test, and compiles only what a change touches."""

from __future__ import annotations

import subprocess
from collections.abc import Mapping
from pathlib import Path

_NEVER_ENDS_S = 20
"""A self-test takes some thousandths of a second."""


class SelfTestBench:
    """The objects of a sound bundle.

    Args:
        files: text of each file by its name; what is no C lies beside.
        folder: an empty one that nobody else uses.
    """

    def __init__(self, files: Mapping[str, bytes], folder: Path) -> None:
        self.folder = folder
        for name, content in files.items():
            (folder / name).write_bytes(content)
        self.units = sorted(name for name in files if name.endswith(".c"))
        assert self._compile(self.units)
        self.reads = {unit: (folder / unit).with_suffix(".d").read_text() for unit in self.units}

    def verdict(self, file: str, text: str) -> str:
        """Return what the self-test says of a changed file: "" if it passes."""
        path = self.folder / file
        units = [unit for unit in self.units if file in self.reads[unit].split()]
        sound = {unit: self._object(unit).read_bytes() for unit in units}
        kept = path.read_bytes()
        try:
            path.write_text(text)
            return self._run() if self._compile(units) else "does not compile"
        finally:
            path.write_bytes(kept)
            for unit, content in sound.items():
                self._object(unit).write_bytes(content)

    def _object(self, unit: str) -> Path:
        return (self.folder / unit).with_suffix(".o")

    def _compile(self, units: list[str]) -> bool:
        command = ["gcc", "-std=c99", "-O0", "-w", "-MMD", "-c", *units]
        done = subprocess.run(command, cwd=self.folder, capture_output=True, check=False)
        return done.returncode == 0

    def _run(self) -> str:
        objects = [self._object(unit).name for unit in self.units]
        subprocess.run(["gcc", *objects, "-o", "run"], cwd=self.folder, check=True)
        try:
            done = subprocess.run(
                ["./run"], cwd=self.folder, capture_output=True, text=True, check=False,
                timeout=_NEVER_ENDS_S,
            )  # fmt: skip
        except subprocess.TimeoutExpired:
            return "never ends"
        return "" if done.returncode == 0 else (done.stdout.splitlines() or ["crashed"])[0]
