"""Load a machine description by shipped name or by path."""

from __future__ import annotations

import os
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from gainwright.described.file_kind import MACHINE, refuse_other_kind
from gainwright.described.nearest import nearest
from gainwright.described.text_file import read_toml
from gainwright.errors import InputError, Problem, input_error
from gainwright.language.shipped import shipped_trial_names
from gainwright_sim.machine.build import build_machine, check_machine, check_mechanics, check_name
from gainwright_sim.machine.check import Checker
from gainwright_sim.machine.disturbances import check_breakaway, check_disturbances
from gainwright_sim.machine.keys import TABLES
from gainwright_sim.machine.model import Machine
from gainwright_sim.machine.reflect import reflection_lines
from gainwright_sim.machine.situations import check_situations

_FOLDER = Path(__file__).resolve().parent.parent / "machines"


@cache
def shipped_machine_names() -> tuple[str, ...]:
    """Return the names of the descriptions that come with the package, sorted."""
    return tuple(sorted(path.stem for path in _FOLDER.glob("*.toml")))


def shipped_machine_path(name: str) -> Path:
    """Return the file of a shipped description."""
    return _FOLDER / f"{name}.toml"


def load_machine(name_or_path: str | os.PathLike[str]) -> Machine:
    """Return the machine of a shipped name such as ``kiln-shuttle``, or of a file.

    A text without a folder and without the suffix ``.toml`` is a shipped name, unless a file of
    that name is there. Raises :class:`InputError` with all problems at once.
    """
    path = machine_path(name_or_path)
    return machine_from_document(read_toml(path), str(path))


def mechanics_in_words(name_or_path: str | os.PathLike[str]) -> tuple[str, ...]:
    """Return how the mechanics of a valid description become inertias and stiffness at the motor.

    Raises:
        InputError: as :func:`load_machine`.
    """
    path = machine_path(name_or_path)
    checker = Checker(str(path), read_toml(path))
    if checker.problems:
        raise InputError(checker.problems)
    return tuple(reflection_lines(checker.values["mechanics"]))


def machine_from_document(document: Mapping[str, Any], file: str) -> Machine:
    """Return the machine of a parsed description; ``file`` is what error messages call it."""
    refuse_other_kind(document, file, MACHINE)
    checker = Checker(file, document)
    check_name(checker)
    check_mechanics(checker)
    check_breakaway(checker)
    check_disturbances(checker)
    check_situations(checker)
    if not checker.problems:
        machine = build_machine(checker)
        check_machine(checker, machine)
    if checker.problems:
        raise InputError(sorted(checker.problems, key=_table_order))
    return machine


def _table_order(problem: Problem) -> int:
    table = problem.place.strip("[]").split(".")[0]
    names = [table.name for table in TABLES]
    return names.index(table) if table in names else -1


def machine_path(name_or_path: str | os.PathLike[str]) -> Path:
    """Return the file of a shipped machine's name, or the path itself.

    Raises:
        InputError: neither a shipped name nor a path.
    """
    text = os.fspath(name_or_path)
    if text in shipped_machine_names():
        return shipped_machine_path(text)
    is_name = not text.endswith(".toml") and not any(mark in text for mark in "/\\")
    if is_name and not os.path.lexists(text):
        near = nearest(text.lower(), shipped_machine_names())
        remedy = f"did you mean {near}?" if near else "give the path of a machine description"
        if text in shipped_trial_names():
            remedy = f"{text} is a trial: name a machine, and give the trial with --trial {text}"
        raise input_error(
            text or "(empty name)", "", "neither a shipped machine nor a file",
            f"a path, or one of {', '.join(shipped_machine_names())}",
            remedy,
        )  # fmt: skip
    return Path(text)
