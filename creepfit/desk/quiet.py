"""Files that other programs write while the desk reads them: they are waited for, so that no half a file is shown."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TypeVar

from creepfit.errors import InputError

T = TypeVar("T")
Stamp = tuple[str, int, int, int]
"""Path of a file, when it was written [ns], its size and its number; zeros where there is none."""

QUIET = 0.15
"""Seconds since its last change from which on a file counts as whole."""

HALF_WRITTEN = 1.0
"""Seconds for which what is wrong with a file may be that it is still being written; and the longest wait for one."""


def stamps(paths: Iterable[Path]) -> tuple[Stamp, ...]:
    """Return what tells that a file is not the one it was, without reading it."""
    stamps: list[Stamp] = []
    for path in paths:
        try:
            status = path.stat()
            stamps.append((str(path), status.st_mtime_ns, status.st_size, status.st_ino))
        except OSError:
            stamps.append((str(path), 0, 0, 0))
    return tuple(stamps)


class Quiet:
    """Knows what the desk wrote itself, which is whole at once."""

    def __init__(self) -> None:
        self._own: dict[str, Stamp] = {}

    def note(self, paths: Iterable[Path]) -> None:
        """Take note of files that the desk has just written."""
        self._own.update({stamp[0]: stamp for stamp in stamps(paths)})

    def since(self, paths: Iterable[Path]) -> float:
        """Return the seconds since another program changed one of the files, or took it away."""
        return min((self._age(stamp) for stamp in stamps(paths)), default=math.inf)

    def _age(self, stamp: Stamp) -> float:
        if self._own.get(stamp[0]) == stamp:
            return math.inf
        written = stamp[1]
        if not written:  # some programs take a file away and put the new one in its place
            written = next((s[1] for s in stamps([Path(stamp[0]).parent])), 0)
        return abs(time.time() - written * 1e-9)  # of another machine's clock, which may be ahead

    def wait(self, paths: Iterable[Path]) -> None:
        """Wait until none of the files changes any more, but not for ever: a logger may go on for weeks."""
        paths = tuple(paths)
        end = time.monotonic() + HALF_WRITTEN
        while self.since(paths) < QUIET and time.monotonic() < end:
            time.sleep(0.02)

    def steady(self, files: Callable[[], Iterable[Path]], read: Callable[[], T]) -> T:
        """Return what is read of files that stay as they are meanwhile.

        Parameters
        ----------
        files : callable
            Names them; may raise InputError, as `read` may.
        read : callable
            Called again where a file changed meanwhile, or where it fails on one that was changed just now.
        """
        end = time.monotonic() + HALF_WRITTEN
        named: tuple[Path, ...] = ()
        while True:
            try:
                named = tuple(files())
                self.wait(named)
                before = stamps(named)
                content = read()
                if stamps(named) == before or time.monotonic() > end:
                    return content
            except InputError:
                if self.since(named) > HALF_WRITTEN or time.monotonic() > end:
                    raise
            time.sleep(0.05)
