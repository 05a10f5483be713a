"""What became of the mutants, in the terminal."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from gainwright_cli.views.tables import titled_table
from gainwright_proof.mutants.report import Judged, MutantReport, Outcome

STYLES = {
    Outcome.CAUGHT: "green",
    Outcome.EQUIVALENT: "green",
    Outcome.SURVIVED: "bold red",
    Outcome.UNDECIDED: "yellow",
}


def render_mutants(report: MutantReport, console: Console) -> None:
    """Print counts per kind, what decided, and every mutant that is left over with its row."""
    _counts(report, console)
    for stage, count in report.decided_by().items():
        if count:
            console.print(f"{count:6}  decided by {stage.value}", markup=False)
    caught = sum(count > 0 for name, count in report.catches().items())
    console.print(f"{caught} different checks caught a mutant", markup=False)
    for judged in report.of(Outcome.SURVIVED, Outcome.UNDECIDED):
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
    outcomes = (outcome.value for outcome in Outcome)
    table = titled_table(["changes of rows", "tried", *outcomes], console)
    totals = dict.fromkeys(Outcome, 0)
    for kind, counts in report.counts().items():
        tried = sum(counts.values())
        table.add_row(kind.value.replace("_", " "), str(tried), *_cells(counts))
        for outcome, count in counts.items():
            totals[outcome] += count
    table.add_row("all", str(len(report.judged)), *_cells(totals))
    console.print(table)


def _cells(counts: dict[Outcome, int]) -> list[Text]:
    return [
        Text(str(count) if count else "-", style=STYLES[outcome] if count else "dim")
        for outcome, count in counts.items()
    ]


def _left_over(judged: Judged, console: Console) -> None:
    line = Text.assemble(
        (judged.outcome.value, STYLES[judged.outcome]),
        f"  {judged.mutant.change} ({judged.detail})",
    )
    line.append(f"  [{judged.id}]", style="dim")
    console.print(line)
