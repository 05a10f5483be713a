"""What became of all mutants of a trial, as data for evidence and for the terminal."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import Enum
from fnmatch import fnmatchcase
from typing import Any

from gainwright.language.model import EquivalentMutants, Trial
from gainwright_proof.mutants.mutant import Mutant, MutationKind


class Stage(Enum):
    """What decided about a mutant; the value says it in words."""

    COMPARED = "comparison with the original over all that it reaches"
    TABLE = "check of the tables for all values in their ranges"
    EXPLORED = "exhaustive exploration of the mutant"
    NONE = "nothing"


class Outcome(Enum):
    CAUGHT = "caught"
    """At least one check fails."""
    EQUIVALENT = "equivalent"
    """Does the same as the original in every reachable moment, for all inputs; proved."""
    SURVIVED = "survived"
    """Does something else, and every requirement is proved of it: they are too weak to tell."""
    UNDECIDED = "undecided"
    """The detail says why."""


@dataclass(frozen=True, slots=True)
class Judged:
    """What became of one mutant; it follows from the trial and the limits alone."""

    mutant: Mutant
    outcome: Outcome
    stage: Stage
    caught_by: tuple[str, ...] = ()
    """Requirements, or checks asked of every trial (``single_hit/<state>``, ``row/<row>``,
    ``end_stays_reachable``), that the mutant was seen to fail."""
    detail: str = ""
    """Why it is equivalent or undecided, in words."""
    differs: bool = False
    """A reachable moment is known in which it does something else than the original."""
    listed: EquivalentMutants | None = None
    """The entry of the trial file that gives a reason why it is equivalent. An entry decides
    nothing: a mutant that is not proved equivalent stays what it is."""

    @property
    def id(self) -> str:
        return self.mutant.id


@dataclass(frozen=True, slots=True)
class MutantReport:
    """All mutants in the order of :func:`gainwright_proof.mutants.generate.mutants`."""

    trial: Trial
    judged: tuple[Judged, ...]
    unused: tuple[tuple[str, str], ...]
    """Entries of the file and ids in them that fit no mutant that is left over."""

    def of(self, *outcomes: Outcome) -> tuple[Judged, ...]:
        """Return the mutants with one of some outcomes."""
        return tuple(judged for judged in self.judged if judged.outcome in outcomes)

    @property
    def survivors(self) -> tuple[Judged, ...]:
        """Mutants that no requirement notices, though they do something else."""
        return self.of(Outcome.SURVIVED)

    @property
    def undecided(self) -> tuple[Judged, ...]:
        return self.of(Outcome.UNDECIDED)

    @property
    def without_reason(self) -> tuple[Judged, ...]:
        """Equivalent mutants, proved so, of which the file gives no reason."""
        return tuple(j for j in self.of(Outcome.EQUIVALENT) if j.listed is None)

    def counts(self) -> dict[MutationKind, dict[Outcome, int]]:
        """Return how many mutants of each kind had each outcome."""
        table = {kind: dict.fromkeys(Outcome, 0) for kind in MutationKind}
        for judged in self.judged:
            table[judged.mutant.kind][judged.outcome] += 1
        return table

    def decided_by(self) -> dict[Stage, int]:
        """Return how many mutants each stage decided."""
        counts = dict.fromkeys(Stage, 0)
        for judged in self.judged:
            counts[judged.stage] += 1
        return counts

    def catches(self) -> dict[str, int]:
        """Return how many mutants each check was seen to catch; requirements always appear.

        A mutant that some check catches is not put to all others, so these are at least as many as
        are written here.
        """
        counts = {requirement.id: 0 for requirement in self.trial.requirements}
        for judged in self.judged:
            for name in judged.caught_by:
                counts[name] = counts.get(name, 0) + 1
        return counts

    def rows_noticed(self) -> dict[str, tuple[str, ...]]:
        """Return the rows of which each check caught a changed copy, in the order of the trial."""
        return noticed(self.trial, ((judged.mutant, judged.caught_by) for judged in self.judged))

    def as_json(self) -> dict[str, Any]:
        """Return the report as plain data, the same for the same trial and limits."""
        return {
            "trial": {"name": self.trial.name, "digest": self.trial.digest},
            "counts": {
                kind.value: {outcome.value: count for outcome, count in row.items()}
                for kind, row in self.counts().items()
            },
            "decided_by": {stage.name.lower(): n for stage, n in self.decided_by().items()},
            "catches": self.catches(),
            "unused_entries": [list(entry) for entry in self.unused],
            "mutants": [_as_json(judged) for judged in self.judged],
        }


def noticed(
    trial: Trial, caught: Iterable[tuple[Mutant, Iterable[str]]]
) -> dict[str, tuple[str, ...]]:
    """Return the rows of which each check caught a changed copy, in the order of the trial."""
    rows: dict[str, set[str]] = {}
    for mutant, names in caught:
        for name in names:
            rows.setdefault(name, set()).update(mutant.rows)
    order = [row.id for row in trial.rows]
    return {name: tuple(r for r in order if r in own) for name, own in rows.items()}


def mutant_report(trial: Trial, judged: Iterable[Judged]) -> MutantReport:
    """Return the report, with the entries of the trial file brought in."""
    listed = tuple(_listed(one, trial.equivalent_mutants) for one in judged)
    left_over = [one.id for one in listed if one.outcome is not Outcome.CAUGHT]
    unused = tuple(
        (entry.name, pattern)
        for entry in trial.equivalent_mutants
        for pattern in entry.mutants
        if not any(fnmatchcase(name, pattern) for name in left_over)
    )
    return MutantReport(trial, listed, unused)


def _listed(judged: Judged, entries: Iterable[EquivalentMutants]) -> Judged:
    entry = next((e for e in entries if _fits(e, judged.id)), None)
    if judged.outcome is Outcome.CAUGHT or entry is None:
        return judged
    if judged.outcome is not Outcome.EQUIVALENT:
        said = f"; the file calls it equivalent ({entry.name}), which is not proved"
        return replace(judged, detail=judged.detail + said)
    return replace(judged, listed=entry)


def _fits(entry: EquivalentMutants, mutant_id: str) -> bool:
    return any(fnmatchcase(mutant_id, pattern) for pattern in entry.mutants)


def _as_json(judged: Judged) -> dict[str, Any]:
    caught = judged.outcome is Outcome.CAUGHT
    optional: dict[str, Any] = {
        # The id says as much; only what is left over needs more words.
        "change": "" if caught else judged.mutant.change,
        "rows": () if caught else list(judged.mutant.rows),
        "caught_by": list(judged.caught_by),
        "entry": judged.listed.name if judged.listed is not None else "",
        "detail": judged.detail,
    }
    return {
        "id": judged.id,
        "outcome": judged.outcome.value,
        "stage": judged.stage.name.lower(),
        **{key: value for key, value in optional.items() if value},
    }
