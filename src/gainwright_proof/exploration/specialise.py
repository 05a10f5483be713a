"""What is asked of a tick, once its row is known: expressions over inputs and variables only.

Conditions are replaced by what they stand for, outputs by their expression in the state, and state
tests by true or false. What is left of most requirements in most rows is ``true``.

That the exported outputs are those of the specification is not assumed: the explorer compares them
in every reachable state.
"""

from __future__ import annotations

from functools import cache

from gainwright.language.expression import Boolean, Expression, InState, Integer, Reference
from gainwright.language.model import Output, Row, State, Trial
from gainwright_proof.exploration.rewrite import (
    Facts,
    RangeFacts,
    after_tick,
    learn,
    rewritten,
    tick_scope,
)


class Specialiser:
    """Specialises expressions of one trial."""

    def __init__(self, trial: Trial) -> None:
        self._conditions = {condition.name: condition for condition in trial.conditions}
        self._outputs = {output.name: output for output in trial.outputs}
        self._ranges = {variable.name: variable for variable in trial.variables}
        self._states = {state.name: state for state in trial.states}
        self._ranges_known = RangeFacts(tick_scope(trial))
        self._within_range: dict[Expression, Expression] = {}
        self.condition = cache(self._condition)
        """Returns a condition over inputs and variables only."""

    def _condition(self, name: str) -> Expression:
        return self.expanded(self._conditions[name].expression)

    def expanded(self, expression: Expression) -> Expression:
        """Return an expression of a condition or action without names of conditions."""

        def leaf(part: Reference | InState) -> Expression:
            if isinstance(part, Reference) and part.name in self._conditions:
                return self.condition(part.name)
            return part

        return rewritten(expression, leaf)

    def at_moment(
        self, expression: Expression, state: str, *, with_outputs: bool = False
    ) -> Expression:
        """Return a formula over state, variables and outputs for one state.

        Outputs are kept as names, so that the exported values can be judged, or are put in.
        """

        def leaf(part: Reference | InState) -> Expression:
            if isinstance(part, InState):
                return Boolean(state in part.states)
            if with_outputs and part.name in self._outputs:
                return self._output_in(part.name, self._states[state], after=False)
            return part

        return rewritten(expression, leaf)

    def output(self, output: Output, state: str) -> Expression:
        """Return the expression of an output in a state, over variables."""
        text = self._states[state].value_of(output)
        return rewritten(text, lambda part: part)

    def facts(self, row: Row) -> Facts:
        """Return what is known whenever a row is taken: its conditions hold, and what follows."""
        facts: dict[Expression, Boolean] = {}
        for names, value in ((row.when, True), (row.unless, False)):
            for name in names:
                learn(self.condition(name), value, facts)
        return facts

    def over_tick(self, expression: Expression, row: Row, facts: Facts) -> Expression:
        """Return a formula over a tick for a row, over inputs, variables and ``next`` variables.

        ``facts`` about the row are put in, and comparisons decided that come out the same for all
        values in the ranges. Nothing is assumed of the new values.
        """
        return self._in_range(self._over_tick(expression, row, facts))

    def with_new_values(self, expression: Expression, row: Row, facts: Facts) -> Expression:
        """Return the same, also assuming the new values: those of variables that the row leaves
        alone or sets to a constant."""
        kept = self._over_tick(expression, row, facts)

        def leaf(part: Reference | InState) -> Expression:
            if not isinstance(part, Reference) or not part.after:
                return part
            if part.name not in row.actions:
                return Reference(part.name)
            value, variable = self.expanded(row.actions[part.name]), self._ranges[part.name]
            if isinstance(value, Integer):
                return Integer(min(max(value.value, variable.low), variable.high))
            return value if isinstance(value, Boolean) else part

        return self._in_range(rewritten(kept, leaf, facts))

    def _in_range(self, expression: Expression) -> Expression:
        if expression not in self._within_range:
            found = rewritten(expression, lambda part: part, self._ranges_known)
            self._within_range[expression] = found
        return self._within_range[expression]

    def _over_tick(self, expression: Expression, row: Row, facts: Facts) -> Expression:
        source, target = self._states[row.source], self._states[row.target]

        def leaf(part: Reference | InState) -> Expression:
            state = target if part.after else source
            if isinstance(part, InState):
                return Boolean(state.name in part.states)
            if part.name in self._conditions:
                return self.condition(part.name)
            if part.name in self._outputs:
                return self._output_in(part.name, state, part.after)
            return part

        return rewritten(expression, leaf, facts)

    def _output_in(self, name: str, state: State, after: bool) -> Expression:
        value = self.output(self._outputs[name], state.name)
        return after_tick(value) if after else value
