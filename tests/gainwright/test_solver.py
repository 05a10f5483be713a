"""An interrupt while z3 solves: it ends the command, not only the question."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

import gainwright

# A product of two primes: hours of work, and the interrupt comes in the first second of it.
_INTERRUPTED = """
import os, signal, sys, threading, time
import z3
from gainwright.language.solver import solver_for

signal.signal(signal.SIGINT, signal.default_int_handler)
solver = {solver}("QF_BV")
x, y = z3.BitVecs("x y", 64)
solver.add(x * y == (2**31 - 1) * (2**29 - 3) * 1_000_003, x != 1_000_003)
solver.add(z3.ULT(x, 2**33), z3.ULT(y, 2**50), z3.UGT(x, 1), z3.UGT(y, 1))
solver.set("rlimit", 2_000_000)
timer = threading.Timer(0.3, os.kill, (os.getpid(), signal.SIGINT))
timer.start()
try:
    print(solver.check(), solver.reason_unknown())
    time.sleep(60)
except KeyboardInterrupt:
    print("interrupted")
"""


def answer(solver):
    words = [sys.executable, "-c", _INTERRUPTED.format(solver=solver)]
    return subprocess.run(words, capture_output=True, text=True, timeout=60).stdout


@pytest.mark.skipif(sys.platform == "win32", reason="no signal can be sent to a process alone")
def test_an_interrupt_is_not_taken_for_an_undecided_question():
    assert answer("solver_for") == "interrupted\n"


def test_no_other_solver_is_made():
    sources = {
        path.name: path.read_text(encoding="utf-8")
        for package in Path(gainwright.__file__).parents[1].glob("gainwright*")
        for path in package.rglob("*.py")
    }
    assert len(sources) > 100
    makers = [
        name for name, text in sources.items() if re.search(r"z3\.(Simple)?Solver(For)?\(", text)
    ]
    assert makers == ["solver.py"]
