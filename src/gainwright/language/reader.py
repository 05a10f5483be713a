"""Shared work of reading expressions: text or TOML value to checked tree."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from gainwright.described.problems import Problems
from gainwright.described.table import read_table
from gainwright.language.expression import Expression, Integer, Reference, references, walk
from gainwright.language.expression_error import ExpressionError
from gainwright.language.layout import NAMED_TABLES
from gainwright.language.model import Kind
from gainwright.language.parse import parse
from gainwright.language.scope import ANY_INTEGER, INT32_HIGH, INT32_LOW, Bounds, Scope
from gainwright.language.shapes import name_problem, name_remedy
from gainwright.language.typing import infer


class Reader:
    """What the parts of the loader share: the file's tables, names, constants and problems."""

    def __init__(self, document: Mapping[str, Any], problems: Problems) -> None:
        self.document = document
        self.problems = problems
        self.constants: dict[str, int] = {}
        """Constants and named values of enumerations."""
        self.broken_constants: dict[str, None] = {}
        self.enumerations: dict[str, int | None] = {}
        """Number of values of each; None if something is wrong with it."""
        self.enumeration_of: dict[str, str] = {}
        """Enumeration of each named value."""
        self.declared: dict[str, str] = {}
        """Every name of the file (states, hazards and requirements apart) and what it is."""
        self.read_names: set[str] = set()
        """Names that some expression or key of the file uses."""
        self.inputs: dict[str, Bounds | None] = {}
        self.variables: dict[str, Bounds | None] = {}
        self.outputs: dict[str, Bounds | None] = {}
        self.conditions: dict[str, Bounds | None] = {}
        self.states: tuple[str, ...] = ()
        self.rows_sound = True
        """Whether every row is as its author wrote it, so that tables can be judged."""

    def signals(self) -> dict[str, Bounds]:
        """Return the sound inputs and variables."""
        both = {**self.inputs, **self.variables}
        return {name: bounds for name, bounds in both.items() if bounds is not None}

    def all_declarations_sound(self) -> bool:
        """Return whether every input, variable and condition has a meaning."""
        parts = (self.inputs, self.variables, self.conditions)
        return all(bounds is not None for part in parts for bounds in part.values())

    def has_values(self, expression: Expression, scope: Scope) -> bool:
        """Return whether every name that an expression reads has a sound declaration."""
        return all(scope.readable.get(name) is not None for name in references(expression))

    def entries(self, table: str) -> list[tuple[str, str, dict[str, Any]]]:
        """Return (name, place, well-shaped keys) of each entry of a table of named entries."""
        layout, required, meaning = NAMED_TABLES[table]
        content = self.document.get(table, {})
        if not isinstance(content, dict) or (required and not content):
            self.problems.add(
                f"[{table}]",
                "no such table" if table not in self.document else "no entry in it",
                f"a table: {meaning}",
                f"add [{table}.some_name]",
            )
            return []
        return [
            (name, place, read_table(entry, layout, place, self.problems))
            for name, place, entry in self.named(content, f"[{table}]")
        ]

    def named(self, content: Mapping[str, Any], place: str) -> Iterator[tuple[str, str, Any]]:
        """Yield (name, place, value) of a table's entries; report the badly named ones."""
        for name, entry in content.items():
            where = f"{place} {name}"
            if wrong := name_problem(name):
                self.problems.add(
                    where, wrong, "lower case letters, digits and single _", name_remedy(name)
                )
                continue
            yield name, where, entry

    def declare(self, name: str, what: str, place: str) -> bool:
        """Register a name; report it and return False if something else has it already."""
        if name in self.declared:
            self.problems.add(
                place,
                f"the name '{name}', which is {self.declared[name]} already",
                "a name used once in the file",
                "rename one of the two",
            )
            return False
        self.declared[name] = what
        return True

    def scope(
        self,
        readable: Mapping[str, Bounds | None],
        place: str,
        readable_next: Mapping[str, Bounds | None] | None = None,
    ) -> Scope:
        """Return the scope of one place of the file, e.g. ``an action``."""
        names = {**self.broken_constants, **readable}
        return Scope(
            names, readable_next or {}, self.states, self.declared, place, self.enumeration_of
        )

    def parsed(self, value: object, place: str, *, requirement: bool = False) -> Expression | None:
        """Return the tree of a TOML value, or None after reporting what is wrong."""
        text = str(value).lower() if isinstance(value, bool) else str(value)
        try:
            expression = parse(text, self.constants, requirement=requirement)
        except ExpressionError as error:
            self._add_expression_error(place, error)
            return None
        return expression

    def expression(
        self, value: object, place: str, scope: Scope, wanted: Bounds, *, requirement: bool = False
    ) -> tuple[Expression | None, Bounds | None]:
        """Return tree and bounds of a TOML value of the wanted type; report everything wrong.

        The range of ``wanted`` is not looked at.
        """
        expression = self.parsed(value, place, requirement=requirement)
        if expression is None:
            return None, None
        self.note_names(expression)
        bounds, errors = infer(expression, scope)
        for error in errors:
            self._add_expression_error(place, error)
        if errors:
            return None, None
        if bounds is not None and not bounds.same_type(wanted):
            self.problems.add(
                place,
                f"{bounds.type_words}: {value}",
                wanted.type_words,
                self._type_remedy(wanted),
            )
            return None, None
        return expression, bounds

    def _add_expression_error(self, place: str, error: ExpressionError) -> None:
        where = f"{place}, {error.place_in_text}" if error.place_in_text else place
        self.problems.add(where, error.found, error.expected, error.remedy)

    def _type_remedy(self, wanted: Bounds) -> str:
        if wanted.enumeration:
            values = [v for v, name in self.enumeration_of.items() if name == wanted.enumeration]
            return f"write one of {', '.join(values)}"
        if wanted.kind is Kind.BOOLEAN:
            return "compare it with an integer"
        return "write if ... then ... else ... with integers"

    def note_names(self, expression: Expression) -> None:
        for part in walk(expression):
            if isinstance(part, Integer | Reference) and part.name:
                self.read_names.add(part.name)

    def whole(
        self, value: object, place: str, low: int = INT32_LOW, high: int = INT32_HIGH
    ) -> int | None:
        """Return an integer from ``low`` to ``high`` given as one or as constants' expression."""
        scope = self.scope({}, "an expression over constants")
        _, bounds = self.expression(value, place, scope, ANY_INTEGER)
        if bounds is None:
            return None
        if low <= bounds.low <= high:
            return bounds.low
        self.problems.add(
            place, f"the integer {bounds.low}", f"{low} to {high}", "choose a value inside"
        )
        return None
