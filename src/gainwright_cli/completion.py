"""``gainwright completion``: completion of commands and options, for a shell's start-up file."""

from __future__ import annotations

import argparse

from gainwright_cli.console import console

SHELLS = ("bash", "zsh")
HOW = {
    "bash": 'eval "$(gainwright completion bash)"',
    "zsh": "gainwright completion zsh > a folder of $fpath/_gainwright",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shell", choices=SHELLS, help="whose completion")


def run(arguments: argparse.Namespace) -> int:
    import shtab

    from gainwright_cli.main import parser

    print(shtab.complete(parser(whole=True), shell=arguments.shell))
    console(to_error=True).print(f"To use it: {HOW[arguments.shell]}", markup=False)
    return 0
