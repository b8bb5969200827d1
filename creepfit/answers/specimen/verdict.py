"""One new reading: how far it moved, whether that was forecast, what it makes doubtful, and when the next is worth most."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from creepfit.answers.doubts.breaks import it_broke
from creepfit.answers.doubts.collected import check_run
from creepfit.answers.doubts.mistyped import Mistyped, mistyped_reading
from creepfit.answers.doubts.withheld import withheld_at
from creepfit.answers.heading import heading_without_fit
from creepfit.answers.interval import Caution, Interval, interval
from creepfit.answers.specimen.first_day import ToDo
from creepfit.answers.specimen.schedule import next_reading
from creepfit.answers.specimen.to_take import to_take
from creepfit.answers.wording import moment, size
from creepfit.errors import CreepfitError
from creepfit.inference.columns import observations
from creepfit.inference.fitting import fit
from creepfit.inference.freest_curve import FreestCurve
from creepfit.inference.next_reading import joint_correlation, next_readings
from creepfit.inference.run_fit import Fit
from creepfit.records.begun import BegunRun
from creepfit.records.run import Reading, Run
from creepfit.units import DAY, HOUR, show_number, show_time

if TYPE_CHECKING:
    from pandas import DataFrame

SLOW_CLOCK = timedelta(minutes=5)
"""By how much a reading may be ahead of the computer's clock."""

FAR = 3.0
"""Half widths of its interval from which on a reading is no bad luck any more."""


@dataclass(frozen=True)
class ReadingVerdict:
    """What a reading says beside those before it.

    `change` since the reading before (None for the first), mm or strain, as the gauge shows it; `forecast` what it was to
    show by the readings before it at `level`, None with the reason in `why`; `cautions` those it raises anew; `doubted` the
    reading, this one or another, that was rather mistyped.
    """

    run: Run
    reading: Reading
    before: Reading | None
    forecast: Interval | None
    level: float
    why: str | None
    cautions: tuple[Caution, ...]
    doubted: Mistyped | None = None

    @property
    def unit(self) -> str:
        return self.run.unit

    @property
    def change(self) -> float | None:
        return None if self.before is None else self.reading.value - self.before.value

    @cached_property
    def next(self) -> tuple[ToDo, ...]:
        """What to read next, see `what_next`; takes a fit with the reading in it."""
        return what_next(self.run)

    @property
    def readable(self) -> tuple[float, float] | None:
        """Ends of the forecast as the gauge can show them, which is never narrower; None without one."""
        if self.forecast is None:
            return None
        step = self.run.gauge.resolution
        low, high = self.forecast.low / step, self.forecast.high / step
        return float(np.floor(low + 1e-6) * step), float(np.ceil(high - 1e-6) * step)

    @property
    def as_forecast(self) -> bool | None:
        """Whether it fell into its interval, as far as the gauge can show; None without a forecast."""
        if self.readable is None:
            return None
        little = 1e-6 * self.run.gauge.resolution
        return self.readable[0] - little <= self.reading.value <= self.readable[1] + little

    @property
    def text(self) -> str:
        """In one line, without a full stop."""
        twice = "the same reading stands at that time already: was it typed twice?" if self.is_double else ""
        return "; ".join(part for part in (twice, self._moved(), self._foreseen(), self._still_doubted()) if part)

    @property
    def is_double(self) -> bool:
        """Whether the same was read at the same time before."""
        own = self.reading.time, self.reading.value
        return sum((r.time, r.value) == own for r in self.run.used) > 1

    def _moved(self) -> str:
        if self.before is None or self.change is None:
            return "the first reading"
        since = self._since(self.before)
        step = self.run.gauge.resolution
        if abs(self.change) < 0.5 * step:
            return f"the same as {since}"
        more = "more" if self.change > 0.0 else "less"
        return f"{size(abs(self.change), self.unit, 3)} {more} than {since}"

    def _since(self, before: Reading) -> str:
        gap = self.reading.time - before.time
        if self.run.began is not None:
            days = [(self.run.began + timedelta(seconds=r.time)).date() for r in (before, self.reading)]
            if (days[1] - days[0]).days == 1 and gap > 0.5 * DAY:
                return "yesterday"
        return f"{_rough(gap)} before"

    def _foreseen(self) -> str:
        if self.forecast is None or self.readable is None:
            if self.run.broke_at is not None and self.why is not None:
                return self.why
            return "" if self.why is None else f"no forecast to hold it against: {self.why}"
        factor, unit = (100.0, "%") if self.unit == "1" else (1.0, self.unit)
        ends = [show_number(factor * end, error=10.0 * factor * self.run.gauge.resolution) for end in self.readable]
        shown = f"{ends[0]} to {ends[1]} {unit} ({100.0 * self.level:g} %)"
        if self.as_forecast:
            return f"as forecast, {shown}"
        side = "above" if self.reading.value > self.forecast.high else "below"
        half = 0.5 * (self.forecast.high - self.forecast.low)
        off = abs(self.reading.value - self.forecast.median)
        if off > FAR * half:
            return f"far {side} the forecast of {shown}: read the gauge again, and look whether anything moved"
        return f"{side} the forecast of {shown}"

    def _still_doubted(self) -> str:
        if self.doubted is None or self.doubted.reading == self.reading:
            return ""
        wrong = self.doubted.reading
        typed = size(wrong.value, self.unit, 6)
        return f"the reading at {moment(wrong)}, {typed}, is still doubted: {self.doubted.meant} would fit"

    def table(self) -> DataFrame:
        """One row: the reading and its forecast."""
        from creepfit.whole_table import WholeTable

        return WholeTable([self.to_dict()["reading"]])

    def to_dict(self) -> dict[str, Any]:
        """What ``add --json`` prints of the reading."""
        return {
            **heading_without_fit(self.run.label, self.level),
            "reading": {
                "time_h": self.reading.time / HOUR,
                "value": self.reading.value,
                "unit": self.unit,
                "change": self.change,
                "forecast": None if self.forecast is None else self.forecast.to_dict(),
                "as_forecast": self.as_forecast,
                "why": self.why,
            },
            "text": self.text,
            "doubted": None if self.doubted is None else self.doubted.to_dict(),
            "cautions": [c.to_dict() for c in self.cautions],
            "next_readings": [todo.to_dict() for todo in self.next],
        }


