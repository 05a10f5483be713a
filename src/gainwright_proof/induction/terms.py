"""The definitions of a step as z3 terms, for the search of proofs.

Terms are made by parsing the very text of the obligations, so there is one translation only.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import z3

from gainwright.language.expression import Expression
from gainwright.language.model import Kind, Row, Signal
from gainwright_proof.induction.script import Definition, constant, needed
from gainwright_proof.induction.step import StepEncoding, sort, within_range
from gainwright_proof.induction.text import INTEGER_SORT, conjunction

_PROBE = "probe."


class StepTerms:
    """z3 terms over the variables before a tick and its inputs; the state is fixed by the row."""

    def __init__(self, step: StepEncoding, context: z3.Context | None = None) -> None:
        """``context``: that the terms live in, else the one that all share.

        What a solver chooses among several answers depends on all that its context has seen.
        """
        self.step = step
        self.context = context or z3.main_ctx()
        trial = step.trial
        self.signals: tuple[Signal, ...] = (*trial.variables, *trial.inputs)
        self.constants: Mapping[str, z3.ExprRef] = {
            signal.name: free_constant(step.value(signal.name, False), signal, self.context)
            for signal in self.signals
        }
        """Variables before the tick and inputs."""
        self.ranges = self.parse(
            [conjunction(filter(None, (self._range(signal) for signal in self.signals)))]
        )[0]
        self.state = z3.BitVec(step.state(after=False), step.state_bits, self.context)
        """The state before the tick, as its number."""
        self.state_range = z3.ULE(self.state, len(trial.states) - 1)
        guards = self.parse([conjunction(step.literals(row)) for row in trial.rows])
        self._guards = {row.id: guard for row, guard in zip(trial.rows, guards, strict=True)}
        self._assigned = self._parse_assignments()

    def _range(self, signal: Signal) -> str:
        return within_range(signal, self.step.value(signal.name, False))

    def parse(
        self, formulas: Sequence[str], definitions: Sequence[Definition] = ()
    ) -> list[z3.BoolRef]:
        """Return formulas over the symbols of the step, and further ones, as terms."""
        used = needed([*self.step.definitions, *definitions], formulas)
        text = "\n".join(
            [*(definition.text for definition in used), *(f"(assert {f})" for f in formulas)]
        )
        return list(z3.parse_smt2_string(text, ctx=self.context))

    def formulas(self, expressions: Iterable[Expression]) -> list[z3.BoolRef]:
        """Return boolean expressions over variables and inputs as terms."""
        return self.parse([self.step.formula(expression) for expression in expressions])

    def guard(self, row: Row) -> z3.BoolRef:
        """Return what a row requires of variables and inputs, its state apart."""
        return self._guards[row.id]

    def assigned(self, row: Row) -> Mapping[str, z3.ExprRef]:
        """Return the new values of the variables that a row changes."""
        return self._assigned[row.id]

    def after(self, row: Row, terms: Iterable[z3.ExprRef]) -> list[z3.ExprRef]:
        """Return terms over variables as terms over their values after the row was taken."""
        pairs = [(self.constants[name], new) for name, new in self.assigned(row).items()]
        return [z3.substitute(term, *pairs) for term in terms]

    def integers(self, expressions: Sequence[Expression]) -> list[z3.BitVecRef]:
        """Return integer-valued expressions over variables and inputs as terms."""
        return self.values([(self.step.formula(e), INTEGER_SORT) for e in expressions])

    def _parse_assignments(self) -> dict[str, dict[str, z3.ExprRef]]:
        trial = self.step.trial
        variables = {variable.name: variable for variable in trial.variables}
        keys = [(row, name) for row in trial.rows for name in row.actions]
        values = self.values(
            [
                (self.step.assigned(variables[name], row.actions[name]), sort(variables[name]))
                for row, name in keys
            ]
        )
        found: dict[str, dict[str, z3.ExprRef]] = {row.id: {} for row in trial.rows}
        for (row, name), value in zip(keys, values, strict=True):
            found[row.id][name] = value
        return found

    def values(self, terms_and_sorts: Sequence[tuple[str, str]]) -> list[z3.ExprRef]:
        """Return terms of any sort: each is parsed as one side of an equation."""
        equations = [
            f"(= {_PROBE}{index} {text})" for index, (text, _) in enumerate(terms_and_sorts)
        ]
        probes = [
            constant(f"{_PROBE}{index}", of_sort)
            for index, (_, of_sort) in enumerate(terms_and_sorts)
        ]
        return [equation.arg(1) for equation in self.parse(equations, probes)]


def free_constant(symbol: str, signal: Signal, context: z3.Context | None = None) -> z3.ExprRef:
    """Return a signal as a z3 constant."""
    if signal.kind is Kind.BOOLEAN:
        return z3.Bool(symbol, context)
    return z3.BitVec(symbol, 32, context)


def number(model: z3.ModelRef, term: z3.ExprRef) -> int:
    """Return the value of a term in a model; boolean is 0 or 1, integers are signed."""
    value = model.eval(term, model_completion=True)
    if z3.is_bool(value):
        return int(z3.is_true(value))
    return value.as_signed_long()
