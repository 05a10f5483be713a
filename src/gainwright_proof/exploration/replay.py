"""Replays a run in the Python reference and in the compiled C at once, judged by the monitor."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from gainwright.language.model import RequirementKind, Trial
from gainwright.semantics.evaluate import Moment, Step, evaluate_over
from gainwright.semantics.machine import NotSingleHitError, ReferenceMachine
from gainwright.semantics.monitor import Monitor, Snapshot, Violation
from gainwright_codegen.host.sequencer import CompiledSequencer, SequencerError
from gainwright_proof.exploration.run_file import Run
from gainwright_proof.exploration.subjects import END_REACHABLE, WHOLE_TRIAL


class MachinesDifferError(Exception):
    """The compiled C and the reference did not do the same; the text says in which tick."""


@dataclass(frozen=True, slots=True)
class Replay:
    """What a run did."""

    ticks: int
    """Ticks taken; one less than the run has if no single row held in its last one."""
    last_row: str
    """Row of the last tick; empty if it took none."""
    not_single_hit_in: str
    """State in which not exactly one row held and the run stopped; empty if there is none."""
    violations: tuple[Violation, ...]
    final: Snapshot
    in_circle: bool
    """The last moment was there before, with no end state since: this can go on for ever."""


def replay_run(trial: Trial, run: Run) -> Replay:
    """Replay a run from reset.

    Raises:
        MachinesDifferError: reference and compiled C part ways.
        InputValueError: the run has inputs outside their ranges.
        InputError: the C of the trial cannot be compiled.
    """
    reference, compiled = ReferenceMachine(trial), CompiledSequencer(trial)
    monitor = Monitor(trial, _snapshot(reference))
    violations = list(monitor.first_violations)
    row, stuck_in, ticks = "", "", 0
    circle = _Circle(trial)
    circle.pass_through(reference)
    for inputs in run.inputs_by_tick():
        row = _tick(reference, compiled, inputs, ticks)
        if not row:
            stuck_in = reference.state
            break
        ticks += 1
        violations += monitor.observe(inputs, _snapshot(reference))
        circle.pass_through(reference)
    final = _snapshot(reference)
    return Replay(ticks, row, stuck_in, tuple(violations), final, circle.closed)


def confirms(trial: Trial, run: Run, replay: Replay) -> bool:
    """Return whether a replay shows, at its end, what the run says it shows.

    That no end can be reached any more is no matter of one run: there it only leads to the place.
    """
    requirements = {requirement.id: requirement for requirement in trial.requirements}
    requirement = requirements.get(run.subject)
    if run.subject in (END_REACHABLE, WHOLE_TRIAL):
        return replay.in_circle or run.subject == END_REACHABLE
    if requirement is None:
        kind, _, name = run.subject.partition("/")
        return {"single_hit": replay.not_single_hit_in, "row": replay.last_row}.get(kind) == name
    if requirement.kind is RequirementKind.REACHABLE:
        final = replay.final
        moment = Moment({**final.variables, **final.outputs}, final.state)
        return bool(evaluate_over(requirement.formula, Step(moment)))
    return any(v.requirement_id == run.subject and v.tick == run.ticks for v in replay.violations)


class _Circle:
    """Watches whether a run comes to a moment again without passing an end state."""

    def __init__(self, trial: Trial) -> None:
        self._ends = {state.name for state in trial.states if state.end}
        self._passed: set[tuple[str, tuple[int, ...]]] = set()
        self.closed = False

    def pass_through(self, machine: ReferenceMachine) -> None:
        moment = machine.state, tuple(machine.variables.values())
        if machine.state in self._ends:
            self._passed.clear()
        self.closed = moment in self._passed
        self._passed.add(moment)


def _snapshot(machine: ReferenceMachine) -> Snapshot:
    return Snapshot(machine.state, dict(machine.variables), machine.outputs())


def _tick(
    reference: ReferenceMachine,
    compiled: CompiledSequencer,
    inputs: Mapping[str, int],
    ticks: int,
) -> str:
    """Tick both machines; return the id of the row, empty if not exactly one held."""
    rows = []
    for machine in (reference, compiled):
        try:
            rows.append(machine.tick(inputs).id)
        except (NotSingleHitError, SequencerError):
            rows.append("")
    memories = [
        (m.state, dict(m.variables), m.saturated, m.outputs()) for m in (reference, compiled)
    ]
    # After a tick without a row, what saturated before is not defined.
    same = memories[0] == memories[1] or (not rows[0] and memories[0][:2] == memories[1][:2])
    if rows[0] != rows[1] or not same:
        raise MachinesDifferError(
            f"tick {ticks + 1}: the reference took {rows[0] or 'no row'} to {memories[0]}, "
            f"the compiled C took {rows[1] or 'no row'} to {memories[1]}"
        )
    return rows[0]
