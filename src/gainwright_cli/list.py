"""``gainwright list``: the trials and machines that come with the package."""

from __future__ import annotations

import argparse

from gainwright_cli.console import add_json_option, console, print_json


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_json_option(parser)


def run(arguments: argparse.Namespace) -> int:
    from gainwright.language.shipped import shipped_trial_names, shipped_trial_title
    from gainwright_sim.machine import load_machine, shipped_machine_names

    trials = {name: shipped_trial_title(name) for name in shipped_trial_names()}
    machines = {name: load_machine(name).description for name in shipped_machine_names()}
    if arguments.json:
        print_json({"trials": trials, "machines": machines})
        return 0
    screen = console()
    for title, entries in (("Trials", trials), ("Machines", machines)):
        screen.print(f"{title}:", markup=False)
        for name, words in entries.items():
            screen.print(f"  {name:<18} {words}", markup=False)
    screen.print("Next:\n  gainwright show standard\n  gainwright rehearse kiln-shuttle")
    return 0
