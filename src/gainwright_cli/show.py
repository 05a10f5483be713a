"""``gainwright show``: a trial as decision tables, one per state, with its requirements."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from typing import TYPE_CHECKING, TypeVar

from gainwright.described.nearest import nearest
from gainwright_cli.console import DEFAULT_TRIAL, console, refuse, trial_path

if TYPE_CHECKING:
    from gainwright.language.model import Trial

T = TypeVar("T")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "trial",
        nargs="?",
        default=DEFAULT_TRIAL,
        metavar="TRIAL",
        help="trial specification, or the name of a shipped one (default: %(default)s)",
    )
    parser.add_argument("--state", metavar="NAME", help="only the decision table of this state")
    parser.add_argument(
        "--as",
        dest="form",
        metavar="FORMAT",
        help="print the trial in another form: csv (decision tables) or dot (graph of states)",
    )
    parser.add_argument("--requirement", metavar="ID", help="only this requirement")
    parser.add_argument(
        "--evidence", metavar="DIR", help="show what this evidence says of each requirement"
    )


def run(arguments: argparse.Namespace) -> int:
    from gainwright.language.load import load_trial
    from gainwright_cli.views.tables import render_requirement, render_state, render_trial

    trial = load_trial(trial_path(arguments.trial))
    if arguments.form is not None:
        return _print_as(arguments, trial)
    verdicts = None if arguments.evidence is None else _verdicts(arguments.evidence, trial)
    screen = console()
    if arguments.state is not None:
        states = {state.name: state for state in trial.states}
        render_state(trial, _chosen(states, arguments.state, "--state"), screen)
    if arguments.requirement is not None:
        requirements = {requirement.id: requirement for requirement in trial.requirements}
        render_requirement(
            trial, _chosen(requirements, arguments.requirement, "--requirement"), screen, verdicts
        )
    if arguments.state is None and arguments.requirement is None:
        render_trial(trial, screen, verdicts)
    screen.print(
        f"Next: prove the requirements:\n  gainwright prove {arguments.trial}", markup=False
    )
    return 0


def _print_as(arguments: argparse.Namespace, trial: Trial) -> int:
    from gainwright_codegen.formats import FORMATS

    if arguments.state is not None or arguments.requirement is not None:
        raise refuse(
            "--as", "--as beside --state or --requirement", "one of them",
            "leave out the others: a format has the whole trial",
        )  # fmt: skip
    _, write = _chosen(FORMATS, arguments.form, "--as")
    print(write(trial), end="")
    return 0


def _verdicts(directory: str, trial: Trial) -> dict[str, str]:
    """Return the verdicts that the findings in an evidence folder give, with what proved it."""
    from gainwright_cli.proof_check import stated_conclusions

    return {
        item.subject: f"{item.verdict.value}"
        + (f" by {'; '.join(item.proved_by)}" if item.proved_by else "")
        + f" (evidence {directory}; gainwright prove --recheck tests it)"
        for item in stated_conclusions(directory, trial)
    }


def _chosen(things: Mapping[str, T], name: str, option: str) -> T:
    if name not in things:
        near = nearest(name, things)
        raise refuse(
            option, name, f"one of {', '.join(things)}",
            f"did you mean {near}?" if near else "take one of these",
        )  # fmt: skip
    return things[name]
