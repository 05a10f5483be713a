"""What evidence says of mutants, held against its own list of them and against the trial.

They are not judged again here, which takes minutes. But each change that the trial has must be
there, and counts, and the rows that requirements notice, must be those of the list.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

from gainwright.language.model import Trial
from gainwright_proof.mutants.generate import mutants
from gainwright_proof.mutants.mutant import MutationKind
from gainwright_proof.mutants.report import Outcome, noticed


def mutant_faults(document: Mapping[str, Any], trial: Trial) -> Iterator[str]:
    """Yield what the mutants of a document, if it has any, say wrongly."""
    tried = document.get("mutants")
    lines = document.get("requirements", [])
    if tried is None:
        if any(line.get("rows") is not None for line in lines):
            yield "rows that requirements notice, though no mutants were tried"
        return
    try:
        yield from _faults(tried, lines, trial)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        yield f"mutants that cannot be read: {type(error).__name__}: {error}"


def _faults(tried: Mapping[str, Any], lines: list[Any], trial: Trial) -> Iterator[str]:
    everything = {mutant.id: mutant for mutant in mutants(trial)}
    listed = tried["mutants"]
    if [entry["id"] for entry in listed] != list(everything):
        yield f"{len(listed)} mutants, not the {len(everything)} of the trial"
        return
    kinds = Counter((everything[e["id"]].kind, Outcome(e["outcome"])) for e in listed)
    wanted = {k.value: {o.value: kinds[k, o] for o in Outcome} for k in MutationKind}
    if tried["counts"] != wanted:
        yield "counts that are not those of the list"
    for entry in listed:
        if (entry["outcome"] == Outcome.CAUGHT.value) != bool(entry.get("caught_by")):
            yield f"{entry['id']} is {entry['outcome']} by {entry.get('caught_by')}"
    rows = noticed(trial, ((everything[e["id"]], e.get("caught_by", ())) for e in listed))
    for line in lines:
        if line.get("rows") != list(rows.get(line["requirement"], ())):
            yield f"{line['requirement']} notices {line.get('rows')}, which the list does not say"
