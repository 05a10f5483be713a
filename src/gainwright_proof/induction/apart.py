"""Induction in a process of its own, so that it can begin before exploration has ended.

In one process both would wait for each other's Python. Run as a program it reads a request and
writes the proof, both pickled.
"""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import threading
import traceback
from collections.abc import Sequence

from gainwright.language.model import Trial
from gainwright_proof.induction.prove import SmtProof, prove
from gainwright_proof.remembered import nothing_remembered, remembering
from gainwright_proof.verdict import Finding


class ApartError(Exception):
    """The process broke down; the message says how."""


class Apart:
    """A search for the proof of a trial, begun now."""

    def __init__(self, trial: Trial, rechecked_by: Sequence[str] = ()) -> None:
        """See :func:`gainwright_proof.induction.prove.prove`."""
        self._request = pickle.dumps((trial, tuple(rechecked_by), remembering()))
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", __name__],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        self._ended = False

    def proof(self) -> SmtProof | None:
        """Return the proof when it is there, None if the search was ended; raises ApartError."""
        output = self._process.communicate(self._request)[0]
        if self._ended:
            return None
        if self._process.returncode != 0:
            raise ApartError(f"the search for proofs ended with {self._process.returncode}")
        answer: SmtProof | str = pickle.loads(output)
        if isinstance(answer, str):
            raise ApartError(answer)
        return answer

    def end(self) -> None:
        """End the search, however far it is."""
        self._ended = True
        self._process.kill()


class BesideExploration:
    """Induction that begins beside exploration; what that refutes needs none, and then it begins
    anew without."""

    def __init__(self, trial: Trial, rechecked_by: Sequence[str] = ()) -> None:
        self._trial = trial
        self._rechecked_by = tuple(rechecked_by)
        self._search = Apart(trial, rechecked_by)
        self._explored = threading.Event()
        self._standing: Trial | None = None

    def go_on(self, standing: Trial | None) -> None:
        """Say what is left to prove; None: nothing, as exploration broke down."""
        self._standing = standing
        if standing != self._trial:
            self._search.end()
        self._explored.set()

    def findings(self) -> tuple[Finding, ...]:
        """Wait for :meth:`go_on` and the proof; raises ApartError."""
        proof = self._search.proof()
        self._explored.wait()
        if self._standing is None:
            return ()
        if proof is None:
            proof = prove(self._standing, self._rechecked_by)
        return proof.findings

    def end(self) -> None:
        self._search.end()


def _answer() -> SmtProof | str:
    trial, rechecked_by, believed = pickle.load(sys.stdin.buffer)
    try:
        with nothing_remembered(not believed):
            return prove(trial, rechecked_by)
    except BaseException:
        return traceback.format_exc()


def main() -> None:
    # Whoever is interrupted is the caller, who ends this one.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with os.fdopen(os.dup(1), "wb") as answers:
        os.dup2(2, 1)  # Solvers print what they like.
        answers.write(pickle.dumps(_answer()))


if __name__ == "__main__":
    main()
