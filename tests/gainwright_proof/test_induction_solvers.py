"""Solver processes: limits, crashes, missing solvers, disagreement and tampering."""

from __future__ import annotations

import dataclasses
import subprocess
import sys
import tomllib

import pytest

from gainwright.language.load import trial_from_document
from gainwright_proof.induction import prove as prove_module
from gainwright_proof.induction import recheck as recheck_module
from gainwright_proof.induction.prove import prove, recheck
from gainwright_proof.induction.recheck import Task, run
from gainwright_proof.induction.solvers import SOLVERS, Answer, decide
from gainwright_proof.verdict import Obligation, Verdict

from ..shared.cases import cases
from ..shared.small_trial import SMALL

TRUE_CLAIM = Obligation.of(
    "a/true",
    "(set-logic QF_BV)\n(declare-const x (_ BitVec 8))\n"
    "(assert (not (= (bvadd x x) (bvshl x (_ bv1 8)))))\n(check-sat)\n",
)
FALSE_CLAIM = Obligation.of(
    "a/false",
    "(set-logic QF_BV)\n(declare-const x (_ BitVec 8))\n"
    "(assert (not (bvult x (_ bv200 8))))\n(check-sat)\n",
)
# No cube is the sum of two (Euler): true, but far out of a bit-vector solver's reach in a second.
_CUBE = "(bvmul {0} (bvmul {0} {0}))"
HARD = Obligation.of(
    "a/hard",
    "(set-logic QF_BV)\n"
    + "".join(
        f"(declare-const {n} (_ BitVec 64))\n(assert (bvult (_ bv0 64) {n}))\n"
        f"(assert (bvult {n} (_ bv1000000 64)))\n"
        for n in "xyz"
    )
    + f"(assert (= (bvadd {_CUBE.format('x')} {_CUBE.format('y')}) {_CUBE.format('z')}))\n"
    "(check-sat)\n",
)
ALL = sorted(SOLVERS)


@pytest.mark.parametrize("solver", ALL)
def test_answers(solver):
    assert decide(solver, TRUE_CLAIM.text, 10).answer is Answer.UNSAT
    assert decide(solver, FALSE_CLAIM.text, 10).answer is Answer.SAT


@pytest.mark.parametrize("solver", ALL)
def test_nonsense_is_unknown_with_the_solvers_own_words(solver):
    reply = decide(solver, "(assert (= x", 10)
    assert reply.answer is Answer.UNKNOWN
    assert reply.reason


@pytest.mark.parametrize("solver", cases(ALL[:1], slow=ALL[1:]))
def test_limit_of_effort_is_kept_and_said(solver):
    (reply,) = run([Task(HARD, solver)], effort_s=0.5, processes=1)
    assert reply.answer is Answer.UNKNOWN
    assert reply.reason and "broke down" not in reply.reason


def test_solver_that_does_not_keep_its_limit_is_ended(monkeypatch):
    # A process that computes for ever, whatever it is asked.
    real = recheck_module.subprocess.Popen
    endless = (
        "import sys; sys.stdin.readline()\n"
        "from gainwright_proof.induction.worker import _limit_processor_time\n"
        "_limit_processor_time(0.1)\n"
        "while True: pass\n"
    )
    monkeypatch.setattr(
        recheck_module.subprocess,
        "Popen",
        lambda words, **options: real([words[0], "-c", endless], **options),
    )
    (reply,) = run([Task(TRUE_CLAIM, "z3")], effort_s=0.1, processes=1)
    assert reply.answer is Answer.UNKNOWN
    assert "effort" in reply.reason


_ASKS_UNTIL_SPENT = """
import z3
from gainwright_proof.induction.effort import Budget, OutOfEffortError

solver, budget, asked = z3.SolverFor("QF_BV"), Budget(0.02), 0
x, y = z3.BitVecs("x y", 24)
solver.add(x * y == 8_388_593, z3.UGT(x, 1), z3.UGT(y, 1))
try:
    while budget.satisfiable(solver):
        solver.add(x != solver.model().eval(x))
        asked += 1
except OutOfEffortError:
    print(asked)
"""


def test_a_search_gives_up_at_the_same_place_in_every_process():
    """What a proof rests on must not depend on how busy the computer is."""
    told = [subprocess.check_output([sys.executable, "-c", _ASKS_UNTIL_SPENT]) for _ in range(2)]
    assert told[0] == told[1]
    assert int(told[0]) > 0


def test_replies_come_in_the_order_of_the_tasks():
    tasks = [Task(o, s) for s in ALL for o in (TRUE_CLAIM, FALSE_CLAIM) * 4]
    told = []
    replies = run(tasks, 10, processes=2, done=lambda task, reply: told.append(task))
    assert [r.answer for r in replies] == [Answer.UNSAT, Answer.SAT] * 12
    assert len(told) == len(tasks)


def test_process_that_breaks_down_is_started_again(monkeypatch):
    # The first process ends at once, as one does that ran out of memory.
    real, started = recheck_module.subprocess.Popen, []

    def breaking(arguments, **options):
        started.append(arguments)
        if len(started) == 1:
            arguments = [arguments[0], "-c", "raise SystemExit(3)"]
        return real(arguments, **options)

    monkeypatch.setattr(recheck_module.subprocess, "Popen", breaking)
    replies = run([Task(TRUE_CLAIM, "z3"), Task(TRUE_CLAIM, "z3")], 10, processes=1)
    assert [r.answer for r in replies] == [Answer.UNKNOWN, Answer.UNSAT]
    assert "broke down" in replies[0].reason


def _small():
    return trial_from_document(tomllib.loads(SMALL), "small.toml")


def test_missing_prover_means_not_run(monkeypatch):
    absent = dataclasses.replace(SOLVERS["z3"], module="no_such_module")
    monkeypatch.setattr(prove_module, "SEARCHER", absent)
    proof = prove(_small())
    assert {f.verdict for f in proof.findings} == {Verdict.NOT_RUN}
    assert {f.subject for f in proof.findings} >= {"single_hit/rest", "ends", "can_find"}
    assert all("pip install z3-solver" in f.detail for f in proof.findings)
    assert proof.obligations == ()


def test_missing_second_solver_means_not_run(monkeypatch):
    absent = dataclasses.replace(SOLVERS["cvc5"], module="no_such_module")
    monkeypatch.setitem(SOLVERS, "cvc5", absent)
    finding = recheck([TRUE_CLAIM], "cvc5")
    assert finding.verdict is Verdict.NOT_RUN
    assert "cvc5 is not installed (pip install cvc5)" in finding.detail


@pytest.mark.parametrize("solver", cases(ALL[:1], slow=ALL[1:]))
def test_tampered_obligation_is_noticed_by_every_solver(solver):
    honest = prove(_small()).obligations
    named = {o.name: o for o in honest}
    assert recheck(honest, solver).verdict is Verdict.PROVED
    # Someone weakens what is assumed: a fact less.
    fact = named["requirement/result_below_limit"]
    lines = fact.text.split("\n\n")
    fewer = "\n\n".join(part for part in lines if "Fact about search" not in part)
    assert fewer != fact.text
    tampered = Obligation.of(fact.name, fewer)
    finding = recheck([o if o.name != fact.name else tampered for o in honest], solver)
    assert finding.verdict is Verdict.UNFINISHED
    assert fact.name in finding.detail
    assert tampered.digest != fact.digest
