"""What a trial file says, as the second reader understands it; and one step of such a trial."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from gainwright_proof.second_reader.expressions import Term, term_of_value, value_of

KNOWN_TABLES = frozenset(
    {
        "trial", "constants", "enumerations", "inputs", "variables", "outputs", "conditions",
        "states", "rows", "requirements", "stages", "hazards", "equivalent_mutants",
    }
)  # fmt: skip
"""Tables that are read, and those that have no part in what a trial does (the last two)."""


@dataclass(frozen=True)
class ReadRow:
    """A row of one state."""

    source: str
    target: str
    when: tuple[str, ...]
    unless: tuple[str, ...]
    actions: Mapping[str, Term]


@dataclass(frozen=True)
class ReadRequirement:
    kind: str
    formula: Term
    trigger: Term | None
    within_ticks: int | None


@dataclass(frozen=True)
class Reading:
    """A trial file as read; every mapping is in the order of the file."""

    initial_state: str
    tick_us: int
    constants: Mapping[str, int]
    """Constants, and the numbers of enumerations' values."""
    ranges: Mapping[str, Mapping[str, tuple[int, int]]]
    """By table (inputs, variables, outputs) and name: the smallest and largest value."""
    initial: Mapping[str, int]
    defaults: Mapping[str, Term]
    conditions: Mapping[str, Term]
    states: Mapping[str, Mapping[str, Term]]
    """Outputs that each state sets."""
    ends: frozenset[str]
    rows: Mapping[str, ReadRow]
    requirements: Mapping[str, ReadRequirement]
    stages: Mapping[str, Mapping[str, Any]]

    def step(
        self, state: str, variables: Mapping[str, int], inputs: Mapping[str, int]
    ) -> tuple[str, str, dict[str, int]] | None:
        """Return row, next state and next variables; None if not exactly one row holds."""
        names = {**self.constants, **variables, **inputs}
        known = dict(names)
        for condition, term in self.conditions.items():
            known[condition] = value_of(term, known)
        holding = [
            row_id
            for row_id, row in self.rows.items()
            if row.source == state
            and all(known[name] == 1 for name in row.when)
            and all(known[name] == 0 for name in row.unless)
        ]
        if len(holding) != 1:
            return None
        row = self.rows[holding[0]]
        after = dict(variables)
        for name, term in row.actions.items():
            low, high = self.ranges["variables"][name]
            after[name] = sorted((low, value_of(term, names), high))[1]
        return holding[0], row.target, after

    def outputs(self, state: str, variables: Mapping[str, int]) -> dict[str, int]:
        """Return the outputs of a state and values of the variables."""
        names = {**self.constants, **variables}
        terms = {**self.defaults, **self.states[state]}
        return {name: value_of(term, names) for name, term in terms.items()}


def read(document: Mapping[str, Any]) -> Reading:
    """Return what a parsed TOML document of a valid trial says."""
    constants: dict[str, int] = {}
    for name, entry in document.get("constants", {}).items():
        constants[name] = value_of(term_of_value(entry["value"]), constants)
    enumerations = document.get("enumerations", {})
    for values in enumerations.values():
        constants |= {name: number for number, name in enumerate(values)}

    def whole(value: object) -> int:
        return value_of(term_of_value(value), constants)

    def range_of(entry: Mapping[str, Any]) -> tuple[int, int]:
        if entry["kind"] == "integer":
            low, high = entry["range"]
            return whole(low), whole(high)
        return 0, 1 if entry["kind"] == "boolean" else len(enumerations[entry["of"]]) - 1

    ranges = {
        table: {name: range_of(entry) for name, entry in document.get(table, {}).items()}
        for table in ("inputs", "variables", "outputs")
    }
    variables, outputs = document.get("variables", {}), document.get("outputs", {})
    states = document["states"]
    return Reading(
        initial_state=document["trial"]["initial_state"],
        tick_us=whole(document["trial"]["tick_us"]),
        constants=constants,
        ranges=ranges,
        initial={name: whole(entry["initial"]) for name, entry in variables.items()},
        defaults={name: term_of_value(entry["default"]) for name, entry in outputs.items()},
        conditions={n: term_of_value(e["holds"]) for n, e in document["conditions"].items()},
        states={name: _terms(entry.get("outputs", {})) for name, entry in states.items()},
        ends=frozenset(name for name, entry in states.items() if entry.get("end")),
        rows=_rows(document["rows"]),
        requirements={
            name: _requirement(entry, whole) for name, entry in document["requirements"].items()
        },
        stages={n: _stage(entry, whole) for n, entry in document.get("stages", {}).items()},
    )


def _terms(table: Mapping[str, Any]) -> dict[str, Term]:
    return {name: term_of_value(value) for name, value in table.items()}


def _rows(entries: Sequence[Mapping[str, Any]]) -> dict[str, ReadRow]:
    rows = {}
    for entry in entries:
        sources = entry["from"]
        listed = [sources] if isinstance(sources, str) else sources
        for source in listed:
            row_id = entry["id"] if len(listed) == 1 else f"{entry['id']}@{source}"
            rows[row_id] = ReadRow(
                source,
                entry.get("to", source),
                tuple(entry.get("when", ())),
                tuple(entry.get("unless", ())),
                _terms(entry.get("actions", {})),
            )
    return rows


def _stage(entry: Mapping[str, Any], whole: Callable[[object], int]) -> dict[str, Any]:
    counted = ("rungs", "margin_rungs")
    return {key: whole(value) if key in counted else value for key, value in entry.items()}


def _requirement(entry: Mapping[str, Any], whole: Callable[[object], int]) -> ReadRequirement:
    trigger, within = entry.get("trigger"), entry.get("within_ticks")
    return ReadRequirement(
        entry["kind"],
        term_of_value(entry["formula"]),
        None if trigger is None else term_of_value(trigger),
        None if within is None else whole(within),
    )
