"""Shares work among processes, and lets go of it at once when interrupted."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")


def share_out(
    function: Callable[[Item], Result], items: Sequence[Item], workers: int
) -> Iterator[Result]:
    """Yield the result of each item, in order; one worker means this very process.

    An interrupt, or an error in one item, ends the iteration as soon as the items at work are done.
    """
    if workers <= 1:
        yield from map(function, items)
        return
    pool = ProcessPoolExecutor(workers, initializer=_ignore_interrupts)
    try:
        yield from pool.map(function, items)
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _ignore_interrupts() -> None:
    """Leave an interrupt, which a terminal sends to every process, to the one that shares out."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
