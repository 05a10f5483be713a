"""``gainwright schema``: the JSON Schema of a file kind, for editors that check while one types."""

from __future__ import annotations

import argparse
from typing import Any

from gainwright_cli.console import print_json

KINDS = ("trial", "machine", "evidence")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("kind", choices=KINDS, help="which file kind")


def run(arguments: argparse.Namespace) -> int:
    print_json(_schema(arguments.kind))
    return 0


def _schema(kind: str) -> dict[str, Any]:
    if kind == "machine":
        from gainwright_sim.machine.json_schema import machine_schema

        return machine_schema()
    if kind == "evidence":
        from gainwright_proof.evidence.schema import evidence_schema

        return evidence_schema()
    from gainwright.language.schema import trial_schema

    return trial_schema()
