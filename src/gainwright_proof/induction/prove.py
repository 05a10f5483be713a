"""Proves a trial by SMT: searches with z3, writes obligations, lets solvers decide them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from gainwright.language.model import Trial
from gainwright.language.write import write
from gainwright_proof.induction.recheck import Task, run
from gainwright_proof.induction.solvers import SOLVERS, Answer, Reply, Solver
from gainwright_proof.remembered import remembering
from gainwright_proof.verdict import Finding, Obligation, Verdict

SEARCHER = SOLVERS["z3"]
"""Finds the proofs and decides them; the other solvers check the obligations again."""
EFFORT_S = 30.0
_WORTH_KEEPING_S = 1.0
"""A search that took less effort is done again rather than kept."""
Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class SmtProof:
    """What proving by SMT gave."""

    findings: tuple[Finding, ...]
    obligations: tuple[Obligation, ...]
    """All of them, sorted by name."""
    facts: Mapping[str, tuple[str, ...]]
    """State name to facts found about it, as the file would write them."""


def prove(
    trial: Trial,
    rechecked_by: Sequence[str] = (),
    effort_s: float = EFFORT_S,
    processes: int = 2,
    tell: Progress = lambda text: None,
) -> SmtProof:
    """Return findings about every table, range and requirement of a trial.

    Args:
        rechecked_by: names of further solvers (:data:`SOLVERS`) that decide every obligation again.
        effort_s: most effort for one question to one solver, see :mod:`effort`.
        processes: solver processes that run side by side.
        tell: is told what is going on, for a progress display.

    A run on the same trial with the same solvers gives the same proof, unless a limit is met. A
    solver that is not installed gives findings ``not run``.
    """
    if missing := SEARCHER.missing():
        return SmtProof(tuple(_not_run(trial, missing)), (), {})
    # Imported here: these modules need z3.
    from gainwright_proof.induction.effort import Budget
    from gainwright_proof.induction.findings import Findings
    from gainwright_proof.induction.found import Found
    from gainwright_proof.induction.hints import Hints
    from gainwright_proof.induction.plan import Plan, plan
    from gainwright_proof.induction.search import ProofSearch, UnshownFactsError
    from gainwright_proof.induction.step import StepEncoding
    from gainwright_proof.induction.tables import failing_tables
    from gainwright_proof.induction.terms import StepTerms
    from gainwright_proof.induction.translation import translation_finding

    step = StepEncoding(trial)
    terms = StepTerms(step)

    def attempt(hints: Hints) -> tuple[Found, Plan, dict[str, Reply]]:
        found = ProofSearch(step, terms, effort_s, tell, hints).run()
        planned = plan(step, found)
        return found, planned, _decide(SEARCHER, planned.everything(), effort_s, processes, tell)

    def attempt_without() -> tuple[Found, Plan, dict[str, Reply]]:
        tell("what was found before does not do: all is searched again")
        return attempt(Hints(None))

    hints, effort = Hints(trial if remembering() else None), Budget(_WORTH_KEEPING_S)
    try:
        found, planned, replies = attempt(hints)
    except UnshownFactsError:
        if not hints.given:
            raise
        found, planned, replies = attempt_without()
    shown = all(reply.answer is Answer.UNSAT for reply in replies.values())
    if hints.given and not shown:
        found, planned, replies = attempt_without()
    elif shown and not found.out_of_time and effort.spent:
        hints.keep()
    obligations = planned.everything()
    examples = failing_tables(terms, planned, replies, effort_s)
    findings = [*Findings(trial, found, planned, replies, SEARCHER.title()).all(examples)]
    findings.append(translation_finding(step, terms, SEARCHER.title()))
    proved = [o for o in obligations if replies[o.name].answer is Answer.UNSAT]
    findings += [
        _rechecked(SOLVERS[name], proved, effort_s, processes, tell) for name in rechecked_by
    ]
    facts = {state: tuple(map(write, known)) for state, known in found.facts.items() if known}
    return SmtProof(tuple(findings), tuple(obligations), facts)


def recheck(
    obligations: Sequence[Obligation],
    solver_name: str,
    effort_s: float = EFFORT_S,
    processes: int = 2,
    tell: Progress = lambda text: None,
) -> Finding:
    """Return whether a solver finds all obligations unsatisfiable."""
    return _rechecked(SOLVERS[solver_name], obligations, effort_s, processes, tell)


def _decide(
    solver: Solver,
    obligations: Sequence[Obligation],
    effort_s: float,
    processes: int,
    tell: Progress,
) -> dict[str, Reply]:
    count = 0
    asked = {_commands(o): Task(o, solver.name) for o in obligations}

    def done(_task: Task, _reply: Reply) -> None:
        nonlocal count
        count += 1
        tell(f"{solver.name}: {count} of {len(asked)} different obligations")

    replies = run([*asked.values()], effort_s, processes, done)
    answers = dict(zip(asked, replies, strict=True))
    return {o.name: answers[_commands(o)] for o in obligations}


def _commands(obligation: Obligation) -> str:
    """Return what a solver is told, without comments: two subjects may ask the same."""
    lines = obligation.text.splitlines()
    return "\n".join(line for line in lines if not line.startswith(";"))


def _rechecked(
    solver: Solver,
    obligations: Sequence[Obligation],
    effort_s: float,
    processes: int,
    tell: Progress,
) -> Finding:
    subject = f"recheck/{solver.name}"
    if missing := solver.missing():
        return Finding(subject, solver.name, Verdict.NOT_RUN, missing)
    replies = _decide(solver, obligations, effort_s, processes, tell)
    disagreeing = [name for name, reply in replies.items() if reply.answer is Answer.SAT]
    open_names = [name for name, reply in replies.items() if reply.answer is Answer.UNKNOWN]
    figures = {"obligations": len(obligations)}
    if not disagreeing and not open_names:
        detail = f"All {len(obligations)} obligations are unsatisfiable."
        return Finding(subject, solver.title(), Verdict.PROVED, detail, figures=figures)
    parts = []
    if disagreeing:
        parts.append(f"Finds counterexamples to {', '.join(disagreeing[:3])}: solvers disagree.")
    if open_names:
        reasons = [f"{name} ({replies[name].reason})" for name in open_names[:3]]
        parts.append(f"{len(open_names)} obligations are not decided: {', '.join(reasons)}.")
    return Finding(subject, solver.title(), Verdict.UNFINISHED, " ".join(parts), figures=figures)


def _not_run(trial: Trial, missing: str) -> list[Finding]:
    subjects = [f"single_hit/{state.name}" for state in trial.states]
    subjects += [requirement.id for requirement in trial.requirements]
    return [Finding(subject, SEARCHER.name, Verdict.NOT_RUN, missing) for subject in subjects]
