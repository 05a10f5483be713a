"""Protocols with published verdicts, through the same engine as a trial."""

from __future__ import annotations

from functools import cache

import pytest

from gainwright_proof.induction.examples import violated_in
from gainwright_proof.induction.prove import prove
from gainwright_proof.induction.solvers import SOLVERS
from gainwright_proof.verdict import Verdict

from .protocols import alternating_bit, peterson


def _by_subject(trial, **options):
    return {finding.subject: finding for finding in prove(trial, **options).findings}


@pytest.mark.slow
def test_peterson_keeps_two_processes_apart():
    # G. L. Peterson, Myths about the mutual exclusion problem, Information Processing Letters 12
    # (1981) 115-116: proved there by hand.
    found = _by_subject(peterson(), rechecked_by=sorted(SOLVERS))
    for subject in ("exclusion", "after_the_other", "single_hit/running"):
        assert found[subject].verdict is Verdict.PROVED, found[subject].detail
    for solver in SOLVERS:
        assert found[f"recheck/{solver}"].verdict is Verdict.PROVED
    assert not [subject for subject in found if subject.startswith("row/")]


def test_peterson_with_its_assignments_swapped_fails():
    # Common knowledge of the field: the flag has to be raised before the turn is given away.
    trial = peterson(flag_first=False)
    found = _by_subject(trial)["exclusion"]
    assert found.verdict is Verdict.REFUTED
    assert violated_in(trial, found.counterexample) >= {"exclusion"}
    last = found.counterexample.ticks[-1].after.variables
    assert last["step0"] == last["step1"] == 3


@cache
def sound_alternating_bit():
    return _by_subject(alternating_bit(), rechecked_by=["z3"])


def test_alternating_bit_loses_and_doubles_nothing():
    # K. A. Bartlett, R. A. Scantlebury, P. T. Wilkinson, A note on reliable full-duplex
    # transmission over half-duplex links, Communications of the ACM 12 (1969) 260-261.
    found = sound_alternating_bit()
    assert found["in_step"].verdict is Verdict.PROVED, found["in_step"].detail
    # Channels that hold one message deliver no stale acknowledgement.
    assert found["row/stale"].verdict is Verdict.REFUTED
    assert found["recheck/z3"].verdict is Verdict.PROVED, found["recheck/z3"].detail


def test_a_bit_that_does_not_alternate_takes_a_message_twice():
    trial = alternating_bit(bits=1)
    found = _by_subject(trial)["in_step"]
    assert found.verdict is Verdict.REFUTED
    assert violated_in(trial, found.counterexample) == {"in_step"}
    # Sent, taken but not acknowledged, sent again and taken again: nothing shorter does.
    assert len(found.counterexample.ticks) == 4
    assert found.counterexample.ticks[-1].after.variables["ahead"] == 2


@pytest.mark.slow
@pytest.mark.parametrize("solver", sorted(SOLVERS))
def test_obligations_of_the_alternating_bit_are_rechecked(solver):
    found = _by_subject(alternating_bit(), rechecked_by=[solver])[f"recheck/{solver}"]
    assert found.verdict is Verdict.PROVED, found.detail
