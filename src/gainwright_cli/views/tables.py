"""Shows a trial in the terminal: decision tables, one per state, and requirements per hazard.

Conditions stand in rows and rules in columns, as in ISO 5806; below each table every rule is named
with its next state, actions and reason. Piped output is plain text.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from rich import box
from rich.console import Console
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from gainwright.language.decision_table import NO, YES, DecisionTable, actions_text, decision_table
from gainwright.language.model import NEVER, Kind, Requirement, Signal, State, Trial
from gainwright.language.sentence import sentence, sentences
from gainwright.language.write import write

_ENTRY_STYLES = {YES: "bold green", NO: "bold red"}


Verdicts = Mapping[str, str]
"""What evidence says of each requirement, in words."""


def render_trial(trial: Trial, console: Console, verdicts: Verdicts | None = None) -> None:
    """Print the whole trial: signals, conditions, a table per state, requirements, stages."""
    _heading(console, f"Trial {trial.name}")
    _paragraph(console, trial.title)
    if trial.rehearsals_only:
        _paragraph(console, f"For rehearsals only: {trial.rehearsals_only}", "bold")
    _paragraph(console, f"tick {trial.tick_us} µs, digest {trial.digest}", "dim")
    _render_signals(trial, console)
    _render_conditions(trial, console)
    for state in trial.states:
        render_state(trial, state, console)
    render_requirements(trial, console, verdicts)


def render_state(trial: Trial, state: State, console: Console) -> None:
    """Print meaning, outputs and decision table of one state."""
    end = " (an end: the trial may rest here)" if state.end else ""
    initial = " (after power-on)" if state.name == trial.initial_state else ""
    _heading(console, f"State {state.name}{initial}{end}")
    _paragraph(console, state.meaning)
    outputs = ", ".join(
        f"{output.name} = {write(state.value_of(output))}" for output in trial.outputs
    )
    _paragraph(console, f"Outputs: {outputs}", "dim")
    table = decision_table(trial, state.name)
    for rules in _fitting(table, console):
        console.print(_entries(table, rules, console))
    console.print(_rules(table, console))


def render_requirements(trial: Trial, console: Console, verdicts: Verdicts | None = None) -> None:
    """Print every hazard with the requirements that answer it."""
    for hazard in trial.hazards:
        _heading(console, f"Hazard {hazard.id}")
        _paragraph(console, hazard.consequence)
        for requirement in trial.requirements:
            if requirement.hazard == hazard.id:
                _render_requirement(requirement, console, verdicts)


def render_requirement(
    trial: Trial, requirement: Requirement, console: Console, verdicts: Verdicts | None = None
) -> None:
    """Print one requirement under its hazard."""
    for hazard in trial.hazards:
        if requirement.hazard == hazard.id:
            _heading(console, f"Hazard {hazard.id}")
            _paragraph(console, hazard.consequence)
    _render_requirement(requirement, console, verdicts)


def _render_requirement(
    requirement: Requirement, console: Console, verdicts: Verdicts | None
) -> None:
    """Without evidence only the plan of a proof is told: a sentence in a file is no verdict."""
    console.print(Text(requirement.id, style="bold"))
    _paragraph(console, f"  {requirement.sentence}")
    time = "" if requirement.within_ticks == NEVER else f", within {requirement.within_ticks} ticks"
    plan = f"to be proved by {requirement.proved_by}"
    said = plan if verdicts is None else verdicts.get(requirement.id, "not in the evidence")
    _paragraph(console, f"  {requirement.kind.value}{time}; {said}")
    if requirement.trigger is not None:
        _paragraph(console, f"  when: {sentence(requirement.trigger)}", "dim")
    for part in sentences(requirement.formula):
        _paragraph(console, f"  - {part}", "dim")


def _render_signals(trial: Trial, console: Console) -> None:
    groups = (("Inputs", trial.inputs), ("Variables", trial.variables), ("Outputs", trial.outputs))
    for title, signals in groups:
        if not signals:
            continue
        _heading(console, title)
        rows = [(s.name, _range(s), s.unit, s.meaning) for s in signals]
        console.print(_plain_table(("name", "values", "unit", "meaning"), rows, console))
    for enumeration in trial.enumerations:
        _heading(console, f"Enumeration {enumeration.name}")
        named = [
            (str(number), value.name, value.words, value.remedy)
            for number, value in enumerate(enumeration.values)
        ]
        console.print(_plain_table(("value", "name", "meaning", "remedy"), named, console))
    if trial.constants:
        _heading(console, "Constants")
        constants = [(c.name, str(c.value), c.unit, c.meaning) for c in trial.constants]
        console.print(_plain_table(("name", "value", "unit", "meaning"), constants, console))


def _render_conditions(trial: Trial, console: Console) -> None:
    _heading(console, "Conditions")
    rows = [(c.name, write(c.expression), c.meaning) for c in trial.conditions]
    console.print(_plain_table(("name", "holds when", "meaning"), rows, console))


_FRAME = 3
"""What a column takes beside its text: a space on either side and a line."""


def _fitting(table: DecisionTable, console: Console) -> Iterator[range]:
    """Yield the rules, counted from 0, that fit side by side; a wide table is shown in parts."""
    titles = max(len(name) for name in ("condition", *table.conditions)) + _FRAME
    room, first = console.width - titles, 0
    for number in range(len(table.rules)):
        width = len(str(number + 1)) + _FRAME
        if width > room and number > first:
            yield range(first, number)
            room, first = console.width - titles, number
        room -= width
    yield range(first, len(table.rules))


def _entries(table: DecisionTable, rules: range, console: Console) -> Table:
    grid = _empty_table(console)
    grid.add_column("condition", no_wrap=True)
    for number in rules:
        grid.add_column(str(number + 1), justify="center", no_wrap=True)
    for condition, entries in zip(table.conditions, table.entries, strict=True):
        shown = (entries[number] for number in rules)
        cells = [Text(entry, style=_ENTRY_STYLES.get(entry, "dim")) for entry in shown]
        grid.add_row(Text(condition), *cells)
    return grid


def _rules(table: DecisionTable, console: Console) -> Table:
    rows = []
    for number, row in enumerate(table.rules, start=1):
        target = "stays" if row.target == table.state else row.target
        does = actions_text(row)
        rows.append((str(number), row.id, target, row.why + (f"\n{does}" if does else "")))
    return _plain_table(("rule", "row", "next state", "why; actions"), rows, console)


def _plain_table(titles: Iterable[str], rows: Iterable[tuple[str, ...]], console: Console) -> Table:
    table = titled_table(titles, console)
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    return table


IDENTIFIERS = ("name", "row", "rule", "next state", "requirement", "values")
"""Columns whose words are never broken: they are searched for, or copied into a command."""


def titled_table(titles: Iterable[str], console: Console) -> Table:
    """Return an empty table of left-aligned columns, in the look of all our tables."""
    table = _empty_table(console)
    for title in titles:
        table.add_column(title, overflow="fold", no_wrap=title in IDENTIFIERS)
    return table


def _empty_table(console: Console) -> Table:
    return Table(box=box.SIMPLE_HEAD if console.is_terminal else box.ASCII2, pad_edge=False)


def _range(signal: Signal) -> str:
    if signal.enumeration:
        return f"one of {signal.enumeration}"
    return "boolean" if signal.kind is Kind.BOOLEAN else f"{signal.low} to {signal.high}"


def _heading(console: Console, text: str) -> None:
    console.print()
    if console.is_terminal:
        console.print(Rule(Text(text, style="bold"), align="left"))
    else:
        console.print(Text(f"== {text}"))


def _paragraph(console: Console, text: str, style: str = "") -> None:
    console.print(Text(text, style=style))