def read_ahead(run: Run | BegunRun | None, where: str | None, now: datetime) -> str:
    """Say that a reading lies in the future, as "16:30" typed in the morning does; "" where it does not."""
    reading = None if run is None or run.began is None else next((r for r in run.readings if r.where == where), None)
    if run is None or run.began is None or reading is None:
        return ""
    taken = run.began + timedelta(seconds=reading.time)
    now = now if taken.tzinfo is None else now.astimezone(taken.tzinfo)
    if taken <= now + SLOW_CLOCK:
        return ""
    return f"that is in the future: {taken:%Y-%m-%d %H:%M}, and by this computer it is {now:%Y-%m-%d %H:%M}"


def verdict(run: Run, where: str) -> ReadingVerdict:
    """Judge one reading of a run by those before it.

    Parameters
    ----------
    run : Run
        With the reading in it.
    where : str
        The reading's place, as in `Reading.where`.
    """
    reading = next(r for r in run.readings if r.where == where)
    earlier = tuple(r for r in run.readings if r.time < reading.time and r.where != where)
    old = replace(run, readings=earlier)
    forecast, level, why = _forecast(run, old, reading)
    cautions: tuple[Caution, ...] = ()
    doubted = None
    if any(r.time > 0.0 for r in old.used) and not _set_anew(old, reading):
        try:
            others = replace(run, readings=tuple(r for r in run.readings if r.where != where))
            known = {c.code for c in check_run(others)}
            cautions = tuple(c for c in check_run(run) if c.code not in known)
            doubted = mistyped_reading(run, FreestCurve(observations(run)))
        except CreepfitError:
            cautions = ()
    wrong = None if doubted is None else doubted.reading.where
    before = next((r for r in reversed(earlier) if r.skip is None and r.where != wrong), None)
    return ReadingVerdict(run, reading, before, forecast, level, why, cautions, doubted)


def _set_anew(old: Run, reading: Reading) -> bool:
    """Whether the gauge has a zero of its own since the last reading before."""
    return any(not e.ends_run and old.used[-1].time <= e.at < reading.time for e in old.events)


def _forecast(run: Run, old: Run, reading: Reading) -> tuple[Interval | None, float, str | None]:
    """What the reading was to be by those before it."""
    level = 0.9
    if run.broke_at is not None and (reading.time >= run.broke_at or reading.skip is not None):
        return None, level, f"{it_broke(run)}; there is nothing to read again"
    if not any(r.time > 0.0 for r in old.used):
        return None, level, None
    if _set_anew(old, reading):
        return None, level, "the gauge was set anew since the reading before"
    try:
        fitted = fit(old)
        instead = withheld_at(fitted, reading.time)
        if instead is not None and instead.of == "all":
            because = f", as {instead.because}" if instead.because else ""
            return None, fitted.level, f"no answer of the readings before it holds{because}"
        whole = observations(run)
        place = next(i for i, r in enumerate(run.used) if r.where == reading.where)
        time = np.array([reading.time])
        joint = joint_correlation(fitted.observed.noise, fitted.observed.times, time)
        ahead = next_readings(fitted.draws, whole.history, time, joint)
    except (CreepfitError, StopIteration) as error:
        return None, level, str(error) or "the reading does not belong to the run any more"
    shown = reading.value + run.gauge.sign * (ahead.sample(fitted.seed)[:, 0] - float(whole.values[place]))
    return interval(shown, fitted.level), fitted.level, None


def what_next(run: Run) -> tuple[ToDo, ...]:
    """Readings on this specimen that would narrow the forecast, the best first, with dates where they are known."""
    try:
        fitted: Fit = fit(run)
        return to_take(next_reading(fitted))
    except CreepfitError:
        return ()


def _rough(seconds: float) -> str:
    """A gap between two readings, to a sixtieth."""
    unit = next(u for u in (HOUR, 60.0, 1.0) if seconds >= 6.0 * u or u == 1.0)
    return show_time(max(round(seconds / unit), 1) * unit)
