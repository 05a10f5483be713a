"""Shares work among processes, and lets go of it at once when interrupted."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")


def share_out(
    function: Callable[[Item], Result], items: Sequence[Item], workers: int
) -> Iterator[Result]:
    """Yield the result of each item, in order; one worker means this very process.

    An interrupt, or an error in one item, ends the iteration and the items at work at once.
    """
    if workers <= 1:
        yield from map(function, items)
        return
    pool = ProcessPoolExecutor(workers, initializer=_begin)
    try:
        yield from pool.map(function, items)
    except BaseException:
        for child in multiprocessing.active_children():
            child.terminate()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _begin() -> None:
    """Leave an interrupt, which a terminal sends to every process, to the one that shares out.

    A worker does not outlive that one, however it ended.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
