"""Puts mutants of a trial to its requirements; what nothing cheaper decides is explored in C."""

from __future__ import annotations

import os
from collections.abc import Sequence

from gainwright.language.model import Trial
from gainwright_proof.exploration import explore
from gainwright_proof.mutants.report import MutantReport
from gainwright_proof.mutants.run import Progress, run_mutants
from gainwright_proof.verdict import Finding


def explored(changed: Trial) -> Sequence[Finding]:
    """Return the findings of an exhaustive exploration of a changed trial."""
    return explore(changed).findings


def judge_mutants(trial: Trial, progress: Progress) -> MutantReport:
    """Return what becomes of every single-row change of a proved trial, on all processors."""
    return run_mutants(trial, os.cpu_count() or 1, progress, decide=explored)
