"""Every tool runs within limits: what takes too long or too much is ended, children included."""

from __future__ import annotations

import sys
import time

import pytest

from gainwright_codegen.host.tool_run import run_tool


def python(text: str) -> list[str]:
    return [sys.executable, "-c", text]


def test_output_and_exit_code(tmp_path):
    run = run_tool(python("import sys; print('a'); print('b', file=sys.stderr); sys.exit(3)"),
                   tmp_path, 60.0)  # fmt: skip
    assert run.exit_code == 3
    assert sorted(run.output.split()) == ["a", "b"]


def test_what_takes_too_long_is_ended_with_its_children(tmp_path):
    """The child holds the pipe: unless it is ended too, its output is waited for."""
    child = "import subprocess, sys; subprocess.run([sys.executable, '-c', 'while True: pass'])"
    begun = time.monotonic()
    run = run_tool(python(child), tmp_path, 1.0)
    assert run.exit_code is None
    assert time.monotonic() - begun < 60.0


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux tells its use")
def test_what_waits_for_a_processor_is_not_ended(tmp_path):
    """It computes next to nothing: the time by the clock is that of others."""
    run = run_tool(python("import time; time.sleep(1.5); print('done')"), tmp_path, 0.5)
    assert (run.exit_code, run.output) == (0, "done\n")


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux tells its use")
def test_what_never_computes_is_ended_all_the_same(tmp_path):
    run = run_tool(["sleep", "1000"], tmp_path, 0.05)
    assert run.exit_code is None


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux has such a limit")
def test_what_takes_too_much_memory_does_not_get_it(tmp_path):
    greedy = python("import time; time.sleep(0.5); x = bytearray(3_000_000_000); print('got it')")
    run = run_tool(greedy, tmp_path, 60.0, memory_mb=1_000)
    assert run.exit_code != 0 and "MemoryError" in run.output
