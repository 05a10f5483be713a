"""Helps the tests of the SMT prover: terms of plain expressions, and solvers to ask."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache

from gainwright.language.expression import Expression
from gainwright.language.load import load_trial
from gainwright.language.model import Kind, Signal, Trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_proof.induction.expression import translate
from gainwright_proof.induction.script import Definition, Statement, constant, script
from gainwright_proof.induction.solvers import Answer, decide
from gainwright_proof.induction.step import StepEncoding, sort
from gainwright_proof.induction.text import bit_vector

LIMIT_S = 30.0
STANDARD_PATH = shipped_trial_path("standard")


@cache
def standard() -> Trial:
    return load_trial(STANDARD_PATH)


class Names:
    """Symbols with which plain names stand for themselves."""

    def value(self, name: str, after: bool) -> str:
        return name

    def state(self, after: bool) -> str:
        raise AssertionError("no states here")

    def constant(self, name: str) -> str:
        raise AssertionError("no constants here")

    def state_code(self, name: str) -> str:
        raise AssertionError("no states here")


def helpers() -> list[Definition]:
    """The functions that translated expressions use."""
    return [d for d in StepEncoding(standard()).shared if "." not in d.symbol]


def literal(kind: Kind, value: int) -> str:
    if kind is Kind.BOOLEAN:
        return "true" if value else "false"
    return bit_vector(value)


def value_script(
    expression: Expression,
    kind: Kind,
    expected: int,
    signals: Sequence[Signal],
    values: Mapping[str, int],
) -> str:
    """A script that is unsatisfiable exactly if the expression has the expected value."""
    known = [
        Statement("", f"(= {s.name} {literal(s.kind, values[s.name])})")
        for s in signals
        if s.name in values
    ]
    term = translate(expression, Names())
    return script(
        ["A value."],
        [*helpers(), *(constant(s.name, sort(s)) for s in signals)],
        known,
        Statement("the value", f"(= {term} {literal(kind, expected)})"),
    )


def proved(solver: str, text: str) -> bool:
    reply = decide(solver, text, LIMIT_S)
    assert reply.answer is not Answer.UNKNOWN, reply.reason
    return reply.answer is Answer.UNSAT
