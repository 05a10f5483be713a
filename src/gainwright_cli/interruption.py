"""An interrupt from the keyboard is one word to the user, whatever ran when it came.

Python raises it in the middle of anything. In a constructor it leaves half an object, whose
destructor then complains; in a destructor, where compiled code calls back, or in a library that
passes over every error while it loads, it is forgotten, and the command would go on.
"""

from __future__ import annotations

import _thread
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, Thread, current_thread, main_thread
from types import FrameType
from typing import Any

# Longer than any command needs to clear away, shorter than a user's patience.
PATIENCE_S = 2.0


@contextmanager
def one_interrupt_ends_it() -> Iterator[Event]:
    """Within this, complaints that follow an interrupt are silent and a lost one is raised again.

    Catch the interrupt within it as well: the objects that it holds go when it is forgotten.
    Yields whether one came. Leaves as it is an interrupt that the caller ignores or answers in a
    way of its own.
    """
    came, ended = Event(), Event()
    if not _python_answers():
        yield came
        return
    hook = sys.unraisablehook

    def raise_it(number: int, frame: FrameType | None) -> None:
        if not came.is_set():
            came.set()
            Thread(target=_insist, args=(ended,), daemon=True).start()
        signal.default_int_handler(number, frame)

    def complain(trouble: Any) -> None:
        if not came.is_set():
            hook(trouble)

    signal.signal(signal.SIGINT, raise_it)
    sys.unraisablehook = complain
    try:
        yield came
    finally:
        ended.set()
        sys.unraisablehook = hook
        signal.signal(signal.SIGINT, signal.default_int_handler)


def _insist(ended: Event) -> None:
    while not ended.wait(PATIENCE_S):
        if hasattr(signal, "pthread_kill"):
            # A signal of the system: the main thread may wait for a lock, and wakes from that.
            signal.pthread_kill(main_thread().ident, signal.SIGINT)
        else:
            _thread.interrupt_main()


def _python_answers() -> bool:
    if current_thread() is not main_thread():
        return False
    return signal.getsignal(signal.SIGINT) is signal.default_int_handler
