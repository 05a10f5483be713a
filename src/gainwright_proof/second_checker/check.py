"""What ``spin`` finds about a trial with short waits, as findings beside our own.

The trial itself would keep it busy for minutes; why what holds of the one holds of the other is
said in :mod:`gainwright_proof.exploration.short_waits`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from gainwright.language.model import Requirement, RequirementKind, Trial
from gainwright_proof.exploration.limits import Limits
from gainwright_proof.exploration.short_waits import (
    offers_with_short_waits,
    waits,
    with_short_waits,
)
from gainwright_proof.exploration.subjects import AGREEMENT, PREMISE
from gainwright_proof.exploration.vacuity import premises
from gainwright_proof.exploration.vectors import (
    StateVectors,
    TooManyVectors,
    vectors_by_state,
)
from gainwright_proof.methods import SPIN
from gainwright_proof.second_checker.promela import (
    Offer,
    asserts,
    flag_of,
    promela_model,
    seen,
    taken,
)
from gainwright_proof.second_checker.spin import (
    BALANCED_FLAGS,
    QUICK_FLAGS,
    SpinError,
    SpinResult,
    spin_version,
    verify,
)
from gainwright_proof.verdict import Finding, Verdict

MOST_VECTORS = Limits().vectors
"""As exploration: of them only those are offered that behave differently, some hundreds."""
LEAST_DEPTH = 10_000_000
"""Deeper than any search of a trial that was not explored first; a stack has a slot per step."""
JUDGED = frozenset(
    {
        RequirementKind.INITIAL,
        RequirementKind.INVARIANT,
        RequirementKind.STEP,
        RequirementKind.REACHABLE,
    }
)
"""Kinds that the model asserts; times would make its states other ones."""


_STATES_WORTH_COMPILING = 50_000
_STEPS_PER_STATE = 4


def second_checker(
    trial: Trial, explored_states: int | None, vectors: Sequence[StateVectors] = ()
) -> list[Finding]:
    """Return the findings of ``spin`` about the Promela export of a trial.

    Args:
        trial: what is checked.
        explored_states: reachable states of our exploration, counted with short waits; None if it
            is incomplete.
        vectors: those of our exploration, which the trial with short waits has too: it reads its
            inputs in the same places. Empty: they are made here.
    """
    version = spin_version()
    if version is None:
        return [Finding(AGREEMENT, SPIN, Verdict.NOT_RUN, "spin is not installed.")]
    method = f"{SPIN} (spin {version})"
    depth = LEAST_DEPTH if explored_states is None else _STEPS_PER_STATE * explored_states + 100
    shortened = waits(trial)
    short = with_short_waits(trial, shortened)
    method += f", waits shortened in {', '.join(w.variable.name for w in shortened) or 'nothing'}"
    try:
        # The inputs that our exploration tells apart, since every valuation takes fifteen times as
        # long; the tests compare the two.
        offered = offers_with_short_waits(vectors, shortened) or vectors_by_state(
            short, MOST_VECTORS
        )
        model = promela_model(short, offered, offer=Offer.ENOUGH)
        large = (explored_states or 0) > _STATES_WORTH_COMPILING
        result = verify(model, depth=depth, flags=BALANCED_FLAGS if large else QUICK_FLAGS)
    except (SpinError, TooManyVectors) as error:
        return [Finding(AGREEMENT, method, Verdict.UNFINISHED, f"spin failed: {error}")]
    return [
        _agreement(method, result, explored_states),
        *_requirements(trial, method, result, explored_states, model),
        *_tables(trial, method, result, explored_states),
        *_rows(trial, method, result, explored_states),
        *_premises_seen(trial, short, method, result),
    ]


def _agreement(method: str, result: SpinResult, explored: int | None) -> Finding:
    figures = {"stored_states": result.stored_states}
    counts = f"spin stored {result.stored_states:,} states with short waits"
    if not result.complete or explored is None:
        return Finding(
            AGREEMENT, method, Verdict.UNFINISHED, f"{counts}; not complete.", figures=figures
        )
    verdict = Verdict.PROVED if result.stored_states == explored else Verdict.REFUTED
    detail = f"{counts}, the exploration of the compiled C came to {explored:,}, counted alike."
    return Finding(AGREEMENT, method, verdict, detail, figures=figures)


def _says_all(result: SpinResult, explored: int | None) -> bool:
    """Return whether nothing is beyond the search: shortened waits must have lost no state."""
    return result.complete and result.stored_states == explored


def _requirements(
    trial: Trial, method: str, result: SpinResult, explored: int | None, model: str
) -> Iterator[Finding]:
    for requirement in trial.requirements:
        if requirement.kind not in JUDGED:
            continue
        if asserts(model, requirement):
            yield _judged(requirement, method, result, explored)
        else:
            text = "The model asserts nothing of it."
            yield Finding(requirement.id, method, Verdict.UNFINISHED, text)


def _judged(
    requirement: Requirement, method: str, result: SpinResult, explored: int | None
) -> Finding:
    whole = _says_all(result, explored)
    reach = requirement.kind is RequirementKind.REACHABLE
    reported = flag_of(requirement) in result.reported
    if reported == reach:
        # What was reported needs no complete search; what was not does.
        verdict = Verdict.PROVED if reach or whole else Verdict.UNFINISHED
    else:
        verdict = Verdict.REFUTED if reported or whole else Verdict.UNFINISHED
    detail = "The search is not complete."
    if result.complete:
        detail = "Searched completely." if whole else "No exploration has counted as many states."
    return Finding(requirement.id, method, verdict, detail)


def _tables(
    trial: Trial, method: str, result: SpinResult, explored: int | None
) -> Iterator[Finding]:
    for state in trial.states:
        if f"table_{state.name}" in result.reported:
            verdict = Verdict.REFUTED
        else:
            whole = _says_all(result, explored)
            verdict = Verdict.PROVED if whole else Verdict.UNFINISHED
        yield Finding(
            f"single_hit/{state.name}", method, verdict, "Over the reachable states and inputs."
        )


def _rows(trial: Trial, method: str, result: SpinResult, explored: int | None) -> Iterator[Finding]:
    whole = _says_all(result, explored)
    for number, row in enumerate(trial.rows):
        if taken(number) in result.reported:
            verdict, detail = Verdict.PROVED, "It is taken in a reachable tick."
        else:
            verdict = Verdict.REFUTED if whole else Verdict.UNFINISHED
            detail = "It is taken in no tick that was searched."
        yield Finding(f"row/{row.id}", method, verdict, detail)


def _premises_seen(
    trial: Trial, short: Trial, method: str, result: SpinResult
) -> Iterator[Finding]:
    """Yield whether premises occur; with the inputs that are offered some may stay unseen."""
    for number, (requirement, in_short) in enumerate(
        zip(trial.requirements, short.requirements, strict=True)
    ):
        wanted = [seen(number, part) for part, _ in enumerate(premises(in_short))]
        if wanted and set(wanted) <= set(result.reported):
            detail = f"{len(wanted)} of {len(wanted)} premises or triggers are seen."
            yield Finding(f"{PREMISE}/{requirement.id}", method, Verdict.PROVED, detail)
