"""C names of what a trial declares, and what is refused because C could not hold it."""

from __future__ import annotations

import re
from collections.abc import Iterable

from gainwright.errors import InputError, Problem
from gainwright.language.model import Trial

LARGEST_SET = 64
"""Variables are bits of one unsigned integer."""
LARGEST_TABLE = 65535
"""States, rows and actions are numbered with 16 bits."""
LONGEST_NAME = 40
"""C99 tells names apart by 63 characters (5.2.4.1); the longest prefix has 13."""
_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*\Z")
_TAKEN = frozenset({"COUNT", "SLOTS", "BIT"})


def constant(prefix: str, name: str) -> str:
    """Return the enumerator for a name, e.g. ``GW_STATE_IDLE``."""
    return f"GW_{prefix}_{name.upper()}"


def names_by_prefix(trial: Trial) -> dict[str, tuple[str, ...]]:
    """Return the declared names by the prefix of their enumerators, in the order of the file."""
    groups = {
        "STATE": trial.states,
        "INPUT": trial.inputs,
        "OUTPUT": trial.outputs,
        "VARIABLE": trial.variables,
        "CONDITION": trial.conditions,
        "STAGE": trial.stages,
        "CONSTANT": trial.constants,
    }
    return {prefix: tuple(item.name for item in items) for prefix, items in groups.items()}


def enumerators(trial: Trial) -> dict[str, tuple[str, ...]]:
    """Return the named values of each enumeration by the prefix of their enumerators."""
    return {
        enumeration.name.upper(): tuple(value.name for value in enumeration.values)
        for enumeration in trial.enumerations
    }


def check_exportable(trial: Trial) -> None:
    """Raise InputError with everything that keeps a valid trial from being written as C."""
    problems = [
        problem
        for prefix, names in [*names_by_prefix(trial).items(), *enumerators(trial).items()]
        for problem in _name_problems(trial.name, prefix.lower(), names)
    ]
    problems += _size_problems(trial)
    if problems:
        raise InputError(problems)


def _name_problems(trial: str, what: str, names: Iterable[str]) -> list[Problem]:
    problems, seen = [], dict[str, str]()
    for name in names:
        upper = name.upper()
        if not _NAME.match(name) or len(name) > LONGEST_NAME:
            found = f"the name {name!r}"
            expected = f"letters, digits and underscores, at most {LONGEST_NAME}"
        elif upper in _TAKEN:
            found, expected = f"the name {name!r}", "a name that the exported C does not use itself"
        elif upper in seen:
            found = f"{name!r} and {seen[upper]!r}"
            expected = "names that differ in more than upper and lower case"
        else:
            seen[upper] = name
            continue
        problems.append(Problem(trial, what, found, expected, f"rename the {what}"))
    return problems


def _size_problems(trial: Trial) -> list[Problem]:
    limits = [
        ("variables", len(trial.variables), LARGEST_SET, "use fewer variables"),
        ("rows", len(trial.rows), LARGEST_TABLE, "use fewer rows"),
        ("states", len(trial.states), LARGEST_TABLE, "use fewer states"),
    ]
    return [
        Problem(trial.name, what, f"{count} {what}", f"at most {limit} {what}", remedy)
        for what, count, limit, remedy in limits
        if count > limit
    ]
