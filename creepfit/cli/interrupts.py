"""Ctrl-C, of which a command is told even where Python hands it on as another error."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType


@contextmanager
def noticed_interrupts() -> Iterator[list[int]]:
    """Context with the interrupts so far.

    One that comes while a class is made or a module of numpy is loaded ends as a RuntimeError or an ImportError.
    """
    noticed: list[int] = []

    def notice(number: int, frame: FrameType | None) -> None:
        noticed.append(number)
        signal.default_int_handler(number, frame)

    usual = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if not usual or threading.current_thread() is not threading.main_thread():
        yield noticed
        return
    signal.signal(signal.SIGINT, notice)
    try:
        yield noticed
    finally:
        signal.signal(signal.SIGINT, signal.default_int_handler)
