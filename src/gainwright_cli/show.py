"""``gainwright show``: a trial as decision tables, one per state, with its requirements."""

from __future__ import annotations

import argparse

from gainwright_cli.console import DEFAULT_TRIAL, console, trial_path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "trial",
        nargs="?",
        default=DEFAULT_TRIAL,
        metavar="TRIAL",
        help="trial specification, or the name of a shipped one (default: %(default)s)",
    )


def run(arguments: argparse.Namespace) -> int:
    from gainwright.language.load import load_trial
    from gainwright_cli.views.tables import render_trial

    screen = console()
    render_trial(load_trial(trial_path(arguments.trial)), screen)
    screen.print(
        f"Next: prove the requirements:\n  gainwright prove {arguments.trial}", markup=False
    )
    return 0
