"""The executable reference of a trial, on the ``transitions`` library."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

from gainwright.language.model import Row, Signal, Trial
from gainwright.semantics.python_code import CodeWriter


class NotSingleHitError(Exception):
    """Not exactly one row holds; a validated and proved trial never gets here."""


class InputValueError(ValueError):
    """An input is missing, unknown or outside its declared range."""


class _Carrier:
    """The object whose state the library keeps; the library adds ``trigger``."""

    state: str
    trigger: Callable[[str], bool]


class ReferenceMachine:
    """Runs a trial tick by tick; the exported C must do the same, bit for bit."""

    def __init__(self, trial: Trial) -> None:
        # Imported here: the library is only needed by those who run the reference.
        from transitions import Machine

        self.trial = trial
        self.variables: dict[str, int] = {}
        self.saturated: frozenset[str] = frozenset()
        """Variables whose assignment was limited to the range in the last tick."""
        names = [state.name for state in trial.states]
        writer = CodeWriter(names, trial.conditions)
        self._compute_conditions = writer.function([c.expression for c in trial.conditions])
        self._action_functions = [writer.function(list(row.actions.values())) for row in trial.rows]
        self._output_functions = {
            state.name: writer.function([state.value_of(output) for output in trial.outputs])
            for state in trial.states
        }
        self._inputs = {signal.name: signal for signal in trial.inputs}
        self._ranges = {variable.name: variable for variable in trial.variables}
        self._booleans: dict[str, bool] = {}
        self._values: dict[str, int] = {}
        self._taken: Row | None = None
        self._carrier = _Carrier()
        self._machine = Machine(
            model=self._carrier,
            states=names,
            initial=trial.initial_state,
            transitions=[self._transition(index, row) for index, row in enumerate(trial.rows)],
            auto_transitions=False,
        )
        self.reset()

    def _transition(self, index: int, row: Row) -> dict[str, object]:
        return {
            "trigger": "tick",
            "source": row.source,
            "dest": row.target,
            "conditions": [partial(self._holds, name) for name in row.when],
            "unless": [partial(self._holds, name) for name in row.unless],
            "after": partial(self._act, index),
        }

    @property
    def state(self) -> str:
        return self._carrier.state

    def reset(self) -> None:
        """Go back to the state and values after power-on."""
        self._machine.set_state(self.trial.initial_state)
        self.variables = {variable.name: variable.initial for variable in self.trial.variables}
        self.saturated = frozenset()

    def restore(self, state: str, variables: Mapping[str, int]) -> None:
        """Go to any state and values, for replay and exploration; KeyError if unknown."""
        self.variables = {name: int(variables[name]) for name in self._ranges}
        self._machine.set_state(state)
        self.saturated = frozenset()

    def outputs(self) -> dict[str, int]:
        """Return the outputs of the present state and variables, boolean values as 0 and 1."""
        computed = self._output_functions[self.state](self.variables, 0, {}, 0)
        names = (output.name for output in self.trial.outputs)
        return {name: int(value) for name, value in zip(names, computed, strict=True)}

    def conditions(self, inputs: Mapping[str, int]) -> dict[str, bool]:
        """Return all conditions over the present variables and the given inputs."""
        values = {**self.variables, **inputs}
        computed = self._compute_conditions(values, 0, {}, 0)
        names = (condition.name for condition in self.trial.conditions)
        return {name: bool(value) for name, value in zip(names, computed, strict=True)}

    def tick(self, inputs: Mapping[str, int]) -> Row:
        """Take one step and return the row taken.

        Raises :class:`InputValueError` for wrong inputs and :class:`NotSingleHitError` if not
        exactly one row holds; in both cases nothing changes.
        """
        self._check_inputs(inputs)
        self._booleans = self.conditions(inputs)
        self._require_single_hit()
        self._values = {**self.variables, **inputs}
        self._taken = None
        self._carrier.trigger("tick")
        assert self._taken is not None
        return self._taken

    def _holds(self, condition: str) -> bool:
        return self._booleans[condition]

    def _act(self, index: int) -> None:
        row = self._taken = self.trial.rows[index]
        computed = self._action_functions[index](self._values, 0, {}, 0)
        saturated = set()
        for name, value in zip(row.actions, computed, strict=True):
            signal = self._ranges[name]
            self.variables[name] = min(max(int(value), signal.low), signal.high)
            if self.variables[name] != int(value):
                saturated.add(name)
        self.saturated = frozenset(saturated)

    def _require_single_hit(self) -> None:
        booleans = self._booleans
        holding = [
            row.id
            for row in self.trial.rows_by_state[self.state]
            if all(booleans[name] for name in row.when)
            and not any(booleans[name] for name in row.unless)
        ]
        if len(holding) != 1:
            true = ", ".join(name for name, holds in booleans.items() if holds) or "no condition"
            what = f"rows {', '.join(holding)} hold" if holding else "no row holds"
            raise NotSingleHitError(f"state {self.state}: {what} when {true} holds")

    def _check_inputs(self, inputs: Mapping[str, int]) -> None:
        for name, signal in self._inputs.items():
            if name not in inputs:
                raise InputValueError(f"no value for the input '{name}'")
            _check_range(signal, inputs[name])
        for name in inputs:
            if name not in self._inputs:
                raise InputValueError(f"'{name}' is no input of the trial {self.trial.name}")


def _check_range(signal: Signal, value: int) -> None:
    if not signal.low <= value <= signal.high:
        raise InputValueError(
            f"input '{signal.name}' = {value} is outside {signal.low} to {signal.high}"
        )
