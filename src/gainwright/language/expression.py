"""The typed expression tree: one meaning that every backend translates.

A condition, an action, an output or a requirement is parsed once into this tree. Python, C,
SMT-LIB, Promela and the sentences of the review page are all made from it, so they cannot drift
apart.

Meaning. Integers are mathematical integers; the checker in :mod:`gainwright.language.typing` proves
that every intermediate value fits 32 bits signed, so that C on any target computes the same.
``and``, ``or``, ``implies`` and ``if`` have no side effects and may be evaluated in any order.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum, IntEnum


class Operator(Enum):
    """Operators of the language; the value is how each is written in a specification.

    The sign is written ``-`` too; ``negate`` only tells it from the subtraction.
    """

    NEGATE = "negate"
    NOT = "not"
    ADD = "+"
    SUBTRACT = "-"
    MULTIPLY = "*"
    SHIFT_LEFT = "<<"
    SHIFT_RIGHT = ">>"
    LESS = "<"
    LESS_EQUAL = "<="
    GREATER = ">"
    GREATER_EQUAL = ">="
    EQUAL = "=="
    NOT_EQUAL = "!="
    AND = "and"
    OR = "or"
    IMPLIES = "implies"
    MINIMUM = "min"
    MAXIMUM = "max"


class Level(IntEnum):
    """How tightly the parts of the grammar bind; a higher level binds tighter."""

    CHOICE = 0
    IMPLICATION = 1
    DISJUNCTION = 2
    CONJUNCTION = 3
    NEGATION = 4
    COMPARISON = 5
    SHIFT = 6
    SUM = 7
    PRODUCT = 8
    SIGN = 9
    ATOM = 10


ARITHMETIC = frozenset({Operator.ADD, Operator.SUBTRACT, Operator.MULTIPLY})
SHIFTS = frozenset({Operator.SHIFT_LEFT, Operator.SHIFT_RIGHT})
"""The right operand of a shift is always an integer literal from 0 to 31; ``>>`` rounds down."""
COMPARISONS = frozenset(
    {
        Operator.LESS,
        Operator.LESS_EQUAL,
        Operator.GREATER,
        Operator.GREATER_EQUAL,
        Operator.EQUAL,
        Operator.NOT_EQUAL,
    }
)
CONNECTIVES = frozenset({Operator.AND, Operator.OR, Operator.IMPLIES})
SELECTIONS = frozenset({Operator.MINIMUM, Operator.MAXIMUM})
"""What they mean, and how they are written, stands in :mod:`gainwright.language.functions`."""


@dataclass(frozen=True, slots=True)
class Integer:
    """An integer literal (constants of the file are already replaced by their value)."""

    value: int
    name: str = ""
    """Name of the constant it came from, kept for sentences; empty for a plain literal."""


@dataclass(frozen=True, slots=True)
class Boolean:
    """``true`` or ``false``."""

    value: bool


@dataclass(frozen=True, slots=True)
class Reference:
    """The value of an input, variable, output or named condition."""

    name: str
    after: bool = False
    """True for ``next(name)``: the value after the tick (step requirements only)."""


@dataclass(frozen=True, slots=True)
class InState:
    """True while the trial is in one of the named states (requirements only)."""

    states: tuple[str, ...]
    after: bool = False
    """True for ``next(in_state(...))``."""


class _Hashed:
    """A place for the hash of a tree, computed once: trees are looked up all the time.

    It is no field, so that it is neither compared nor copied nor pickled.
    """

    __slots__ = ("_hash",)
    _hash: int
    __match_args__: tuple[str, ...]

    def hash_once(self) -> int:
        try:
            return self._hash
        except AttributeError:
            parts = (type(self), *(getattr(self, name) for name in self.__match_args__))
            object.__setattr__(self, "_hash", hash(parts))
            return self._hash


@dataclass(frozen=True, slots=True)
class Unary(_Hashed):
    operator: Operator
    operand: Expression

    __hash__ = _Hashed.hash_once


@dataclass(frozen=True, slots=True)
class Binary(_Hashed):
    operator: Operator
    left: Expression
    right: Expression

    __hash__ = _Hashed.hash_once


@dataclass(frozen=True, slots=True)
class Choice(_Hashed):
    """``if condition then consequence else alternative``."""

    condition: Expression
    consequence: Expression
    alternative: Expression

    __hash__ = _Hashed.hash_once


Expression = Integer | Boolean | Reference | InState | Unary | Binary | Choice


def children(expression: Expression) -> tuple[Expression, ...]:
    """Return the direct operands of an expression, left to right."""
    match expression:
        case Unary(_, operand):
            return (operand,)
        case Binary(_, left, right):
            return (left, right)
        case Choice(condition, consequence, alternative):
            return (condition, consequence, alternative)
        case _:
            return ()


def walk(expression: Expression) -> Iterator[Expression]:
    """Yield the expression and all its parts, outermost first."""
    yield expression
    for child in children(expression):
        yield from walk(child)


def references(expression: Expression) -> frozenset[str]:
    """Return every name that the expression reads, now or after the tick."""
    return frozenset(part.name for part in walk(expression) if isinstance(part, Reference))
