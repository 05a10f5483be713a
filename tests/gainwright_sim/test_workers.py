"""Sharing work among processes: an error lets go of items at work, and leaves no process behind."""

from __future__ import annotations

import multiprocessing
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import pytest

from gainwright_sim.campaign.workers import share_out


def squared(number: int) -> int:
    return number * number


def held(folder: Path, number: int) -> None:
    """The first item fails once the second is at work, which lasts until it may end."""
    if number == 0:
        while not (folder / "at work").exists():
            time.sleep(0.01)
        raise ArithmeticError("the first item")
    (folder / "at work").touch()
    while not (folder / "may end").exists():
        time.sleep(0.01)
    (folder / "ended by itself").touch()


@pytest.mark.parametrize("workers", [1, 2])
def test_results_come_in_order(workers):
    assert list(share_out(squared, range(7), workers)) == [k * k for k in range(7)]


def test_an_error_ends_items_at_work(tmp_path, monkeypatch):
    """When the pool is closed nothing may be at work any more: whoever still is may end then."""
    close = ProcessPoolExecutor.shutdown

    def shutdown(self, *arguments, **named):
        (tmp_path / "may end").touch()
        close(self, *arguments, **named)

    monkeypatch.setattr(ProcessPoolExecutor, "shutdown", shutdown)
    with pytest.raises(ArithmeticError):
        list(share_out(partial(held, tmp_path), range(2), 2))
    assert not (tmp_path / "ended by itself").exists()
    assert not multiprocessing.active_children()
