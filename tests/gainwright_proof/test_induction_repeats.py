"""A search for proofs that begins again from nothing finds the same facts: evidence can be made
again, byte for byte, on another computer."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from gainwright_codegen.host.cache import DIRECTORY_VARIABLE

pytestmark = pytest.mark.slow

PROGRAM = """
import hashlib
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_proof.induction.prove import prove

proof = prove(load_trial(shipped_trial_path()))
text = repr([(one.name, one.text) for one in proof.obligations])
print(len(proof.obligations), hashlib.sha256(text.encode()).hexdigest())
"""


def test_two_processes_that_remember_nothing_write_the_same_obligations(tmp_path):
    """The order of sets, and all that z3 has seen before, differ between them."""
    running = [
        subprocess.Popen(
            [sys.executable, "-c", PROGRAM],
            env={**os.environ, "PYTHONHASHSEED": seed, DIRECTORY_VARIABLE: str(tmp_path / seed)},
            stdout=subprocess.PIPE,
            text=True,
        )
        for seed in ("1", "2")
    ]
    first, second = (process.communicate()[0] for process in running)
    assert int(first.split()[0]) > 600
    assert first == second
