"""Checks a trial as a whole: unused names, reachable states and rows, complete tables."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from gainwright.described.problems import Problems
from gainwright.detector.response_settings import CONSTANT_RANGES, RESPONSE_INPUT
from gainwright.language.attainable import Attainable, Combination
from gainwright.language.model import Condition, Row, State
from gainwright.language.reader import Reader
from gainwright.language.scope import Bounds
from gainwright.language.single_hit import table_faults
from gainwright.language.table_fault import DeadRow, Gap, Overlap


def check_unused(reader: Reader) -> None:
    """Report constants, inputs, variables and conditions that nothing reads.

    Constants by which the loop response is measured are read by the export.
    """
    if RESPONSE_INPUT in reader.declared:
        reader.read_names.update(CONSTANT_RANGES)
    for name, what in reader.declared.items():
        if what != "an output" and name not in reader.read_names:
            reader.problems.add(
                name,
                f"{what} that nothing reads",
                "every declared name in use",
                "use it or remove it",
            )


def check_reachable(
    initial_state: str, states: Sequence[State], rows: Sequence[Row], problems: Problems
) -> None:
    """Report states that no path of rows reaches and states without rows."""
    targets: dict[str, set[str]] = {state.name: set() for state in states}
    for row in rows:
        targets.get(row.source, set()).add(row.target)
    reached, waiting = {initial_state}, [initial_state]
    while waiting:
        new = targets.get(waiting.pop(), set()) - reached
        reached |= new
        waiting.extend(sorted(new))
    for state in states:
        if state.name not in reached:
            problems.add(
                f"[states] {state.name}",
                "a state that no row leads to from the initial state",
                "every state reachable",
                'add a row with to = "' + state.name + '", or remove the state',
            )


def check_tables(
    states: Iterable[State],
    rows: Sequence[Row],
    conditions: Sequence[Condition],
    signals: Mapping[str, Bounds],
    problems: Problems,
) -> None:
    """Report gaps, overlaps and dead rows of the decision table of each state."""
    attainable = Attainable({condition.name: condition for condition in conditions}, signals)
    for state in states:
        own = [row for row in rows if row.source == state.name]
        if not own:
            problems.add(
                f"[states] {state.name}",
                "a state without rows",
                "exactly one row for every combination of the conditions",
                "add rows; a state that rests for ever has one row that leads to itself",
            )
            continue
        for fault in table_faults(own, attainable):
            _report(state.name, fault, problems)


def _report(state: str, fault: Gap | Overlap | DeadRow, problems: Problems) -> None:
    place = f"[states] {state}"
    match fault:
        case DeadRow(row):
            problems.add(
                f"row '{row.id}'",
                "a row whose conditions can never hold together",
                "a row that some inputs and variables can reach",
                "remove the row, or correct its when and unless",
            )
        case Overlap(first, second, example):
            problems.add(
                place,
                f"rows '{first.id}' and '{second.id}' both hold {_combination_in_words(example)}",
                "exactly one row for every combination of the conditions",
                "let the row with less priority say unless to a condition of the other",
            )
        case Gap(example):
            problems.add(
                place,
                f"no row holds {_combination_in_words(example)}",
                "exactly one row for every combination of the conditions",
                "add a row for this combination; staying put is a row too",
            )


def _combination_in_words(example: Combination) -> str:
    true = [name for name, boolean in sorted(example.booleans.items()) if boolean]
    values = ", ".join(f"{name} = {value}" for name, value in sorted(example.witness.items()))
    conditions = f"when only {', '.join(true)} hold" if true else "when no condition holds"
    return f"{conditions} (for example {values})" if values else conditions
