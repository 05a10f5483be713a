"""Python source of expressions, for speed: one function for many expressions, scalar or array.

:mod:`gainwright.semantics.evaluate` is the definition; the tests hold this translation to it. The
array dialect computes the same over whole recordings with numpy, one element per tick.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from functools import lru_cache
from types import CodeType
from typing import Any

from gainwright.language.expression import (
    Binary,
    Boolean,
    Choice,
    Expression,
    InState,
    Integer,
    Operator,
    Reference,
    Unary,
    walk,
)
from gainwright.language.functions import FUNCTIONS
from gainwright.language.model import Condition


@dataclass(frozen=True, slots=True)
class Dialect:
    """How the operators that differ between single values and arrays are written."""

    conjunction: str
    disjunction: str
    denial: str
    choice: str
    boolean: tuple[str, str]
    arrays: bool
    """Of numpy, so that a value may be one for each of many lanes."""


SCALAR = Dialect(
    conjunction="({} and {})",
    disjunction="({} or {})",
    denial="(not {})",
    choice="({1} if {0} else {2})",
    boolean=("False", "True"),
    arrays=False,
)
ARRAY = Dialect(
    conjunction="({} & {})",
    disjunction="({} | {})",
    denial="np.logical_not({})",
    choice="np.where({}, {}, {})",
    boolean=("np.False_", "np.True_"),
    arrays=True,
)

_SIMPLE = (Integer, Boolean, Reference)
Values = Mapping[str, Any]
Check = Callable[[Values, Any, Values, Any], tuple[Any, ...]]
"""Takes values before, state index before, values after, state index after the tick."""


@lru_cache(maxsize=4096)
def _compiled(source: str) -> CodeType:
    # Benches and machines of one trial, of which a process makes many, share it.
    return compile(source, "<specification>", "exec")


class CodeWriter:
    """Writes functions for expressions of one trial."""

    def __init__(
        self,
        state_names: Sequence[str],
        conditions: Sequence[Condition],
        dialect: Dialect = SCALAR,
        boolean_names: frozenset[str] = frozenset(),
    ) -> None:
        """``boolean_names`` are read as booleans, as ``&`` and ``|`` of the array dialect need."""
        self._state_index = {name: index for index, name in enumerate(state_names)}
        self._conditions = {condition.name: condition for condition in conditions}
        self._dialect = dialect
        self._boolean_names = boolean_names
        self._shared: dict[Expression, str] = {}
        self._held: set[str] = set()
        self._lines: list[str] = []

    def function(self, expressions: Sequence[Expression]) -> Check:
        """Return a function that computes all expressions, in order.

        Its arguments are as in :data:`Check`; conditions need no value, they are computed.
        """
        source = self.source(expressions)
        namespace: dict[str, Any] = {}
        if self._dialect.arrays:
            import numpy

            namespace["np"] = numpy
        exec(_compiled(source), namespace)
        check: Check = namespace["check"]
        return check

    def source(self, expressions: Sequence[Expression]) -> str:
        """Return the source text of that function."""
        # By a writer of its own: threads share this one, and would mix their texts.
        return copy(self)._source(expressions)

    def _source(self, expressions: Sequence[Expression]) -> str:
        self._shared = self._repeated(expressions) if self._dialect.arrays else {}
        self._held = set()
        self._lines = ["def check(before, state_before, after, state_after):"]
        self._assign(expressions)
        results = "".join(f"        {self._code(expression)},\n" for expression in expressions)
        return "\n".join(self._lines) + f"\n    return (\n{results}    )\n"

    def _repeated(self, expressions: Sequence[Expression]) -> dict[Expression, str]:
        """Return a local name for each compound part that is computed more than once.

        Over arrays each operator is worth a local; single values stay short-circuited.
        """
        names = {name for name, _ in self._needed(expressions)}
        read = [c.expression for name, c in self._conditions.items() if name in names]
        parts = Counter(part for tree in (*read, *expressions) for part in walk(tree))
        compound = (p for p, count in parts.items() if count > 1 and not isinstance(p, _SIMPLE))
        return {part: f"part_{number}" for number, part in enumerate(compound)}

    def _assign(self, expressions: Sequence[Expression]) -> None:
        """Write a line for each name that is read."""
        needed = self._needed(expressions)
        for name, after in needed:
            if name not in self._conditions:
                self._lines.append(f"    {_local(name, after)} = {self._read(name, after)}")
        used = {name for name, _ in needed}
        for name, condition in self._conditions.items():
            if name in used:
                code = self._code(condition.expression)
                self._lines.append(f"    {_local(name, False)} = {code}")

    def _read(self, name: str, after: bool) -> str:
        value = f'{"after" if after else "before"}["{name}"]'
        return f"({value} != 0)" if name in self._boolean_names else value

    def _needed(self, expressions: Sequence[Expression]) -> list[tuple[str, bool]]:
        """Return every name read, through conditions too, with whether it is read after."""
        needed: dict[tuple[str, bool], None] = {}
        waiting = list(expressions)
        while waiting:
            for part in walk(waiting.pop(0)):
                if isinstance(part, Reference) and (part.name, part.after) not in needed:
                    needed[part.name, part.after] = None
                    if part.name in self._conditions:
                        waiting.append(self._conditions[part.name].expression)
        return list(needed)

    def _code(self, expression: Expression) -> str:
        local = self._shared.get(expression)
        if local is None:
            return self._written(expression)
        if local not in self._held:
            code = self._written(expression)
            self._lines.append(f"    {local} = {code}")
            self._held.add(local)
        return local

    def _written(self, expression: Expression) -> str:
        dialect = self._dialect
        match expression:
            case Integer(value, _):
                return f"({value})"
            case Boolean(value):
                return dialect.boolean[value]
            case Reference(name, after):
                return _local(name, after)
            case InState(states, after):
                return self._in_state(states, after)
            case Unary(Operator.NOT, operand):
                return dialect.denial.format(self._code(operand))
            case Unary(_, operand):
                return f"(-{self._code(operand)})"
            case Choice(condition, consequence, alternative):
                parts = (condition, consequence, alternative)
                return dialect.choice.format(*map(self._code, parts))
            case Binary(operator, left, right):
                return self._binary(operator, self._code(left), self._code(right))

    def _in_state(self, states: tuple[str, ...], after: bool) -> str:
        moment = "state_after" if after else "state_before"
        tests = [f"({moment} == {self._state_index[state]})" for state in states]
        joined = tests[0]
        for test in tests[1:]:
            joined = self._dialect.disjunction.format(joined, test)
        return joined

    def _binary(self, operator: Operator, left: str, right: str) -> str:
        dialect = self._dialect
        match operator:
            case Operator.AND:
                return dialect.conjunction.format(left, right)
            case Operator.OR:
                return dialect.disjunction.format(left, right)
            case Operator.IMPLIES:
                return dialect.disjunction.format(dialect.denial.format(left), right)
        if operator in FUNCTIONS:
            function = FUNCTIONS[operator]
            pattern = function.array if dialect.arrays else function.scalar
            return pattern.format(left, right)
        return f"({left} {operator.value} {right})"


def _local(name: str, after: bool) -> str:
    return f"after_{name}" if after else f"now_{name}"
