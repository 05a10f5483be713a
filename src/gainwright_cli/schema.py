"""``gainwright schema``: the JSON Schema of a file kind, for editors that check while one types."""

from __future__ import annotations

import argparse

from gainwright_cli.console import print_json

KINDS = ("trial", "machine")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("kind", choices=KINDS, help="which file kind")


def run(arguments: argparse.Namespace) -> int:
    from gainwright.language.schema import trial_schema
    from gainwright_sim.machine.json_schema import machine_schema

    print_json(trial_schema() if arguments.kind == "trial" else machine_schema())
    return 0
