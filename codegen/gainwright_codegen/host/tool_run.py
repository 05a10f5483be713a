"""Runs a tool as a process of its own, within limits of time and memory."""

from __future__ import annotations

import os
import signal
import subprocess
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

MEMORY_LIMIT_MB = 8_000
"""Of one tool; a tool with a limit of its own is given less."""
LIMIT_S = 1_800.0
"""Processor time of a tool without a limit of its own; what they do takes seconds to minutes."""
PATIENCE = 20.0
"""A tool that gets next to no processor is ended after so many times its limit, by the clock."""
_GLANCE_S = 0.1


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
        limit_s: processor time after which it is ended, with all processes that it started: so a
            busy computer ends nothing. Where the system does not tell it, time by the clock.
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
        output = _output(process, limit_s)
        if output is not None:
            return ToolRun(output, process.returncode)
        _end(process)
        return ToolRun(process.communicate()[0], None)
    except BaseException:
        _end(process)
        raise


def _output(process: subprocess.Popen[str], limit_s: float) -> str | None:
    """Return what a process printed when it has ended; None when it has reached its limit."""
    end = time.monotonic() + PATIENCE * limit_s
    left = limit_s
    while True:
        try:
            return process.communicate(timeout=max(left, _GLANCE_S))[0]
        except subprocess.TimeoutExpired:
            used = _processor_s(process.pid)
            if used is None or used >= limit_s or time.monotonic() > end:
                return None
            left = limit_s - used


def _processor_s(session: int) -> float | None:
    """Return the processor time of a session's processes and of their children that have ended;
    None if the system does not tell."""
    if not Path("/proc/self/stat").exists():
        return None
    ticks = 0
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            # The second field, the name in brackets, may hold anything.
            fields = path.read_text(encoding="utf-8", errors="replace").rpartition(")")[2].split()
        except OSError:
            continue  # It has ended meanwhile.
        if int(fields[3]) == session:
            ticks += sum(map(int, fields[11:15]))
    return ticks / os.sysconf("SC_CLK_TCK")


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
