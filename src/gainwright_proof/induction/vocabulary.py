"""The small words of candidate facts: comparisons that the specification itself suggests."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from gainwright.language.expression import (
    ARITHMETIC,
    COMPARISONS,
    CONNECTIVES,
    Binary,
    Choice,
    Expression,
    Integer,
    Operator,
    Reference,
    Unary,
    walk,
)
from gainwright.language.model import Kind, Trial, Variable
from gainwright.language.scope import INT32_HIGH, INT32_LOW
from gainwright_proof.induction.specialise import negated

Chain = tuple[Expression, ...]
"""Formulas of which each implies the next; the first that holds says most."""

SMALL_RANGE = 8
"""Integers with at most so many values are also compared with each of them."""


@dataclass
class Vocabulary:
    """What the variables of a trial can be compared with."""

    booleans: list[str] = field(default_factory=list)
    integers: list[str] = field(default_factory=list)
    literals: dict[str, list[Integer]] = field(default_factory=dict)
    """Literals that an integer variable is compared with or set to."""
    pairs: dict[tuple[str, str], list[Integer]] = field(default_factory=dict)
    """Pairs of integer variables that meet in the specification, and literals added to them."""
    small: dict[str, range] = field(default_factory=dict)
    """Integers with few values."""
    ranges: dict[str, tuple[int, int]] = field(default_factory=dict)


def vocabulary(trial: Trial) -> Vocabulary:
    """Return the vocabulary of a trial, in the order of its file."""
    found = Vocabulary()
    for variable in trial.variables:
        if variable.kind is Kind.BOOLEAN:
            found.booleans.append(variable.name)
        else:
            found.integers.append(variable.name)
            found.ranges[variable.name] = variable.low, variable.high
            found.literals[variable.name] = _literals(trial, variable)
            if variable.high - variable.low < SMALL_RANGE:
                found.small[variable.name] = range(variable.low, variable.high + 1)
    _relate(trial, found)
    return found


def boolean_chains(words: Vocabulary) -> list[Chain]:
    """Return each boolean variable and its denial, and the comparisons of two."""
    single = [Reference(name) for name in words.booleans]
    pairs = [
        Binary(operator, Reference(first), Reference(second))
        for first, second in itertools.combinations(words.booleans, 2)
        for operator in (Operator.EQUAL, Operator.NOT_EQUAL)
    ]
    return [(atom,) for atom in (*single, *map(negated, single), *pairs)]


def count_chains(words: Vocabulary) -> list[Chain]:
    """Return the bounds of integer variables with few values."""
    found: list[Chain] = []
    for name, values in words.small.items():
        variable, literals = Reference(name), [Integer(value) for value in values]
        low, high = words.ranges[name]
        found.append(_bounds(Operator.LESS_EQUAL, variable, literals, high))
        found.append(_bounds(Operator.GREATER_EQUAL, variable, literals[::-1], low))
    return found


def integer_chains(words: Vocabulary) -> list[Chain]:
    """Return comparisons of integer variables with literals and with each other."""
    found: list[Chain] = []
    for name in words.integers:
        variable = Reference(name)
        literals = sorted(words.literals[name], key=lambda literal: literal.value)
        low, high = words.ranges[name]
        found += [(Binary(Operator.EQUAL, variable, literal),) for literal in literals]
        if name in words.small:
            found += [(Binary(Operator.NOT_EQUAL, variable, literal),) for literal in literals]
        found.append(_bounds(Operator.LESS_EQUAL, variable, literals, high))
        found.append(_bounds(Operator.GREATER_EQUAL, variable, literals[::-1], low))
    for (first, second), offsets in words.pairs.items():
        descending = sorted(offsets, key=lambda offset: -offset.value)
        sums = [_plus(Reference(first), offset) for offset in descending]
        found.append(tuple(Binary(Operator.LESS_EQUAL, left, Reference(second)) for left in sums))
        found += [
            (Binary(Operator.EQUAL, left, Reference(second)),)
            for left in sums
            if not isinstance(left, Reference) or first < second
        ]
    return [chain for chain in found if chain]


def _bounds(
    operator: Operator, variable: Reference, literals: Iterable[Integer], trivial: int
) -> Chain:
    return tuple(
        Binary(operator, variable, literal) for literal in literals if literal.value != trivial
    )


def guards(words: Vocabulary) -> list[Expression]:
    """Return premises under which other facts may hold."""
    single = [Reference(name) for name in words.booleans]
    cases = [
        Binary(Operator.EQUAL, Reference(name), Integer(value))
        for name, values in words.small.items()
        for value in values
    ]
    alike = [
        Binary(operator, Reference(first), Reference(second))
        for first, second in itertools.combinations(words.small, 2)
        if words.small[first] == words.small[second]
        for operator in (Operator.EQUAL, Operator.NOT_EQUAL)
    ]
    return [*single, *map(negated, single), *cases, *alike]


def _plus(reference: Reference, offset: Integer) -> Expression:
    return Binary(Operator.ADD, reference, offset) if offset.value else reference


def _literals(trial: Trial, variable: Variable) -> list[Integer]:
    values = {variable.initial: Integer(variable.initial)}
    for expression in _everything(trial):
        for part in walk(expression):
            match part:
                case Binary(operator, Reference(name, _), Integer() as literal) if (
                    operator in COMPARISONS and name == variable.name
                ):
                    _add_compared(values, operator, literal)
                case Binary(operator, Integer() as literal, Reference(name, _)) if (
                    operator in COMPARISONS and name == variable.name
                ):
                    _add_compared(values, _MIRRORED.get(operator, operator), literal)
    for row in trial.rows:
        match row.actions.get(variable.name):
            case Integer() as literal:
                values.setdefault(literal.value, literal)
    if variable.high - variable.low < SMALL_RANGE:
        for value in range(variable.low, variable.high + 1):
            values.setdefault(value, Integer(value))
    return [lit for value, lit in values.items() if variable.low <= value <= variable.high]


_MIRRORED = {
    Operator.LESS: Operator.GREATER,
    Operator.LESS_EQUAL: Operator.GREATER_EQUAL,
    Operator.GREATER: Operator.LESS,
    Operator.GREATER_EQUAL: Operator.LESS_EQUAL,
}


def _add_compared(values: dict[int, Integer], operator: Operator, literal: Integer) -> None:
    """Add the literal and the value on its other side: ``n >= 5`` or ``n <= 4``."""
    values.setdefault(literal.value, literal)
    if operator in (Operator.LESS, Operator.GREATER_EQUAL):
        values.setdefault(literal.value - 1, Integer(literal.value - 1))
    elif operator in (Operator.GREATER, Operator.LESS_EQUAL):
        values.setdefault(literal.value + 1, Integer(literal.value + 1))


def _everything(trial: Trial) -> Iterator[Expression]:
    yield from (condition.expression for condition in trial.conditions)
    yield from (r.formula for r in trial.requirements)
    yield from (r.trigger for r in trial.requirements if r.trigger is not None)


def _relate(trial: Trial, found: Vocabulary) -> None:
    """Find pairs of integer variables that meet in an action or comparison, and the offsets of all
    that are related over such pairs."""
    integers = set(found.integers)
    groups: list[tuple[set[str], dict[int, Integer]]] = []
    met: set[tuple[str, str]] = set()
    for names, offsets in _meetings(trial, integers):
        met |= set(itertools.permutations(names, 2))
        merged_names, merged_offsets = set(names), dict(offsets)
        for group in [group for group in groups if group[0] & merged_names]:
            groups.remove(group)
            merged_names |= group[0]
            merged_offsets = {**group[1], **merged_offsets}
        groups.append((merged_names, merged_offsets))
    for names, offsets in groups:
        ordered = [name for name in found.integers if name in names]
        for first, second in itertools.permutations(ordered, 2):
            if (first, second) in met:
                found.pairs[first, second] = _representable(offsets, *found.ranges[first])


def _representable(offsets: Mapping[int, Integer], low: int, high: int) -> list[Integer]:
    """Return zero and the offsets that 32 bits hold when added to a value from low to high."""
    return [
        offset
        for value, offset in {0: Integer(0), **offsets}.items()
        if low + value >= INT32_LOW and high + value <= INT32_HIGH
    ]


def _meetings(trial: Trial, integers: set[str]) -> Iterator[tuple[set[str], dict[int, Integer]]]:
    for row in trial.rows:
        for name, expression in row.actions.items():
            if name in integers:
                yield _met([Reference(name), expression], integers)
    for expression in _everything(trial):
        for part in walk(expression):
            if isinstance(part, Binary) and part.operator in COMPARISONS:
                yield _met([part.left, part.right], integers)


def _met(sides: Sequence[Expression], integers: set[str]) -> tuple[set[str], dict[int, Integer]]:
    """Return the variables whose values these may be, or come from by arithmetic, and the literals
    of that. What only decides, as the condition of a choice does, does not meet them."""
    names: set[str] = set()
    offsets: dict[int, Integer] = {}
    for part in itertools.chain.from_iterable(map(_made_of, sides)):
        if isinstance(part, Reference) and part.name in integers:
            names.add(part.name)
        if isinstance(part, Binary) and part.operator in ARITHMETIC:
            literals = (s for s in (part.left, part.right) if isinstance(s, Integer))
            offsets |= {literal.value: literal for literal in literals if literal.value > 0}
    return names, offsets


def _made_of(value: Expression) -> Iterator[Expression]:
    """Yield the parts of an integer value, itself first; nothing of a boolean one but names."""
    match value:
        case Choice(_, consequence, alternative):
            yield from _made_of(consequence)
            yield from _made_of(alternative)
        case Binary(operator, _, _) if operator in COMPARISONS or operator in CONNECTIVES:
            return
        case Binary(_, left, right):
            yield value
            yield from _made_of(left)
            yield from _made_of(right)
        case Unary(Operator.NOT, _):
            return
        case Unary(_, operand):
            yield from _made_of(operand)
        case _:
            yield value
