"""Findings of a directed search about a trial that is too large to be explored."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

import numpy as np

from gainwright.language.expression import Expression, Reference, references, walk
from gainwright.language.model import Trial
from gainwright_proof.directed.compare import Reference as ReferenceTicks
from gainwright_proof.directed.goals import Goals, Place, Wish
from gainwright_proof.directed.novelty import comparisons
from gainwright_proof.directed.search import Batch, DirectedSearch
from gainwright_proof.exploration.one_step import SEED, UnusualVectors
from gainwright_proof.exploration.report import Report
from gainwright_proof.exploration.run_file import Run
from gainwright_proof.exploration.subjects import AS_SPECIFIED, ONE_STEP, PREMISE
from gainwright_proof.exploration.vectors import StateVectors, TooManyVectors
from gainwright_proof.methods import DIRECTED
from gainwright_proof.verdict import HOLDS, Finding, Verdict

MOST_MOMENTS = 200_000
_COMPARED = 1_000_000
"""Ticks of the search that are held against the reference."""
_PROBED = 1
"""Moments of each state from which unusual values are tried."""


def directed_findings(
    trial: Trial, findings: Iterable[Finding], exported: Mapping[str, bytes] | None = None
) -> tuple[tuple[Finding, ...], Mapping[str, Run]]:
    """Return what runs of the compiled C show of subjects that are still open, and these runs.

    ``exported`` is the C to run, if it is not what the exporter writes now. Nothing is said of what
    was not seen: it may happen all the same.
    """
    open_subjects = {f.subject for f in findings if f.verdict not in HOLDS}
    open_subjects -= {f.subject for f in findings if f.verdict in HOLDS}
    if not open_subjects:
        return (), {}
    try:
        looked = _Looked(trial, exported)
    except TooManyVectors:
        return (), {}
    found = [f for f in looked.findings() if f.subject in open_subjects or f.verdict not in HOLDS]
    return tuple(found), looked.runs


class _Looked:
    def __init__(self, trial: Trial, exported: Mapping[str, bytes] | None) -> None:
        self._trial = trial
        self._goals = Goals(trial)
        self._search = DirectedSearch(trial, [w.formula for w in self._goals.wishes], exported)
        self._reference = ReferenceTicks(trial)
        self._difference = ""
        self._report = Report(trial, "")
        self._look_for_all()

    @property
    def runs(self) -> Mapping[str, Run]:
        return self._report.runs

    def _look_for_all(self) -> None:
        """Search until all has been seen, or each of what is asked about was told apart once."""
        tried: list[Expression] = []
        self._search.run(self._look, MOST_MOMENTS)
        while not self._difference and (apart := self._asked_most(tried)) is not None:
            tried.append(apart)
            self._search.begin_again([apart])
            self._search.run(self._look, MOST_MOMENTS)

    def _look(self, batch: Batch) -> bool:
        """Note what a batch shows; waits show nothing of which single ticks do not."""
        if batch.single:
            self._goals.look(batch, self._reference)
            if self._reference.ticks < _COMPARED:
                self._difference = self._reference.difference(batch)
        return not self._goals.complete and not self._difference

    def _asked_most(self, tried: Iterable[Expression]) -> Expression | None:
        """Return what most of the goals that are missing ask of variables."""
        count = Counter[Expression]()
        for asked in self._goals.missing():
            count.update(list(dict.fromkeys(self._told_apart(asked))))
        left = (part for part, _ in count.most_common() if part not in tried)
        return next(left, None)

    def _told_apart(self, expressions: Iterable[Expression]) -> Iterator[Expression]:
        every = list(expressions)
        for part in comparisons(self._trial, every):
            if not references(part) & self._search.timers:
                yield part
        booleans = self._trial.boolean_names & self._trial.index.variables.keys()
        for part in (p for e in every for p in walk(e)):
            if isinstance(part, Reference) and part.name in booleans:
                yield Reference(part.name)

    def findings(self) -> Iterator[Finding]:
        yield self._of_ticks(AS_SPECIFIED, self._difference, self._as_specified())
        if not self._difference:
            yield self._one_step()
        for number, place in sorted(self._goals.rows.items()):
            text = f"The compiled C takes it, {self._ticks(place, True):,} ticks after reset."
            yield Finding(f"row/{self._trial.rows[number].id}", DIRECTED, Verdict.PROVED, text)
        for subject in dict.fromkeys(wish.subject for wish in self._goals.wishes):
            own = [wish for wish in self._goals.wishes if wish.subject == subject]
            if all(wish in self._goals.seen for wish in own):
                yield self._seen(subject, own)

    def _ticks(self, place: Place, its_own: bool) -> int:
        return self._search.ticks_to(place.node) + its_own

    def _as_specified(self) -> str:
        return (
            f"{self._reference.ticks:,} ticks of the C that ships, from reachable moments, are "
            "those of the reference."
        )

    def _of_ticks(self, subject: str, difference: str, text: str) -> Finding:
        if difference:
            return Finding(subject, DIRECTED, Verdict.REFUTED, difference)
        return Finding(subject, DIRECTED, Verdict.TESTED, text)

    def _one_step(self) -> Finding:
        """Return what the C does under values that no specification names."""
        random = np.random.default_rng(SEED)
        steps = moments = 0
        for number, vectors in enumerate(self._search.vectors):
            state = StateVectors(self._trial.states[number].name, vectors, len(vectors), None, ())
            unusual = UnusualVectors(self._trial, state, random)
            for node in self._search.spread(number, _PROBED):
                batch = self._search.tried(node, unusual.next())
                if difference := self._reference.difference(batch):
                    return self._of_ticks(ONE_STEP, difference, "")
                steps, moments = steps + len(batch.nodes), moments + 1
        text = (
            f"{steps:,} steps from {moments} reachable moments, under boundaries, powers of two, "
            f"aliases and random 32-bit values of every input (seed {SEED}), are those of the "
            "reference."
        )
        figures = {"steps": steps, "situations": moments}
        return replace(self._of_ticks(ONE_STEP, "", text), figures=figures)

    def _seen(self, subject: str, own: list[Wish]) -> Finding:
        """Return that everything about a subject was seen; with a run of what is required."""
        latest = max(self._ticks(self._goals.seen[w], w.over_tick) for w in own)
        if subject.startswith(f"{PREMISE}/"):
            count = f"All {len(own)} premises are" if len(own) > 1 else "The premise is"
            text = f"{count} seen in runs of the compiled C, after {latest:,} ticks at most."
            return Finding(subject, DIRECTED, Verdict.PROVED, text, figures={"first_tick": latest})
        place = self._goals.seen[own[0]]
        held = self._search.path_to(place.node)
        path = [vector for vector, ticks in held for _ in range(ticks)]
        shown = self._report.shown(subject, f"Reached {latest:,} ticks after reset.", path)
        return replace(shown, method=DIRECTED)
