"""What a proof found, in the terminal: one line per subject, counterexamples as tables of ticks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby

from rich.console import Console
from rich.table import Table
from rich.text import Text

from gainwright.language.model import Trial
from gainwright_cli.views.tables import titled_table
from gainwright_proof.evidence.conclusion import Conclusion
from gainwright_proof.verdict import Finding, Trace, Verdict

STYLES = {
    Verdict.PROVED: "green",
    Verdict.TESTED: "cyan",
    Verdict.REFUTED: "bold red",
    Verdict.UNFINISHED: "yellow",
    Verdict.NOT_RUN: "dim",
}
MOST_TICKS = 40
"""Of a longer counterexample the first and last ticks are shown."""


def render_conclusions(
    trial: Trial, conclusions: Sequence[Conclusion], findings: Sequence[Finding], console: Console
) -> None:
    """Print the requirements with their verdicts; other subjects in groups."""
    requirements = {requirement.id for requirement in trial.requirements}
    named = [item for item in conclusions if item.subject in requirements]
    _verdict_table(console, "Requirements", named)
    others = [item for item in conclusions if item.subject not in requirements]
    for group, items in groupby(others, key=lambda item: item.subject.split("/")[0]):
        listed = list(items)
        if all(item.verdict is Verdict.PROVED for item in listed):
            _all_proved(console, group.replace("_", " "), listed)
        else:
            _verdict_table(console, group.replace("_", " "), listed)
    for finding in findings:
        if finding.verdict is not Verdict.PROVED:
            _render_open(finding, console)


def _all_proved(console: Console, group: str, conclusions: Sequence[Conclusion]) -> None:
    ways = min(len(item.proved_by) for item in conclusions)
    how = (
        "; ".join(conclusions[0].proved_by)
        if len(conclusions) == 1
        else f"all {len(conclusions)}, each in at least {ways} {'way' if ways == 1 else 'ways'}"
    )
    console.print(Text.assemble(("proved  ", STYLES[Verdict.PROVED]), f"{group}: {how}"))


def _verdict_table(console: Console, title: str, conclusions: Sequence[Conclusion]) -> None:
    table = titled_table([title, "verdict", "proved by"], console)
    for item in conclusions:
        table.add_row(
            item.subject,
            Text(item.verdict.value, style=STYLES[item.verdict]),
            "; ".join(item.proved_by) or "-",
        )
    console.print(table)


def _render_open(finding: Finding, console: Console) -> None:
    line = Text.assemble(
        (finding.verdict.value, STYLES[finding.verdict]), f"  {finding.subject}: {finding.detail} "
    )
    line.append(f"[{finding.method}]", style="dim")
    console.print(line)
    if finding.counterexample is not None:
        render_trace(finding.counterexample, console)


def render_trace(trace: Trace, console: Console) -> None:
    """Print a trace as a table of ticks: what changed in the inputs, the row, where it led."""
    start = "from power-on" if trace.from_power_on else "from a moment that is assumed"
    console.print(f"  {len(trace.ticks)} ticks {start}, in state {trace.first.state}")
    table: Table = titled_table(
        ["tick", "inputs that changed", "row", "state", "variables"], console
    )
    before_inputs: Mapping[str, int] = {}
    before = trace.first
    shown = set(range(MOST_TICKS // 2)) | set(
        range(len(trace.ticks) - MOST_TICKS // 2, len(trace.ticks))
    )
    for number, tick in enumerate(trace.ticks):
        if number in shown:
            table.add_row(
                str(number + 1),
                _changes(before_inputs, tick.inputs),
                tick.row or "(no single row)",
                tick.after.state,
                _changes(before.variables, tick.after.variables),
            )
        elif number == MOST_TICKS // 2:
            table.add_row("...", "", "", "", "")
        before_inputs, before = tick.inputs, tick.after
    console.print(table)


def _changes(before: Mapping[str, int], after: Mapping[str, int]) -> str:
    return ", ".join(f"{k} = {v}" for k, v in after.items() if before.get(k) != v)
