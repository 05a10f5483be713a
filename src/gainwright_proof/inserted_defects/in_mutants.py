"""A trial file that waives what no requirement notices: a reason in a file is no proof."""

from __future__ import annotations

from dataclasses import replace

from gainwright.language.model import EquivalentMutants
from gainwright_proof.inserted_defects.defect import InsertedDefect
from gainwright_proof.inserted_defects.small import small_trial
from gainwright_proof.mutants.generate import mutants
from gainwright_proof.mutants.report import Judged, Outcome, Stage, mutant_report


def _waived(name: str, outcome: Outcome, pattern: str) -> InsertedDefect:
    """An entry of the file for a mutant that was not proved to behave the same."""

    def judge() -> tuple[str, ...]:
        mutant = next(m for m in mutants(small_trial()) if m.id.startswith("literal_added"))
        entry = EquivalentMutants("all", (pattern.format(mutant.id),), "Nothing changes.")
        trial = replace(small_trial(), equivalent_mutants=(entry,))
        report = mutant_report(trial, [Judged(mutant, outcome, Stage.EXPLORED)])
        return tuple(f"{j.outcome.value}, {j.id}" for j in report.survivors + report.undecided)

    return InsertedDefect(name, "waiver", "[equivalent_mutants]", judge)


IN_MUTANTS: tuple[InsertedDefect, ...] = (
    _waived("a wildcard for a change that gets through", Outcome.SURVIVED, "literal_added/*"),
    _waived("an entry for a change that is undecided", Outcome.UNDECIDED, "{}"),
)
