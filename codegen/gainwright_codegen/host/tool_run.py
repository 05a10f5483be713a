"""Runs a tool as a process of its own, within limits of time and memory."""

from __future__ import annotations

import os
import signal
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

MEMORY_LIMIT_MB = 8_000
"""Of one tool; a tool with a limit of its own is given less."""
LIMIT_S = 1_800.0
"""Wall time of a tool without a limit of its own; what they do takes seconds to minutes."""


@dataclass(frozen=True, slots=True)
class ToolRun:
    """What a process printed and how it ended."""

    output: str
    exit_code: int | None
    """None if it was ended for taking too long; negative if a signal ended it."""

    @property
    def last_line(self) -> str:
        lines = [line.strip() for line in self.output.splitlines() if line.strip()]
        return lines[-1] if lines else "no output"


def run_tool(
    command: Sequence[str],
    folder: Path,
    limit_s: float,
    memory_mb: int | None = MEMORY_LIMIT_MB,
    environment: Mapping[str, str] | None = None,
) -> ToolRun:
    """Run a command in a folder; output and errors are returned as one text.

    Args:
        command: program and arguments.
        folder: where it runs.
        limit_s: wall time after which it is ended, with all processes that it started.
        memory_mb: address space of each of its processes; None for programs that reserve far more
            than they use, as under an address sanitizer.
        environment: variables besides those of this process.
    """
    process = subprocess.Popen(
        command,
        cwd=folder,
        # Some programs believe the variable rather than the system.
        env={**os.environ, **(environment or {}), "PWD": str(folder)},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
        start_new_session=True,
    )
    try:
        limit_memory(process.pid, memory_mb)
        output, _ = process.communicate(timeout=limit_s)
        return ToolRun(output, process.returncode)
    except subprocess.TimeoutExpired:
        _end(process)
        output, _ = process.communicate()
        return ToolRun(output, None)
    except BaseException:
        _end(process)
        raise


def limit_memory(pid: int, memory_mb: int | None) -> None:
    """Limit the address space of a process, where the system can."""
    if memory_mb is None:
        return
    try:
        import resource

        size = memory_mb * 1_000_000
        resource.prlimit(pid, resource.RLIMIT_AS, (size, size))
    except (ImportError, AttributeError, OSError):
        # Not on this system, or the process has ended already.
        return


def _end(process: subprocess.Popen[str]) -> None:
    """End a process and those that it started, which its session holds together."""
    try:
        os.killpg(process.pid, signal.SIGKILL)
    except (AttributeError, ProcessLookupError):
        process.kill()
