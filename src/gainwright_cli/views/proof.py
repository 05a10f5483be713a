"""What a proof found, in the terminal: refuted first, then requirements by hazard, and the rest."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby

from rich.console import Console
from rich.table import Table
from rich.text import Text

from gainwright.language.expression import InState, Reference, walk
from gainwright.language.model import NEVER, Requirement, Trial
from gainwright.semantics.monitor import Snapshot
from gainwright_cli.views.tables import titled_table
from gainwright_proof.evidence.conclusion import Conclusion, conclude
from gainwright_proof.evidence.document import one_way
from gainwright_proof.evidence.overview import RequirementLine
from gainwright_proof.verdict import HOLDS, Finding, Tick, Trace, Verdict

STYLES = {
    Verdict.PROVED: "green",
    Verdict.TESTED: "cyan",
    Verdict.REFUTED: "bold red",
    Verdict.UNFINISHED: "yellow",
    Verdict.NOT_RUN: "dim",
}
MOST_LINES = 24
"""Of a longer counterexample, equal ticks folded, the first and last lines are shown."""
MOST_TRACES = 3
"""Counterexamples shown in full; the others are in the evidence folder."""
WIDEST = 80
_WAYS = (
    ("exhaustive exploration", "E", "exploration of the compiled C"),
    ("induction", "I", "induction by SMT"),
    ("ranking", "R", "ranking argument by SMT"),
    ("SMT", "S", "SMT over one moment"),
    ("model checking", "P", "model checking of the Promela export"),
)


def say(console: Console, text: str) -> None:
    """Print a paragraph, wrapped at the width of the screen, at most 80 columns; no word broken."""
    width = min(WIDEST, console.width)
    indent = " " * (len(text) - len(text.lstrip()))
    lines = textwrap.wrap(
        text, width, subsequent_indent=indent + "  ", break_long_words=False,
        break_on_hyphens=False,
    )  # fmt: skip
    console.print("\n".join(lines), markup=False, soft_wrap=True)


def render_conclusions(
    trial: Trial,
    lines: Sequence[RequirementLine],
    findings: Sequence[Finding],
    console: Console,
) -> None:
    """Print what is refuted and open, the table of requirements, and the other subjects."""
    requirements = {requirement.id for requirement in trial.requirements}
    conclusions = conclude(findings)
    open_subjects = {c.subject for c in conclusions if c.verdict not in HOLDS}
    _render_open(trial, [f for f in findings if f.subject in open_subjects], console)
    _render_overview(trial, lines, console)
    others = [item for item in conclusions if item.subject not in requirements]
    for group, items in groupby(
        sorted(others, key=lambda i: i.subject.split("/")[0]), key=lambda i: i.subject.split("/")[0]
    ):
        _render_group(console, group.replace("_", " "), list(items))


def _render_group(console: Console, group: str, items: Sequence[Conclusion]) -> None:
    for verdict in Verdict:
        listed = [item for item in items if item.verdict is verdict]
        if not listed:
            continue
        label = Text(f"{verdict.value:<11}", style=STYLES[verdict])
        names = [item.subject.split("/", 1)[-1] for item in listed]
        if verdict in HOLDS:
            ways = min(max(1, len(item.proved_by)) for item in listed)
            how = f"all {len(listed)}" if len(items) == len(listed) else f"{len(listed)}"
            tail = f": {how}, each in {ways} way{'' if ways == 1 else 's'} at least"
            tail = "" if len(items) == 1 and ways == 1 else tail
        else:
            tail = f": {', '.join(names[:4])}" + (" ..." if len(names) > 4 else "")
        console.print(Text.assemble(label, group, tail), soft_wrap=True)


def _render_open(trial: Trial, findings: Sequence[Finding], console: Console) -> None:
    """Print findings that leave something open, refuted ones first, equal details once."""
    shown = 0
    order = (Verdict.REFUTED, Verdict.UNFINISHED, Verdict.NOT_RUN)
    for verdict in order:
        own = [finding for finding in findings if finding.verdict is verdict]
        for detail, group in groupby(
            sorted(own, key=lambda f: (f.detail, f.method)), key=lambda f: (f.detail, f.method)
        ):
            listed = list(group)
            _render_finding(trial, listed, detail[0], console)
            for finding in listed:
                if finding.counterexample is not None and shown < MOST_TRACES:
                    render_trace(finding.counterexample, console)
                    render_violation(trial, finding.subject, finding.counterexample, console)
                    shown += 1


def _render_finding(
    trial: Trial, findings: Sequence[Finding], detail: str, console: Console
) -> None:
    verdict = findings[0].verdict
    subjects = ", ".join(finding.subject for finding in findings)
    console.print(Text(verdict.value, style=STYLES[verdict]))
    say(console, f"  {subjects}: {detail} [{findings[0].method}]")
    hazards = {hazard.id: hazard.consequence for hazard in trial.hazards}
    for finding in findings:
        for requirement in trial.requirements:
            if requirement.id == finding.subject and requirement.hazard in hazards:
                say(console, f"  hazard {requirement.hazard}: {hazards[requirement.hazard]}")


def _render_overview(trial: Trial, lines: Sequence[RequirementLine], console: Console) -> None:
    """Print the table of hazards and requirements: two lines each, 80 columns at most."""
    consequences = {hazard.id: hazard.consequence for hazard in trial.hazards}
    for hazard, own in groupby(lines, key=lambda line: line.hazard):
        console.print(Text(f"Hazard {hazard}" if hazard else "Requirements", style="bold"))
        if hazard:
            say(console, f"  {consequences.get(hazard, '')}")
        for line in own:
            text = Text(f"  {line.requirement:<52} ")
            text.append(f"{line.verdict.value:<11}", style=STYLES[line.verdict])
            text.append("".join(_letters(line.proved_by)))
            console.print(text, soft_wrap=True)
            say(console, f"      {_details(line)}")
    used = {letter for line in lines for letter in _letters(line.proved_by)}
    key = "; ".join(f"{letter} {meaning}" for _, letter, meaning in _WAYS if letter in used)
    if key:
        say(console, f"  Proved by: {key}.")


def _letters(methods: Sequence[str]) -> list[str]:
    found = []
    for method in methods:
        letter = next((letter for start, letter, _ in _WAYS if method.startswith(start)), "?")
        if letter not in found:
            found.append(letter)
    return found


def _details(line: RequirementLine) -> str:
    parts = []
    if line.premise == "seen":
        parts.append(f"premise seen after {_ticks(line.premise_after_ticks or 0)}")
    elif line.premise != "none":
        parts.append(f"premise {line.premise}")
    if line.bound_ticks is not None:
        wait = "unknown" if line.longest_wait_ticks is None else f"{line.longest_wait_ticks:,}"
        parts.append(f"longest wait {wait} of {_ticks(line.bound_ticks)} allowed")
    if line.rows is not None:
        shown = ", ".join(line.rows[:3]) + (" ..." if len(line.rows) > 3 else "")
        parts.append(f"constrains {len(line.rows)} rows: {shown}" if line.rows else "no row")
    return "; ".join(parts) or "speaks of every moment"


def _ticks(count: int) -> str:
    return f"{count:,} tick{'' if count == 1 else 's'}"


def render_trace(trace: Trace, console: Console) -> None:
    """Print a trace: what changed in inputs, variables and outputs; equal ticks are one line."""
    start = "from power-on" if trace.from_power_on else "from a moment that is assumed"
    say(console, f"  {len(trace.ticks):,} ticks {start}, in state {trace.first.state}")
    table: Table = titled_table(["tick", "inputs", "row, state", "variables; outputs"], console)
    lines = list(_folded(trace))
    half = MOST_LINES // 2
    for number, cells in enumerate(lines):
        if number < half or number >= len(lines) - half:
            table.add_row(*cells)
        elif number == half:
            table.add_row("...", f"({len(lines) - MOST_LINES} lines)", "", "")
    console.print(table, width=min(WIDEST, console.width), soft_wrap=False)


def _folded(trace: Trace) -> Iterator[tuple[str, str, str, str]]:
    """Yield the cells of one line per stretch of ticks with the same inputs and row."""
    inputs: Mapping[str, int] = {}
    before = trace.first
    numbered = enumerate(trace.ticks, 1)
    for _, group in groupby(
        numbered, key=lambda pair: (tuple(pair[1].inputs.items()), pair[1].row)
    ):
        stretch = list(group)
        first, last = stretch[0], stretch[-1]
        number = str(first[0]) if first is last else f"{first[0]}-{last[0]}"
        yield number, *_cells(inputs, before, last[1])
        inputs, before = last[1].inputs, last[1].after


def _cells(inputs: Mapping[str, int], before: Snapshot, tick: Tick) -> tuple[str, str, str]:
    row = tick.row or "(no single row)"
    where = row if tick.after.state == before.state else f"{row} -> {tick.after.state}"
    kept = _changes(before.variables, tick.after.variables)
    shown = _changes(before.outputs, tick.after.outputs)
    return _changes(inputs, tick.inputs), where, "; ".join(filter(None, (kept, shown)))


def _changes(before: Mapping[str, int], after: Mapping[str, int]) -> str:
    return ", ".join(f"{k} = {v}" for k, v in after.items() if before.get(k) != v)


def render_violation(trial: Trial, subject: str, trace: Trace, console: Console) -> None:
    """Print the violated sentence with the values that it has at the end of a run."""
    requirement = next((r for r in trial.requirements if r.id == subject), None)
    if requirement is None:
        return
    say(console, f"  violated: {requirement.sentence}")
    before = trace.ticks[-2].after if len(trace.ticks) > 1 else trace.first
    last = trace.ticks[-1] if trace.ticks else None
    after = last.after if last is not None else trace.first
    inputs = last.inputs if last is not None else {}
    over_tick = requirement.kind.value in ("step", "response")
    values = list(_values(requirement, before if over_tick else after, after, inputs))
    say(console, f"  where {', '.join(values)}" if values else "  at the end of this run")
    if requirement.within_ticks != NEVER:
        say(console, f"  allowed: {requirement.within_ticks:,} ticks")


def _values(
    requirement: Requirement, before: Snapshot, after: Snapshot, inputs: Mapping[str, int]
) -> Iterator[str]:
    """Yield each name of a formula with its value, and the state."""
    seen: dict[str, None] = {}
    formulas = [requirement.formula, *([requirement.trigger] if requirement.trigger else [])]
    for part in (part for formula in formulas for part in walk(formula)):
        if isinstance(part, InState):
            moment = after if part.after else before
            text = f"next(state) = {moment.state}" if part.after else f"state = {moment.state}"
        elif isinstance(part, Reference):
            moment = after if part.after else before
            known = {**inputs, **moment.variables, **moment.outputs}
            if part.name not in known:
                continue  # a condition: its inputs are in the table above
            name = f"next({part.name})" if part.after else part.name
            text = f"{name} = {known[part.name]}"
        else:
            continue
        seen[text] = None
    yield from seen


def one_way_text(conclusions: Sequence[Conclusion]) -> str:
    """Return which subjects one method alone proved: kinds counted, the others by name."""
    alone = one_way(conclusions)
    if not alone:
        return "Everything is proved in two ways or more."
    kinds = Counter(name.partition("/")[0] for name in alone if "/" in name)
    counted = [f"{count} of {kind}/..." for kind, count in sorted(kinds.items())]
    counted += [name for name in alone if "/" not in name]
    return (
        f"One way only: {len(alone)} of {len(conclusions)} subjects are proved by a single method, "
        f"of which no other would notice a mistake: {', '.join(counted)}. All names: one_way in "
        "evidence.json."
    )
