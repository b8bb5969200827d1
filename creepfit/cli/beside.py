"""A second process that draws the figures of a page while the command fits, and loads matplotlib for that.

It is a copy of the command's process, made when all is loaded that both need. Where there is none, or it comes to nothing,
the command draws by itself, and every fault shows where it would show without.
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

    from creepfit.report.page.run_figures import DrawRun, RunFigures


@contextmanager
def drawing_beside(wanted: bool) -> Iterator[DrawRun | None]:
    """Context with who draws beside this process; None where that is not wanted, not safe, or not worth it."""
    if not wanted or not _worth_a_copy():
        yield None
        return
    from multiprocessing import get_context

    import_module("creepfit.report.page.html")  # once, and not in both
    copies = get_context("fork")
    here, there = copies.Pipe()
    process = copies.Process(target=_draw, args=(here, there), daemon=True)
    try:
        process.start()
    except OSError:  # no more processes, or no memory for one
        yield None
        return
    there.close()
    try:
        yield _Beside(here).begin
    finally:
        process.kill()
        process.join()
        here.close()


def _worth_a_copy() -> bool:
    """Whether matplotlib is still to be loaded, a second core is there, and no thread, which a copy might wait for in vain.

    macOS does not stand copies of processes, Windows has none.
    """
    if sys.platform != "linux" or "matplotlib" in sys.modules:
        return False
    try:
        threads = len(os.listdir("/proc/self/task"))
    except OSError:
        return False
    return threads == 1 and len(os.sched_getaffinity(0)) > 1


class _Beside:
    """The command's end: what is to be drawn goes there, one run after another."""

    def __init__(self, there: Connection) -> None:
        self._there = there
        self._drawing = False

    def begin(self, *what: Any) -> Callable[[], RunFigures]:
        """Tell the other process what to draw; what is returned waits for it."""
        if self._drawing:  # for a run that came to nothing
            self._received()
        try:
            self._there.send_bytes(pickle.dumps(what))
        except (OSError, AttributeError, TypeError, pickle.PicklingError):  # it is gone, or what cannot be sent
            return lambda: _load()(*what)
        self._drawing = True
        return lambda: self._received() or _load()(*what)

    def _received(self) -> RunFigures | None:
        """What the other process drew; None where it is gone."""
        self._drawing = False
        with suppress(EOFError, OSError):
            figures: RunFigures = self._there.recv()
            return figures
        return None


def _draw(other_end: Connection, here: Connection) -> None:
    """Draw what is asked for until nobody asks any more; what goes wrong is left to the one who asked."""
    other_end.close()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the command, which ends this process
    # what is asked is taken at once, even while modules are loaded, or the command would wait to get rid of it
    loading = threading.Thread(target=_load)
    loading.start()
    with suppress(Exception):
        while True:
            asked = here.recv_bytes()
            loading.join()
            here.send(_load()(*pickle.loads(asked)))


def _load() -> Callable[..., RunFigures]:
    from creepfit.report.page.drawn import run_figures

    return run_figures
