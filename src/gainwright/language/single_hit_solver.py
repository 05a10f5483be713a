"""The single-hit check of a table whose conditions share too many names to enumerate: by z3.

Integers are those of mathematics, since every intermediate value is known to fit 32 bits. The
effort of a question is limited by z3's own count of steps, never by time; what is not decided is
left to the proof.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import z3

from gainwright.language.attainable import Attainable, Combination
from gainwright.language.expression import (
    Binary,
    Boolean,
    Choice,
    Expression,
    Integer,
    Operator,
    Reference,
    Unary,
)
from gainwright.language.functions import FUNCTIONS, expanded
from gainwright.language.model import Kind, Row
from gainwright.language.solver import solver_for
from gainwright.language.table_fault import DeadRow, Fault, Gap, Overlap

MOST_STEPS = 50_000_000
"""Of z3, for one question; some tens of seconds."""
MOST_OVERLAPS = 50
"""Overlaps reported of one state."""


def solved_faults(rows: Sequence[Row], attainable: Attainable) -> list[Fault]:
    """Return the faults of one state's table, with smallest examples; the first gap only."""
    return _Solver(rows, attainable).faults()


class _Solver:
    def __init__(self, rows: Sequence[Row], attainable: Attainable) -> None:
        self._rows = rows
        looked_at = dict.fromkeys(name for row in rows for name in (*row.when, *row.unless))
        # Only what the rows can depend on: a trial has many conditions, a state looks at few.
        needed = attainable.needed(looked_at)
        read = frozenset[str]().union(*map(attainable.leaves, looked_at))
        self._bounds = {name: one for name, one in attainable.signals.items() if name in read}
        self._signals = {
            name: z3.Bool(name) if bounds.kind is Kind.BOOLEAN else z3.Int(name)
            for name, bounds in self._bounds.items()
        }
        self._conditions = {one.name: z3.Bool(f"condition {one.name}") for one in needed}
        self._looked_at = {name: self._conditions[name] for name in looked_at}
        self._solver = solver_for("QF_LIA")
        self._solver.set("rlimit", MOST_STEPS)
        for name, bounds in self._bounds.items():
            if bounds.kind is not Kind.BOOLEAN:
                signal = self._signals[name]
                self._solver.add(signal >= bounds.low, signal <= bounds.high)
        for one in needed:
            self._solver.add(self._conditions[one.name] == self._term(one.expression))

    def faults(self) -> list[Fault]:
        holding = {row.id: self._holds(row) for row in self._rows}
        dead = [row for row in self._rows if self._solver.check(holding[row.id]) == z3.unsat]
        live = [row for row in self._rows if row not in dead]
        faults: list[Fault] = [DeadRow(row) for row in dead]
        faults += self._overlaps(live, holding)
        if (example := self._smallest(z3.Not(z3.Or(*holding.values())))) is not None:
            faults.append(Gap(example))
        return faults

    def _overlaps(self, rows: Sequence[Row], holding: dict[str, z3.BoolRef]) -> list[Fault]:
        """Return pairs of rows that hold together, in the order of the file."""
        two_hold = z3.PbGe([(holding[row.id], 1) for row in rows], 2)
        if len(rows) < 2 or self._solver.check(two_hold) != z3.sat:
            return []
        found: list[Fault] = []
        for first, second in itertools.combinations(rows, 2):
            conflict = {*first.when} & {*second.unless} or {*first.unless} & {*second.when}
            if conflict or len(found) == MOST_OVERLAPS:
                continue
            example = self._smallest(z3.And(holding[first.id], holding[second.id]))
            if example is not None:
                found.append(Overlap(first, second, example))
        return found

    def _smallest(self, formula: z3.BoolRef) -> Combination | None:
        """Return an example with as few true conditions as possible; None if there is none."""
        counted = [(condition, 1) for condition in self._looked_at.values()]
        self._solver.push()
        self._solver.add(formula)
        example = None
        while self._solver.check() == z3.sat:
            example = self._example(self._solver.model())
            trues = sum(example.booleans.values())
            if not trues:
                break
            self._solver.add(z3.PbLe(counted, trues - 1))
        self._solver.pop()
        return example and self._with_plain_values(example)

    def _with_plain_values(self, example: Combination) -> Combination:
        """Return the example with values near zero, where they cause the same conditions."""
        self._solver.push()
        for name, boolean in example.booleans.items():
            self._solver.add(self._conditions[name] == z3.BoolVal(boolean))
        witness = {}
        for name, value in example.witness.items():
            bounds, signal = self._bounds[name], self._signals[name]
            for wanted in dict.fromkeys((min(max(bounds.low, 0), bounds.high), value)):
                equal = _equal(signal, wanted)
                if self._solver.check(equal) == z3.sat:
                    self._solver.add(equal)
                    witness[name] = wanted
                    break
            else:
                # What the others left no choice for: any value that still fits.
                self._solver.check()
                fitting = self._example(self._solver.model()).witness.get(name, bounds.low)
                self._solver.add(_equal(signal, fitting))
                witness[name] = fitting
        self._solver.pop()
        return Combination(example.booleans, witness)

    def _example(self, model: z3.ModelRef) -> Combination:
        booleans = {
            name: z3.is_true(model.eval(condition, True))
            for name, condition in self._looked_at.items()
        }
        witness = {}
        for name, signal in self._signals.items():
            value = model.eval(signal)
            if z3.is_int_value(value):
                witness[name] = value.as_long()
            elif z3.is_true(value) or z3.is_false(value):
                witness[name] = int(z3.is_true(value))
        return Combination(booleans, witness)

    def _holds(self, row: Row) -> z3.BoolRef:
        when = [self._conditions[name] for name in row.when]
        return z3.And(*when, *(z3.Not(self._conditions[name]) for name in row.unless))

    def _term(self, expression: Expression) -> z3.ExprRef:
        match expression:
            case Integer(value, _):
                return z3.IntVal(value)
            case Boolean(value):
                return z3.BoolVal(value)
            case Reference(name, _):
                return self._conditions[name] if name in self._conditions else self._signals[name]
            case Unary(Operator.NOT, operand):
                return z3.Not(self._term(operand))
            case Unary(_, operand):
                return -self._term(operand)
            case Choice(condition, consequence, alternative):
                return z3.If(*map(self._term, (condition, consequence, alternative)))
            case Binary(operator) if operator in FUNCTIONS:
                return self._term(expanded(expression))
            case Binary(operator, left, right):
                return _applied(operator, self._term(left), self._term(right))
        raise TypeError(f"no condition has a {type(expression).__name__}")


def _applied(operator: Operator, left: z3.ExprRef, right: z3.ExprRef) -> z3.ExprRef:
    match operator:
        case Operator.ADD:
            return left + right
        case Operator.SUBTRACT:
            return left - right
        case Operator.MULTIPLY:
            return left * right
        case Operator.SHIFT_LEFT:
            return left * (1 << right.as_long())
        case Operator.SHIFT_RIGHT:
            # Division by a positive integer rounds down in SMT, as the shift does.
            return left / z3.IntVal(1 << right.as_long())
        case Operator.LESS:
            return left < right
        case Operator.LESS_EQUAL:
            return left <= right
        case Operator.GREATER:
            return left > right
        case Operator.GREATER_EQUAL:
            return left >= right
        case Operator.EQUAL:
            return left == right
        case Operator.NOT_EQUAL:
            return left != right
        case Operator.AND:
            return z3.And(left, right)
        case Operator.OR:
            return z3.Or(left, right)
        case Operator.IMPLIES:
            return z3.Implies(left, right)
    raise ValueError(f"{operator} has one operand")


def _equal(signal: z3.ExprRef, value: int) -> z3.BoolRef:
    return signal == (bool(value) if z3.is_bool(signal) else value)
