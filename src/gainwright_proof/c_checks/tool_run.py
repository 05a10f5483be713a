"""Runs a checker as a process of its own, within limits of time."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class ToolRun:
    """What a process printed and how it ended."""

    output: str
    exit_code: int | None
    """None if it was ended for taking too long."""

    @property
    def last_line(self) -> str:
        lines = [line.strip() for line in self.output.splitlines() if line.strip()]
        return lines[-1] if lines else "no output"


def run_tool(command: Sequence[str], folder: Path, limit_s: float) -> ToolRun:
    """Run a command in a folder; output and errors are returned as one text."""
    try:
        result = subprocess.run(
            command,
            cwd=folder,
            # Some programs believe the variable rather than the system.
            env={**os.environ, "PWD": str(folder)},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
            timeout=limit_s,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        partial = error.stdout or b""
        text = partial.decode(errors="replace") if isinstance(partial, bytes) else partial
        return ToolRun(text, None)
    return ToolRun(result.stdout, result.returncode)
