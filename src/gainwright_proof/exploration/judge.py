"""From the notes of a search and the questions to its graph to findings."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from concurrent.futures import Executor, Future, ThreadPoolExecutor

from gainwright.language.model import Requirement, RequirementKind, Trial
from gainwright_proof.exploration.asked import SEED as ASKED_SEED
from gainwright_proof.exploration.asked import Asked
from gainwright_proof.exploration.engine import Engine, Note, OutOfMemory, Wait
from gainwright_proof.exploration.one_step import SEED, OneStep
from gainwright_proof.exploration.report import Report, unfinished
from gainwright_proof.exploration.run_file import WITNESS, Run, run_of
from gainwright_proof.exploration.subjects import (
    AS_SPECIFIED,
    AS_WRITTEN,
    ASSIGNMENTS,
    END_REACHABLE,
    ONE_STEP,
    WHOLE_TRIAL,
)
from gainwright_proof.methods import EXPLORATION
from gainwright_proof.verdict import Finding, Verdict

_ENDLESS = 2**32 - 4
"""More ticks than there can be nodes."""


def unfinished_findings(trial: Trial, reason: str) -> Iterator[Finding]:
    """Yield one unfinished finding about every subject."""
    yield unfinished(AS_SPECIFIED, reason)
    yield unfinished(ONE_STEP, reason)
    yield unfinished(AS_WRITTEN, reason)
    for state in trial.states:
        yield unfinished(f"single_hit/{state.name}", reason)
    for row in trial.rows:
        yield unfinished(f"row/{row.id}", reason)
    if any(state.end for state in trial.states):
        yield unfinished(END_REACHABLE, reason)
        yield unfinished(WHOLE_TRIAL, reason)
    for requirement in trial.requirements:
        yield unfinished(requirement.id, reason)


class Judge:
    """Judges one search, complete or not."""

    def __init__(self, trial: Trial, engine: Engine, stopped: str) -> None:
        """``stopped`` says why the search is incomplete; empty if it is complete."""
        self._trial = trial
        self._engine = engine
        self._stopped = stopped
        figures = engine.figures
        self._nodes = figures.nodes
        self._folded = (
            f" Waits are folded: {figures.held:,} are kept. Between them {figures.walked:,} values "
            "of timers were walked through, with the inputs that let time pass and others in turn; "
            "all inputs were tried at both ends."
            if figures.held < figures.nodes
            else ""
        )
        self._states = f"{self._nodes:,} reachable states{', waits folded' * bool(self._folded)}"
        self._nodes_by_state = engine.nodes_by_state()
        self._report = Report(trial, stopped)
        self.longest_run_ticks: int | None = None
        """Known after :meth:`findings`."""

    @property
    def runs(self) -> Mapping[str, Run]:
        """Counterexamples and witnesses found so far, by subject."""
        return self._report.runs

    def findings(self) -> Iterator[Finding]:
        """Yield the findings, in a fixed order."""
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            # The analyses run in C, without Python's lock, while the others are reported.
            waits = {} if self._stopped else self._begin_waits(pool)
            yield from self._findings(waits)

    def requirements(self, pool: Executor) -> Iterator[Finding]:
        """Yield the findings about the requirements of a complete search alone."""
        waits = self._begin_waits(pool)
        for number, requirement in enumerate(self._trial.requirements):
            yield self._requirement(number, requirement, waits)

    def _begin_waits(self, pool: Executor) -> dict[str, Future[Wait]]:
        """Begin to measure all times asked for; the result is by subject."""
        engine, requirements = self._engine, self._trial.requirements
        at_end, always = 2 * len(requirements), 2 * len(requirements) + 1
        waits = {WHOLE_TRIAL: pool.submit(engine.wait_after_moment, at_end, always, _ENDLESS)}
        for number, requirement in enumerate(requirements):
            later = requirement.later_ticks
            if requirement.kind is RequirementKind.BOUNDED:
                waits[requirement.id] = pool.submit(
                    engine.wait_after_moment, 2 * number, 2 * number + 1, later
                )
            elif requirement.kind is RequirementKind.RESPONSE:
                waits[requirement.id] = pool.submit(engine.wait_after_tick, number, later)
        return waits

    def _findings(self, waits: Mapping[str, Future[Wait]]) -> Iterator[Finding]:
        yield self._as_specified()
        yield self._one_step()
        yield self.as_written()
        yield from self._never_cut()
        for number, state in enumerate(self._trial.states):
            yield self._single_hit(number, state.name)
        for number, row in enumerate(self._trial.rows):
            yield self._row(number, f"row/{row.id}")
        if any(state.end for state in self._trial.states):
            yield self._end_reachable()
            finding, self.longest_run_ticks = self._timed(WHOLE_TRIAL, waits)
            yield finding
        for number, requirement in enumerate(self._trial.requirements):
            yield self._requirement(number, requirement, waits)

    def _as_specified(self) -> Finding:
        if (kept := self._engine.kept_memory) is not None:
            text = f"The C keeps more than state and variables from tick to tick: {kept}."
            return Finding(AS_SPECIFIED, EXPLORATION, Verdict.REFUTED, text)
        outputs = self._engine.first(Note.MOMENT, len(self._trial.requirements))
        if outputs is not None:
            path = self._engine.path_to(outputs.node)
            text = "The outputs differ from the specification."
            return self._report.refuted(AS_SPECIFIED, text, path)
        for number, state in enumerate(self._trial.states):
            for note in (Note.UNEXPECTED, Note.CONDITIONS):
                place = self._engine.first(note, number)
                if place is not None:
                    text = f"In {state.name} the inputs act otherwise than specified."
                    return self._report.refuted(AS_SPECIFIED, text, self._engine.path_over(place))
        return self._report.proved(
            AS_SPECIFIED,
            "The outputs of every reachable state are those of the specification; conditions and "
            f"the effect of inputs were compared in every situation.{self._folded}",
        )

    def _one_step(self) -> Finding:
        one_step = OneStep(self._trial, self._engine)
        difference = one_step.first_difference()
        if difference is not None:
            node, text = difference
            return self._report.refuted(ONE_STEP, text, self._engine.path_to(node))
        return self._report.tested(
            ONE_STEP,
            f"{one_step.steps:,} steps from {one_step.situations} situations, under boundaries, "
            f"powers of two, aliases and random 32-bit values of every input (seed {SEED}), are "
            "those of the reference.",
            {"steps": one_step.steps, "situations": one_step.situations},
        )

    def as_written(self) -> Finding:
        """Return whether the requirements were asked as they are written."""
        asked = Asked(self._trial, self._engine)
        difference = asked.first_difference()
        if difference:
            return Finding(AS_WRITTEN, EXPLORATION, Verdict.REFUTED, difference)
        count = len(self._trial.requirements)
        return self._report.tested(
            AS_WRITTEN,
            f"Of {asked.moments:,} moments and ticks, reachable or not (seed {ASKED_SEED}), the "
            f"explorer says what the {count} requirements say as they are written; "
            f"{asked.told_apart} of them fail in some.",
            {"moments": asked.moments, "requirements_told_apart": asked.told_apart},
        )

    def _never_cut(self) -> Iterator[Finding]:
        """Say that the range of a variable cuts no assignment, if it never does."""
        variables = range(len(self._trial.variables))
        if not any(self._engine.first(Note.SATURATED, number) for number in variables):
            text = f"No tick from {self._states} is stopped by the range of a variable."
            yield self._report.proved(ASSIGNMENTS, text)

    def _single_hit(self, number: int, state: str) -> Finding:
        subject = f"single_hit/{state}"
        faults = ((Note.NO_ROW_HELD, "no row holds"), (Note.ROWS_HELD, "several rows hold"))
        for note, text in faults:
            place = self._engine.first(note, number)
            if place is not None:
                path = self._engine.path_over(place)
                return self._report.refuted(subject, f"In tick {len(path):,} {text}.", path)
        count = self._nodes_by_state[number]
        return self._report.proved(
            subject, f"One row holds for all inputs in each of its {count:,} reachable values."
        )

    def _row(self, number: int, subject: str) -> Finding:
        ticks = self._engine.ticks_by_row()[number]
        if ticks > 0:
            return self._report.shown(subject, f"Taken in {ticks:,} of the ticks tried.")
        return self._report.never(subject, "No sequence of inputs leads to this row.")

    def runs_to_rows(self) -> Iterator[Run]:
        """Yield a shortest run from reset through each row that can be reached."""
        for number, row in enumerate(self._trial.rows):
            place = self._engine.first(Note.ROW_TAKEN, number)
            if place is not None:
                subject = f"row/{row.id}"
                yield run_of(self._trial, subject, WITNESS, self._engine.path_over(place))

    def _end_reachable(self) -> Finding:
        if self._stopped:
            return unfinished(END_REACHABLE, self._stopped)
        count, first = self._engine.stuck()
        if first is None:
            text = f"From each of {self._states} an end is reachable."
            return self._report.proved(END_REACHABLE, text)
        text = f"From {count:,} reachable states no inputs lead to an end; this is the nearest."
        return self._report.refuted(END_REACHABLE, text, self._engine.path_to(first))

    def _requirement(
        self, number: int, requirement: Requirement, waits: Mapping[str, Future[Wait]]
    ) -> Finding:
        match requirement.kind:
            case RequirementKind.INITIAL:
                return self._initial(number, requirement.id)
            case RequirementKind.INVARIANT:
                return self._invariant(number, requirement.id)
            case RequirementKind.STEP:
                return self._step(number, requirement.id)
            case RequirementKind.REACHABLE:
                return self._reachable(number, requirement.id)
            case RequirementKind.BOUNDED | RequirementKind.RESPONSE:
                return self._timed(requirement.id, waits)[0]

    def _initial(self, number: int, subject: str) -> Finding:
        if self._engine.holds_after_reset(2 * number):
            return self._report.shown(subject, "Holds after the reset of the compiled C.")
        return self._report.refuted(subject, "Violated after reset, before the first tick.", [])

    def _invariant(self, number: int, subject: str) -> Finding:
        place = self._engine.first(Note.MOMENT, number)
        if place is not None:
            path = self._engine.path_to(place.node)
            text = f"Violated {len(path):,} ticks after reset, no sooner."
            return self._report.refuted(subject, text, path)
        return self._report.proved(subject, f"Holds in all {self._states}.")

    def _step(self, number: int, subject: str) -> Finding:
        place = self._engine.first(Note.TICK, number)
        if place is not None:
            path = self._engine.path_over(place)
            text = f"Violated by tick {len(path):,} after reset, no sooner."
            return self._report.refuted(subject, text, path)
        text = f"Holds over every tick from all {self._states}."
        return self._report.proved(subject, text)

    def _reachable(self, number: int, subject: str) -> Finding:
        place = self._engine.first(Note.MOMENT, number)
        if place is None:
            text = f"True in none of the {self._states}."
            return self._report.never(subject, text)
        path = self._engine.path_to(place.node)
        text = f"Reached {len(path):,} ticks after reset, no sooner."
        return self._report.shown(subject, text, path)

    def _timed(self, subject: str, waits: Mapping[str, Future[Wait]]) -> tuple[Finding, int | None]:
        """Return the finding about a wait, and its longest time if it has one."""
        if self._stopped:
            return unfinished(subject, self._stopped), None
        try:
            wait = waits[subject].result()
        except OutOfMemory:
            return unfinished(subject, "memory ran out while the graph was analysed"), None
        longest = wait.longest_ticks
        text = "Sometimes for ever." if longest is None else f"Never more than {longest:,} ticks."
        if wait.late is not None:
            text += " The run shows the nearest case that takes too long."
            return self._report.refuted(subject, text, wait.late), longest
        assert longest is not None
        return self._report.proved(subject, text, {"longest_ticks": longest}), longest
