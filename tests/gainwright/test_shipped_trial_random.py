"""The shipped trial under random inputs: no requirement is violated."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from gainwright.language.model import Kind, Signal, Trial
from gainwright.semantics.evaluate import evaluate

from .shipped_walk import TRIAL, Walk

INTERESTING = [0, 1, 2, 3, 4, 15, 16, 47, 48, 63, 64, 84, 85, 101, 102, 127, 128]
INTERESTING += [179, 180, 181, 223, 224, 255, 256, 511, 512, 65535]


def _values(signal: Signal) -> st.SearchStrategy[int]:
    high = 1 if signal.kind is Kind.BOOLEAN else signal.high
    return st.sampled_from([value for value in INTERESTING if value <= high])


class RandomInputs(RuleBasedStateMachine):
    """Any inputs for any time: no requirement is violated, and the tables mean what they say."""

    @initialize(started=st.booleans())
    def power_on(self, started: bool) -> None:
        self.walk = Walk()
        if started:
            self.walk.started()

    @rule(
        changes=st.fixed_dictionaries(
            {},
            optional={s.name: _values(s) for s in TRIAL.inputs},
        ),
        times=st.sampled_from([1, 1, 2, 19, 21, 130, 700]),
    )
    def hold(self, changes: dict[str, int], times: int) -> None:
        for _ in range(times):
            self._compared_tick(changes)

    @precondition(lambda self: self.walk.machine.outputs()["motion_enable"])
    @rule()
    def quiet_rung(self) -> None:
        for _ in range(150):
            self._compared_tick({})

    @rule()
    def trouble(self) -> None:
        self._compared_tick({"drive_ready": 0})

    def _compared_tick(self, changes: Mapping[str, int]) -> None:
        inputs = {**self.walk.obedient(), **changes}
        expected = _tick_by_definition(
            self.walk.machine.trial, self.walk.machine.state, self.walk.machine.variables, inputs
        )
        self.walk.tick(**changes)
        assert (self.walk.machine.state, self.walk.machine.variables) == expected

    @invariant()
    def the_machine_never_loses_the_brake(self) -> None:
        outputs = self.walk.machine.outputs()
        assert outputs["torque_request"] or not outputs["brake_open"]


def _tick_by_definition(
    trial: Trial, state: str, variables: Mapping[str, int], inputs: Mapping[str, int]
) -> tuple[str, dict[str, int]]:
    """One tick by the words of the specification: no library, no generated code."""
    values = {**variables, **inputs}
    booleans = dict(values)
    for condition in trial.conditions:
        booleans[condition.name] = evaluate(condition.expression, booleans)
    (row,) = _holding(trial, state, booleans)
    kept = dict(variables)
    for variable in trial.variables:
        if variable.name in row.actions:
            value = evaluate(row.actions[variable.name], values)
            kept[variable.name] = max(variable.low, min(variable.high, value))
    return row.target, kept


def _holding(trial: Trial, state: str, booleans: Mapping[str, int]) -> Iterator:
    for row in trial.rows:
        looked_at = [booleans[n] for n in row.when] + [1 - booleans[n] for n in row.unless]
        if row.source == state and all(looked_at):
            yield row


RandomInputs.TestCase.settings = settings(max_examples=8, stateful_step_count=12, deadline=None)
TestRandomInputs = RandomInputs.TestCase
