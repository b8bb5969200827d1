"""`creepfit check` on the first day of a run, when there is nothing to fit yet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from creepfit.inference.saved import Saved
    from creepfit.records.begun import BegunRun
    from creepfit.records.run import Run

    Reader = Callable[[], Run | Saved]
    BegunToo = tuple[str, Callable[[], Run | Saved | BegunRun]]


FEWEST = 2
"""Readings up to which a run has only begun."""


def begun_too(sources: Sequence[tuple[str, Reader]]) -> list[BegunToo]:
    """Return the sources with a run that has only begun as what it is, and not as a mistake."""
    return [(name, _reader(read)) for name, read in sources]


def _reader(read: Reader) -> Callable[[], Run | Saved | BegunRun]:
    from creepfit.records.begun import UnfinishedRunError

    def tolerant() -> Run | Saved | BegunRun:
        try:
            return read()
        except UnfinishedRunError as error:
            if error.begun is None:
                raise
            return error.begun

    return tolerant


def as_begun(source: Run | Saved | BegunRun) -> BegunRun | None:
    """Return a run on its first day: with less than three readings a fit would only say what was believed before."""
    from creepfit.inference.saved import Saved
    from creepfit.records.begun import BegunRun

    if isinstance(source, BegunRun):
        return source
    if isinstance(source, Saved) or len(source.used) > FEWEST:
        return None
    return BegunRun.of(source)


def first_day_of(begun: BegunRun) -> tuple[dict[str, Any], str]:
    """Return JSON and text of what can be said of it."""
    from creepfit.answers.specimen.first_day import first_day
    from creepfit.report.text.bench import first_day_text

    day = first_day(begun, datetime.now())
    return day.to_dict(), first_day_text(day)
