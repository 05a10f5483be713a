"""The transition relation of a trial as SMT-LIB definitions.

Symbols of one tick: ``old.x`` and ``new.x`` for variables, outputs and the state before and after
it, ``in.x`` for inputs, ``holds.c`` for conditions, ``row.r`` for rows. What is free is the moment
before the tick and the inputs, each anywhere in its declared range; all else is defined by them.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

from gainwright.language.expression import Expression, Integer
from gainwright.language.model import Kind, Row, Signal, Trial
from gainwright_proof.induction.expression import Symbols, translate
from gainwright_proof.induction.script import Definition, constant, function
from gainwright_proof.induction.text import (
    INTEGER_SORT,
    WIDTH,
    bit_vector,
    conjunction,
    disjunction,
    negation,
)

ONE_ROW = "exactly_one_row"


@dataclass(frozen=True, slots=True)
class Frame:
    """Prefixes of the symbols of one tick; chained ticks have different ones."""

    before: str = "old"
    after: str = "new"
    tick: str = ""
    """Suffix of the prefixes for inputs, conditions and rows."""


class StepEncoding:
    """SMT-LIB symbols and definitions of one tick of a trial."""

    def __init__(self, trial: Trial, frame: Frame = Frame()) -> None:
        self.trial = trial
        self.frame = frame
        self._inputs = {signal.name for signal in trial.inputs}
        self._conditions = {condition.name for condition in trial.conditions}
        self.state_bits = max(1, (len(trial.states) - 1).bit_length())
        self.state_sort = f"(_ BitVec {self.state_bits})"

    # Symbols, as asked for by the translation of expressions.

    def value(self, name: str, after: bool) -> str:
        if name in self._inputs:
            return f"in{self.frame.tick}.{name}"
        if name in self._conditions:
            return f"holds{self.frame.tick}.{name}"
        return f"{self.frame.after if after else self.frame.before}.{name}"

    def state(self, after: bool) -> str:
        return f"{self.frame.after if after else self.frame.before}.state"

    def constant(self, name: str) -> str:
        return f"constant.{name}"

    def state_code(self, name: str) -> str:
        return f"state.{name}"

    def row(self, row: Row) -> str:
        return f"row{self.frame.tick}.{row.id}"

    def formula(self, expression: Expression) -> str:
        """Return a boolean expression over this tick as a formula."""
        return translate(expression, self)

    def in_state(self, name: str, after: bool = False) -> str:
        return f"(= {self.state(after)} {self.state_code(name)})"

    @property
    def one_row(self) -> str:
        return f"{ONE_ROW}{self.frame.tick}"

    # Definitions.

    @cached_property
    def definitions(self) -> tuple[Definition, ...]:
        """Everything about one tick, in an order in which each definition uses earlier ones."""
        return (*self.shared, *self.moment(after=False), *self.tick)

    @cached_property
    def shared(self) -> tuple[Definition, ...]:
        """What does not depend on the tick: helpers, constants, states."""
        return (
            *_HELPERS,
            *(
                function(self.constant(c.name), INTEGER_SORT, bit_vector(c.value), c.meaning)
                for c in self.trial.constants
            ),
            *(
                function(self.constant(v.name), INTEGER_SORT, bit_vector(number), v.words)
                for enumeration in self.trial.enumerations
                for number, v in enumerate(enumeration.values)
            ),
            *(
                function(
                    self.state_code(state.name),
                    self.state_sort,
                    bit_vector(index, self.state_bits),
                    state.meaning,
                )
                for index, state in enumerate(self.trial.states)
            ),
        )

    def moment(self, after: bool) -> tuple[Definition, ...]:
        """Return a free moment, before or after the tick: state, variables and outputs."""
        last = self.state_code(self.trial.states[-1].name)
        state = self.state(after)
        return (
            constant(state, self.state_sort, "The state.", f"(bvule {state} {last})"),
            *(self._free(v, self.value(v.name, after)) for v in self.trial.variables),
            *self._outputs(after),
        )

    @cached_property
    def tick(self) -> tuple[Definition, ...]:
        """Inputs, conditions, rows and the moment after the tick, defined by the one before."""
        return (
            *self._inputs_and_conditions(),
            *(function(self.row(row), "Bool", self.row_holds(row)) for row in self.trial.rows),
            self._one_row(),
            self._next_state(),
            *(self._next_value(variable) for variable in self.trial.variables),
            *self._outputs(after=True),
        )

    def row_tick(self, row: Row) -> tuple[Definition, ...]:
        """Return the same as :attr:`tick` for a tick of which the row is known.

        The moment after it then follows from the actions of that row alone.
        """
        return (
            *self._inputs_and_conditions(),
            function(self.row(row), "Bool", self.row_holds(row)),
            function(
                self.state(after=True),
                self.state_sort,
                self.state_code(row.target),
                f"The next state, by the row {row.id}.",
            ),
            *(self._value_by_row(variable, row) for variable in self.trial.variables),
            *self._outputs(after=True),
        )

    def row_holds(self, row: Row) -> str:
        return conjunction([self.in_state(row.source), *self.literals(row)])

    def literals(self, row: Row) -> list[str]:
        """Return the conditions of a row, required true or required false."""
        return [
            *(self.value(name, False) for name in row.when),
            *(negation(self.value(name, False)) for name in row.unless),
        ]

    def assigned(self, signal: Signal, expression: Expression) -> str:
        """Return the value that an assignment gives: the expression, stopped at the range."""
        term = self.formula(expression)
        within = isinstance(expression, Integer) and signal.low <= expression.value <= signal.high
        if within or signal.kind is Kind.BOOLEAN:
            return term
        return f"(limited {term} {bit_vector(signal.low)} {bit_vector(signal.high)})"

    def initial(self, signal_name: str) -> str:
        """Return the value of a variable after power-on."""
        value = next(v for v in self.trial.variables if v.name == signal_name)
        return self.literal(value, value.initial)

    def literal(self, signal: Signal, value: int) -> str:
        """Return a value of a signal as a literal of its sort."""
        if signal.kind is Kind.BOOLEAN:
            return "true" if value else "false"
        return bit_vector(value)

    def _inputs_and_conditions(self) -> Iterator[Definition]:
        yield from (self._free(s, self.value(s.name, False)) for s in self.trial.inputs)
        for condition in self.trial.conditions:
            body = self.formula(condition.expression)
            symbol = self.value(condition.name, False)
            yield function(symbol, "Bool", body, condition.meaning)

    def _value_by_row(self, variable: Signal, row: Row) -> Definition:
        body = self.value(variable.name, after=False)
        if variable.name in row.actions:
            body = self.assigned(variable, row.actions[variable.name])
        symbol = self.value(variable.name, after=True)
        return function(symbol, sort(variable), body, _after_tick(variable))

    def _free(self, signal: Signal, symbol: str) -> Definition:
        return constant(symbol, sort(signal), signal.meaning, within_range(signal, symbol))

    def _outputs(self, after: bool) -> Iterable[Definition]:
        """Outputs are functions of state and variables of the same moment."""
        moment = _Moment(self, after)
        for output in self.trial.outputs:
            cases: dict[str, list[str]] = {}
            for state in self.trial.states:
                if output.name in state.outputs:
                    term = translate(state.outputs[output.name], moment)
                    cases.setdefault(term, []).append(self.in_state(state.name, after))
            assert output.default is not None
            body = _cases(cases, translate(output.default, moment))
            yield function(self.value(output.name, after), sort(output), body, output.meaning)

    def _one_row(self) -> Definition:
        rows = self.trial.rows
        pairs = [
            negation(conjunction([self.row(first), self.row(second)]))
            for first, second in itertools.combinations(rows, 2)
            if may_overlap(first, second)
        ]
        body = conjunction([disjunction(map(self.row, rows)), *pairs])
        comment = (
            "A tick takes exactly one row; the obligations single_hit/... show that this is no "
            "restriction. Pairs of rows that require the same condition true and false, or that "
            "start from different states, cannot hold together and are left out here."
        )
        return function(self.one_row, "Bool", body, comment)

    def _next_state(self) -> Definition:
        cases: dict[str, list[str]] = {}
        for row in self.trial.rows:
            if row.target != row.source:
                cases.setdefault(self.state_code(row.target), []).append(self.row(row))
        body = _cases(cases, self.state(after=False))
        return function(self.state(after=True), self.state_sort, body, "The next state.")

    def _next_value(self, variable: Signal) -> Definition:
        cases: dict[str, list[str]] = {}
        for row in self.trial.rows:
            if variable.name in row.actions:
                term = self.assigned(variable, row.actions[variable.name])
                cases.setdefault(term, []).append(self.row(row))
        body = _cases(cases, self.value(variable.name, after=False))
        symbol = self.value(variable.name, after=True)
        return function(symbol, sort(variable), body, _after_tick(variable))


@dataclass(frozen=True, slots=True)
class _Moment:
    """Reads plain names at one moment; outputs have no ``next`` in their expressions."""

    step: StepEncoding
    at_end: bool

    def value(self, name: str, after: bool) -> str:
        return self.step.value(name, self.at_end)

    def state(self, after: bool) -> str:
        return self.step.state(self.at_end)

    def constant(self, name: str) -> str:
        return self.step.constant(name)

    def state_code(self, name: str) -> str:
        return self.step.state_code(name)


def at_moment(step: StepEncoding, after: bool) -> Symbols:
    """Return symbols with which plain names are read before or after the tick."""
    return _Moment(step, after)


def after_tick(step: StepEncoding, expression: Expression) -> str:
    """Return a formula over one moment (an invariant formula), read after the tick."""
    return translate(expression, _Moment(step, at_end=True))


def sort(signal: Signal) -> str:
    return "Bool" if signal.kind is Kind.BOOLEAN else INTEGER_SORT


def within_range(signal: Signal, symbol: str) -> str:
    """Return that a value lies in the declared range; empty where the sort says so already."""
    if signal.kind is Kind.BOOLEAN:
        return ""
    low, high = bit_vector(signal.low), bit_vector(signal.high)
    return f"(and (bvsle {low} {symbol}) (bvsle {symbol} {high}))"


def may_overlap(first: Row, second: Row) -> bool:
    """Return whether two rows have the same state and no condition that tells them apart."""
    return first.source == second.source and not (
        set(first.when) & set(second.unless) or set(second.when) & set(first.unless)
    )


def _after_tick(variable: Signal) -> str:
    return f"{variable.meaning or variable.name}; after the tick."


def _cases(cases: dict[str, list[str]], otherwise: str) -> str:
    body = otherwise
    for term, tests in reversed(cases.items()):
        body = f"(ite {disjunction(tests)} {term} {body})"
    return body


def _helper(symbol: str, parameters: Iterable[str], body: str, comment: str) -> Definition:
    declared = " ".join(f"({name} {INTEGER_SORT})" for name in parameters)
    return function(symbol, INTEGER_SORT, body, comment, declared)


_HELPERS = (
    _helper("minimum", "ab", "(ite (bvsle a b) a b)", "The smaller of two integers."),
    _helper("maximum", "ab", "(ite (bvsle a b) b a)", "The greater of two integers."),
    _helper(
        "limited",
        ("value", "low", "high"),
        "(ite (bvslt value low) low (ite (bvsgt value high) high value))",
        f"An assignment stops at the range of its variable ({WIDTH} bits signed).",
    ),
)
