"""An interrupt from the keyboard is one word to the user, whatever ran when it came.

Python raises it in the middle of anything. In a constructor it leaves half an object, whose
destructor then complains; in a destructor, or where compiled code calls back, it is printed and
forgotten, and the command would go on.
"""

from __future__ import annotations

import _thread
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, Timer, current_thread, main_thread
from types import FrameType
from typing import Any

MOMENT_S = 0.01


@contextmanager
def one_interrupt_ends_it() -> Iterator[Event]:
    """Within this, complaints that follow an interrupt are silent and a lost one is raised again.

    Catch the interrupt within it as well: the objects that it holds go when it is forgotten.
    Yields whether one came. Leaves an interrupt that the caller ignores, or answers in a way of its own, as it is.
    """
    came = Event()
    if not _python_answers():
        yield came
        return
    hook = sys.unraisablehook

    def raise_it(number: int, frame: FrameType | None) -> None:
        came.set()
        signal.default_int_handler(number, frame)

    def complain(trouble: Any) -> None:
        if issubclass(trouble.exc_type, KeyboardInterrupt):
            # Not from here: it would end this function, and be lost once more.
            Timer(MOMENT_S, _thread.interrupt_main).start()
        elif not came.is_set():
            hook(trouble)

    signal.signal(signal.SIGINT, raise_it)
    sys.unraisablehook = complain
    try:
        yield came
    finally:
        sys.unraisablehook = hook
        signal.signal(signal.SIGINT, signal.default_int_handler)


def _python_answers() -> bool:
    if current_thread() is not main_thread():
        return False
    return signal.getsignal(signal.SIGINT) is signal.default_int_handler
