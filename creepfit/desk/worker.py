"""Long work beside the pages: one at a time, the newest question first, the last answer kept until there is another."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

KEPT, KEPT_ASIDE = 60, 5000
"""Answers that are kept, and of those that are not urgent, which are small; of either the ones asked for last."""


@dataclass(frozen=True)
class Outcome:
    """What came of a question: the answer or the error, and the state of the files it is about."""

    state: str
    answer: Any = None
    error: Exception | None = None


class Worker:
    """A thread that works out answers. Of several questions about one thing only the newest is worked out."""

    def __init__(self) -> None:
        self._ready = threading.Condition()
        self._waiting: OrderedDict[str, tuple[str, Callable[[], Any]]] = OrderedDict()
        self._done: OrderedDict[str, Outcome] = OrderedDict()
        self._aside: set[str] = set()
        self._thread: threading.Thread | None = None
        self._running: tuple[str, str] | None = None
        self._closed = False

    def ask(
        self, about: str, state: str, work: Callable[[], Any], wait: float = 0.0, urgent: bool = True
    ) -> Outcome | None:
        """Ask a question and return the last answer there is, which is of `state` where that is worked out already.

        Parameters
        ----------
        about : str
            What the question is about: a new one about the same thing takes the place of one that is still waiting.
        state : str
            Of the files, and of what else the answer depends on.
        work : callable
            Works it out.
        wait : float
            Seconds to wait for it.
        urgent : bool
            Before all others that wait, or behind them.
        """
        with self._ready:
            (self._aside.discard if urgent else self._aside.add)(about)
            done = self._done.get(about)
            if done is not None and done.state == state:
                self._done.move_to_end(about)
                return done
            if self._running != (about, state):
                self._waiting[about] = (state, work)
                self._waiting.move_to_end(about, last=urgent)
            self._start()
            self._ready.notify_all()
            if wait > 0.0:
                self._ready.wait_for(lambda: self._is_done(about, state) or self._is_overtaken(about, state), wait)
            return self._done.get(about)

    def _is_done(self, about: str, state: str) -> bool:
        done = self._done.get(about)
        return self._closed or (done is not None and done.state == state)

    def _is_overtaken(self, about: str, state: str) -> bool:
        """Whether a newer question about the same took the place of this one."""
        waiting = self._waiting.get(about)
        return self._running != (about, state) and (waiting is None or waiting[0] != state)

    def close(self) -> None:
        """Let the thread end after what it is at."""
        with self._ready:
            self._closed = True
            self._waiting.clear()
            self._ready.notify_all()

    def _start(self) -> None:
        if self._thread is None and not self._closed:
            self._thread = threading.Thread(target=self._work, name="creepfit-desk", daemon=True)
            self._thread.start()

    def _work(self) -> None:
        while True:
            with self._ready:
                self._ready.wait_for(lambda: self._waiting or self._closed)
                if self._closed:
                    return
                about, (state, work) = self._waiting.popitem()
                self._running = (about, state)
            try:
                outcome = Outcome(state, work())
            except Exception as error:  # shown on the page that asked
                outcome = Outcome(state, error=error)
            with self._ready:
                self._running = None
                self._done[about] = outcome
                self._done.move_to_end(about)
                self._forget()
                self._ready.notify_all()

    def _forget(self) -> None:
        """Let go of what was asked for longest ago."""
        for aside, most in ((False, KEPT), (True, KEPT_ASIDE)):
            of_kind = [about for about in self._done if (about in self._aside) == aside]
            for about in of_kind[:-most]:
                del self._done[about]
                self._aside.discard(about)
