"""Collects everything wrong with one file while it is read on."""

from __future__ import annotations

from collections.abc import Iterator

from gainwright.errors import InputError, Problem


class Problems:
    def __init__(self, file: str) -> None:
        self._file = file
        self._found: list[Problem] = []

    def add(self, place: str, found: str, expected: str, remedy: str) -> None:
        self._found.append(Problem(self._file, place, found, expected, remedy))

    def __iter__(self) -> Iterator[Problem]:
        return iter(self._found)

    def __len__(self) -> int:
        return len(self._found)

    def raise_if_any(self) -> None:
        """Raise InputError with all problems found so far, in the order they were found."""
        if self._found:
            raise InputError(self._found)
