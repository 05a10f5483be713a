"""The one error a user sees for bad input: where, what was found, what was expected, the remedy."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in one place of a file, folder or command line."""

    file: str
    place: str
    """Key, row id, column or option; empty if the whole file is meant."""
    found: str
    expected: str
    remedy: str

    def __str__(self) -> str:
        where = f"{self.file}: {self.place}" if self.place else self.file
        return (
            f"{where}\n  found:    {self.found}\n  expected: {self.expected}\n"
            f"  remedy:   {self.remedy}"
        )


class InputError(Exception):
    """Input that cannot be used; carries every problem found, in the order of the file."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


def input_error(file: object, place: str, found: str, expected: str, remedy: str) -> InputError:
    """Return an :class:`InputError` about a single problem."""
    return InputError([Problem(str(file), place, found, expected, remedy)])
