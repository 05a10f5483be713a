"""What is left over goes to provers that are given from outside."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from gainwright.language.model import Trial
from gainwright_proof.evidence.conclusion import conclude
from gainwright_proof.mutants.outcome import Fate, Outcome, Stage
from gainwright_proof.verdict import Finding, Verdict

Decide = Callable[[Trial], Sequence[Finding]]
"""Puts a changed trial to all its requirements and to what is asked of every trial."""
Equivalent = Callable[[Trial, Trial], bool | None]
"""Says whether original and changed trial do the same in every reachable moment; None: unknown."""

NO_PROVER = "nothing cheaper decides it, and no prover was asked"


def put_to_provers(
    outcome: Outcome, original: Trial, decide: Decide | None, equivalent: Equivalent | None
) -> Outcome:
    """Return the outcome of an undecided mutant after the provers were asked."""
    changed = outcome.mutant.digested(original)
    if equivalent is not None:
        same = equivalent(original, changed)
        if same:
            detail = "the same tick in every reachable moment"
            return replace(outcome, fate=Fate.EQUIVALENT, stage=Stage.PROVER, detail=detail)
        outcome = replace(outcome, differs=outcome.differs or same is False)
    if decide is None:
        return replace(outcome, detail=f"{outcome.detail}; {NO_PROVER}")
    return _concluded(outcome, decide(changed))


def _concluded(outcome: Outcome, findings: Sequence[Finding]) -> Outcome:
    conclusions = conclude(findings)
    refuted = tuple(c.subject for c in conclusions if c.verdict is Verdict.REFUTED)
    if refuted:
        return replace(outcome, fate=Fate.CAUGHT, stage=Stage.PROVER, caught_by=refuted, detail="")
    left = [c.subject for c in conclusions if c.verdict is not Verdict.PROVED]
    if left or not conclusions:
        detail = f"not proved: {', '.join(left) or 'anything'}"
        return replace(outcome, fate=Fate.UNDECIDED, stage=Stage.PROVER, detail=detail)
    detail = "every requirement is proved of it"
    return replace(outcome, fate=Fate.SURVIVED, stage=Stage.PROVER, detail=detail)
