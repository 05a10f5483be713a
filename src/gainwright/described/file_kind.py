"""Which kind of file a document is, so that one given for another is one sentence, not fifty."""

from __future__ import annotations

from collections.abc import Iterable

from gainwright.errors import input_error

TRIAL, MACHINE = "trial", "machine"
_TABLES = {
    TRIAL: frozenset({"trial", "inputs", "conditions", "states", "rows", "requirements"}),
    MACHINE: frozenset({"mechanics", "drive", "motion", "speed_loop"}),
}
_NAMES = {TRIAL: "a trial specification", MACHINE: "a machine description"}
_COMMANDS = {TRIAL: "--trial FILE, check, show, prove", MACHINE: "rehearse, export, check"}


def file_kind(tables: Iterable[str]) -> str:
    """Return ``trial`` or ``machine`` by the tables of a file; empty if it is neither."""
    present = frozenset(tables)
    if TRIAL in present:
        return TRIAL
    counts = {kind: len(present & own) for kind, own in _TABLES.items()}
    best = max(counts, key=lambda kind: counts[kind])
    return best if counts[best] else ""


def refuse_other_kind(tables: Iterable[str], file: str, wanted: str) -> None:
    """Raise InputError if a file is of the other kind."""
    kind = file_kind(tables)
    if kind not in ("", wanted):
        raise input_error(
            file,
            "",
            _NAMES[kind],
            _NAMES[wanted],
            f"give another file here; a {kind} is for: {_COMMANDS[kind]}",
        )
