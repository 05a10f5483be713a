"""``--cross-check``: the operator wants the limit crossed although predictions agree."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from gainwright_cli.console import refuse

if TYPE_CHECKING:
    from gainwright.language.model import Trial

CROSSING_INPUT = "crossing_wanted"
OPTION = "--cross-check"


def add_crossing_option(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        OPTION,
        action="store_true",
        help="with a trial that predicts the limit, such as gentle: cross it all the same, and "
        "check one by the other",
    )


def asked_inputs(arguments: argparse.Namespace, trial: Trial) -> tuple[str, ...]:
    """Return the inputs by which the operator asks for something; refuse what no trial knows."""
    if not arguments.cross_check:
        return ()
    if CROSSING_INPUT not in trial.index.inputs:
        raise refuse(
            OPTION, f"trial {trial.name}", f"a trial with the input {CROSSING_INPUT}",
            "name such a trial: --trial gentle",
        )  # fmt: skip
    return (CROSSING_INPUT,)
