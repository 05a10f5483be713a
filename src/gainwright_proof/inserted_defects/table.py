"""The table of inserted defects: each is inserted, and what noticed it stands beside it."""

from __future__ import annotations

import json
import multiprocessing
import os
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass

from gainwright_codegen.host.cache import scratch_cache
from gainwright_proof.inserted_defects.defect import ROOM
from gainwright_proof.inserted_defects.registry import REGISTRY


@dataclass(frozen=True, slots=True)
class Entry:
    """What became of one inserted defect."""

    name: str
    kind: str
    place: str
    noticed_by: tuple[str, ...]
    failed: str = ""
    """Why it could not be inserted or judged; then it counts as not noticed."""


def report(as_json: bool = False, workers: int | None = None) -> int:
    """Print the table; 0 if every defect is noticed, else 1.

    Args:
        as_json: print it as JSON at the end, else a line or two for each defect as it is judged.
        workers: processes; as many as there are processors unless given.
    """
    entries = []
    for number, entry in enumerate(judged(range(len(REGISTRY)), workers), 1):
        entries.append(entry)
        if not as_json:
            _show(number, entry)
    missed = [entry for entry in entries if not entry.noticed_by]
    if as_json:
        print(json.dumps([_as_json(entry) for entry in entries], indent=2))
    else:
        print(f"{len(entries) - len(missed)} of {len(entries)} inserted defects noticed")
    sys.stdout.flush()
    return 1 if missed else 0


def judged(numbers: Sequence[int], workers: int | None = None) -> Iterator[Entry]:
    """Yield what becomes of defects, by their numbers in the registry, in the order given.

    Each process inserts one at a time, so no defect meets another. What is compiled is kept for as
    long as this takes and no longer.
    """
    with scratch_cache(), _processes(workers or os.cpu_count() or 1) as pool:
        yield from pool.map(_judge, numbers)


@contextmanager
def _processes(workers: int) -> Iterator[ProcessPoolExecutor]:
    # New interpreters: a copy of this one would share its solvers and libraries.
    pool = ProcessPoolExecutor(workers, multiprocessing.get_context("spawn"))
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)


def _judge(number: int) -> Entry:
    defect = REGISTRY[number]
    found: tuple[str, ...] = ()
    failed = ""
    try:
        found = defect.noticed_by()
    except Exception as error:  # One that cannot be inserted must not hide the others.
        failed = f"{type(error).__name__}: {error}"
    return Entry(defect.name, defect.kind, defect.place, found, failed)


def _show(number: int, entry: Entry) -> None:
    text = f"noticed by {', '.join(entry.noticed_by[:ROOM])}"
    text += " ..." if len(entry.noticed_by) > ROOM else ""
    print(f"{number:3}  {entry.kind}: {entry.name}  [{entry.place}]")
    missed = f"NOT INSERTED, {entry.failed}" if entry.failed else "NOT NOTICED"
    print(f"       {text if entry.noticed_by else missed}", flush=True)


def _as_json(entry: Entry) -> dict[str, object]:
    known = {"name": entry.name, "kind": entry.kind, "place": entry.place,
             "noticed_by": list(entry.noticed_by)}  # fmt: skip
    return {**known, "failed": entry.failed} if entry.failed else known
