"""Makes findings of what was found, with the runs and traces that show it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from gainwright.language.model import Trial
from gainwright.semantics.monitor import Snapshot
from gainwright_codegen.host.sequencer import CompiledSequencer
from gainwright_proof.exploration.run_file import COUNTEREXAMPLE, WITNESS, Run, run_of
from gainwright_proof.exploration.vectors import Vector
from gainwright_proof.methods import EXPLORATION
from gainwright_proof.replay import replay
from gainwright_proof.verdict import Finding, Trace, Verdict

LONGEST_TRACE_TICKS = 2_000
"""Of longer runs the trace has only the end; the run itself is complete."""
_LAST_TICKS = 100


def unfinished(subject: str, reason: str) -> Finding:
    """Return the finding of an exploration that is incomplete."""
    text = f"Incomplete: {reason}. Induction does not depend on the number of states."
    return Finding(subject, EXPLORATION, Verdict.UNFINISHED, text)


class Report:
    """Makes the findings about one search, and keeps their runs."""

    def __init__(self, trial: Trial, stopped: str) -> None:
        """``stopped`` says why the search is incomplete; empty if it is complete."""
        self._trial = trial
        self._stopped = stopped
        self.runs: dict[str, Run] = {}
        """Counterexamples and witnesses, by subject."""

    def proved(self, subject: str, text: str, figures: Mapping[str, int] | None = None) -> Finding:
        """Return what holds in all that was seen: proved if that is all there is."""
        if self._stopped:
            return unfinished(subject, self._stopped)
        return Finding(subject, EXPLORATION, Verdict.PROVED, text, figures=figures or {})

    def tested(self, subject: str, text: str, figures: Mapping[str, int]) -> Finding:
        """Return what held wherever it was tried."""
        return Finding(subject, EXPLORATION, Verdict.TESTED, text, figures=figures)

    def shown(self, subject: str, text: str, path: Sequence[Vector] | None = None) -> Finding:
        """Return what was asked for and found, however much more there is."""
        if path is None:
            return Finding(subject, EXPLORATION, Verdict.PROVED, text)
        trace = self._trace(subject, WITNESS, path)
        figures = {"ticks": len(path)}
        return Finding(subject, EXPLORATION, Verdict.PROVED, text, witness=trace, figures=figures)

    def never(self, subject: str, text: str) -> Finding:
        """Return what was asked for and not found: refuted if there is no more."""
        if self._stopped:
            return unfinished(subject, self._stopped)
        return Finding(subject, EXPLORATION, Verdict.REFUTED, text)

    def refuted(self, subject: str, text: str, path: Sequence[Vector]) -> Finding:
        """Return what a run from reset refutes, however much more there is."""
        trace = self._trace(subject, COUNTEREXAMPLE, path)
        figures = {"ticks": len(path)}
        return Finding(
            subject, EXPLORATION, Verdict.REFUTED, text, counterexample=trace, figures=figures
        )

    def _trace(self, subject: str, shows: str, path: Sequence[Vector]) -> Trace:
        run = self.runs[subject] = run_of(self._trial, subject, shows, path)
        if run.ticks <= LONGEST_TRACE_TICKS:
            return replay(self._trial, run.inputs_by_tick())
        return self._end_of(run)

    def _end_of(self, run: Run) -> Trace:
        """Return the last ticks of a run; the way there is taken by the compiled C, for speed."""
        machine = CompiledSequencer(self._trial)
        inputs = list(run.inputs_by_tick())
        for values in inputs[:-_LAST_TICKS]:
            machine.tick(values)
        first = Snapshot(machine.state, machine.variables, machine.outputs())
        return replay(self._trial, inputs[-_LAST_TICKS:], first)
