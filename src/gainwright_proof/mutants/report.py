"""What became of all mutants of a trial, as data for evidence and for the terminal."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from typing import Any

from gainwright.language.model import EquivalentMutants, Trial
from gainwright_proof.mutants.mutant import MutationKind
from gainwright_proof.mutants.outcome import Fate, Outcome, Stage


@dataclass(frozen=True, slots=True)
class Judged:
    """An outcome together with what the trial file says of the mutant."""

    outcome: Outcome
    listed: EquivalentMutants | None = None
    """The entry of the file that calls it equivalent, unless it is caught."""

    @property
    def id(self) -> str:
        return self.outcome.mutant.id

    @property
    def fate(self) -> Fate:
        return self.outcome.fate


@dataclass(frozen=True, slots=True)
class MutantReport:
    """All mutants in the order of :func:`gainwright_proof.mutants.generate.mutants`."""

    trial: Trial
    seed: int
    judged: tuple[Judged, ...]
    unused: tuple[tuple[str, str], ...]
    """Entries of the file and ids in them that fit no mutant that is left over."""

    def of(self, *fates: Fate) -> tuple[Judged, ...]:
        """Return the mutants with one of some fates."""
        return tuple(judged for judged in self.judged if judged.fate in fates)

    @property
    def survivors(self) -> tuple[Judged, ...]:
        """Mutants that no requirement notices, though they do something else."""
        return self.of(Fate.SURVIVED)

    @property
    def undecided(self) -> tuple[Judged, ...]:
        return self.of(Fate.UNDECIDED)

    @property
    def without_reason(self) -> tuple[Judged, ...]:
        """Equivalent mutants, proved so, of which the file gives no reason."""
        return tuple(j for j in self.of(Fate.EQUIVALENT) if j.listed is None)

    @property
    def rests_on(self) -> tuple[str, ...]:
        """Requirements that the equivalences rest on, in the order of the trial."""
        used = {name for judged in self.judged for name in judged.outcome.rests_on}
        return tuple(r.id for r in self.trial.requirements if r.id in used)

    def counts(self) -> dict[MutationKind, dict[Fate, int]]:
        """Return how many mutants of each kind met each fate."""
        table = {kind: dict.fromkeys(Fate, 0) for kind in MutationKind}
        for judged in self.judged:
            table[judged.outcome.mutant.kind][judged.fate] += 1
        return table

    def decided_by(self) -> dict[Stage, int]:
        """Return how many mutants each stage decided."""
        counts = dict.fromkeys(Stage, 0)
        for judged in self.judged:
            counts[judged.outcome.stage] += 1
        return counts

    def catches(self) -> dict[str, int]:
        """Return how many mutants each check was found to catch; requirements always appear.

        A mutant that one check catches is not tried on the dearer ones, so these are at least
        as many as are written here.
        """
        counts = {requirement.id: 0 for requirement in self.trial.requirements}
        for judged in self.judged:
            for name in judged.outcome.caught_by:
                counts[name] = counts.get(name, 0) + 1
        return counts

    def rows_noticed(self) -> dict[str, tuple[str, ...]]:
        """Return the rows of which each check caught a changed copy, in the order of the trial."""
        rows: dict[str, set[str]] = {}
        for judged in self.judged:
            for name in judged.outcome.caught_by:
                rows.setdefault(name, set()).update(judged.outcome.mutant.rows)
        order = [row.id for row in self.trial.rows]
        return {name: tuple(r for r in order if r in own) for name, own in rows.items()}

    def as_json(self) -> dict[str, Any]:
        """Return the report as plain data, the same for the same trial, seed and provers."""
        return {
            "trial": {"name": self.trial.name, "digest": self.trial.digest},
            "seed": self.seed,
            "counts": {
                kind.value: {fate.value: count for fate, count in row.items()}
                for kind, row in self.counts().items()
            },
            "decided_by": {stage.name.lower(): n for stage, n in self.decided_by().items()},
            "catches": self.catches(),
            "equivalence_rests_on": list(self.rests_on),
            "unused_entries": [list(entry) for entry in self.unused],
            "mutants": [_as_json(judged) for judged in self.judged],
        }


def mutant_report(trial: Trial, seed: int, outcomes: Iterable[Outcome]) -> MutantReport:
    """Return the report, with the entries of the trial file brought in."""
    judged = tuple(_judged(outcome, trial.equivalent_mutants) for outcome in outcomes)
    left_over = [j.id for j in judged if j.fate is not Fate.CAUGHT]
    unused = tuple(
        (entry.name, pattern)
        for entry in trial.equivalent_mutants
        for pattern in entry.mutants
        if not any(fnmatchcase(name, pattern) for name in left_over)
    )
    return MutantReport(trial, seed, judged, unused)


def _judged(outcome: Outcome, entries: Iterable[EquivalentMutants]) -> Judged:
    if outcome.fate is Fate.CAUGHT:
        return Judged(outcome)
    entry = next((e for e in entries if _fits(e, outcome.mutant.id)), None)
    if entry is None or outcome.fate is Fate.EQUIVALENT:
        return Judged(outcome, entry)
    if outcome.differs:
        detail = f"{outcome.detail}; the file calls it equivalent ({entry.name}), but it is not"
        return Judged(replace(outcome, detail=detail))
    return Judged(replace(outcome, fate=Fate.LISTED), entry)


def _fits(entry: EquivalentMutants, mutant_id: str) -> bool:
    return any(fnmatchcase(mutant_id, pattern) for pattern in entry.mutants)


def _as_json(judged: Judged) -> dict[str, Any]:
    outcome = judged.outcome
    caught = outcome.fate is Fate.CAUGHT
    optional: Mapping[str, Any] = {
        # The id says as much; only what is left over needs more words.
        "change": "" if caught else outcome.mutant.change,
        "rows": () if caught else list(outcome.mutant.rows),
        "caught_by": list(outcome.caught_by),
        "rests_on": list(outcome.rests_on),
        "entry": judged.listed.name if judged.listed is not None else "",
        "detail": outcome.detail,
    }
    return {
        "id": judged.id,
        "fate": outcome.fate.value,
        "stage": outcome.stage.name.lower(),
        **{key: value for key, value in optional.items() if value},
    }
