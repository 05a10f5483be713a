"""What became of the mutants, in the terminal."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from gainwright_cli.views.tables import titled_table
from gainwright_proof.mutants.outcome import Fate
from gainwright_proof.mutants.report import Judged, MutantReport

STYLES = {
    Fate.CAUGHT: "green",
    Fate.EQUIVALENT: "green",
    Fate.SURVIVED: "bold red",
    Fate.LISTED: "yellow",
    Fate.UNDECIDED: "yellow",
}


def render_mutants(report: MutantReport, console: Console) -> None:
    """Print counts per kind, what decided, and every mutant that is left over with its row."""
    _counts(report, console)
    for stage, count in report.decided_by().items():
        if count:
            console.print(f"{count:6}  decided by {stage.value}", markup=False)
    caught = sum(count > 0 for name, count in report.catches().items())
    console.print(f"{caught} different checks caught a mutant", markup=False)
    if report.rests_on:
        names = ", ".join(report.rests_on)
        console.print(f"equivalent as long as these requirements hold: {names}", markup=False)
    for judged in report.of(Fate.SURVIVED, Fate.UNDECIDED, Fate.LISTED):
        _left_over(judged, console)
    if report.without_reason:
        console.print(
            f"{len(report.without_reason)} equivalent mutants are not listed in the trial file "
            f"with a reason, the first is {report.without_reason[0].id}",
            markup=False,
        )
    for entry, pattern in report.unused:
        console.print(
            f"[equivalent_mutants] {entry}: '{pattern}' fits no mutant that is left over",
            markup=False,
        )


def _counts(report: MutantReport, console: Console) -> None:
    table = titled_table(["changes of rows", "tried", *(fate.value for fate in Fate)], console)
    totals = dict.fromkeys(Fate, 0)
    for kind, counts in report.counts().items():
        tried = sum(counts.values())
        table.add_row(kind.value.replace("_", " "), str(tried), *_cells(counts))
        for fate, count in counts.items():
            totals[fate] += count
    table.add_row("all", str(len(report.judged)), *_cells(totals))
    console.print(table)


def _cells(counts: dict[Fate, int]) -> list[Text]:
    return [
        Text(str(count) if count else "-", style=STYLES[fate] if count else "dim")
        for fate, count in counts.items()
    ]


def _left_over(judged: Judged, console: Console) -> None:
    outcome = judged.outcome
    line = Text.assemble(
        (outcome.fate.value, STYLES[outcome.fate]),
        f"  {outcome.mutant.change} ({outcome.detail})",
    )
    line.append(f"  [{judged.id}]", style="dim")
    if judged.listed is not None:
        line.append(f"  {judged.listed.name}: {judged.listed.why}")
    console.print(line)
