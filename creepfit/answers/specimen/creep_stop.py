"""When does creep stop? When the change over a window stays under a threshold, always with what is still to come.

On a logarithmic time axis creep that follows t^n never stops; a model that levels off (n < 0) is no stop either, as the
readings of a short test cannot tell it from one that does not.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from creepfit.answers.heading import heading
from creepfit.answers.interval import Interval, in_hours
from creepfit.answers.outlook import Outlook, outlook_under
from creepfit.answers.specimen.increments import Increment, increments, over_a_decade
from creepfit.answers.wording import size, size_with_range
from creepfit.asked import asked_size, asked_time
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit
from creepfit.inference.response import Predicted
from creepfit.inference.run_fit import asked_fit
from creepfit.mechanics.loading import Array
from creepfit.shown import Tabled
from creepfit.units import DAY, HOUR, show_time

FURTHEST = 10.0
"""A stop is looked for up to ten times the test: one decade is the preferred limit of an extrapolation."""

LONGEST_PACE = 5.0
"""Lengths of the test up to which a pace is given: a test of minutes says nothing of a week."""

NOTHING = 0.01
"""Share of what the gauge resolves below which a change is called none: models at rest leave 1e-12 mm."""

ALL_BUT = 0.1
"""What two octaves of time bring, over what the last two of the test did, below which creep all but stops: t^n and a
logarithm bring as much again or more."""

SHARE = 0.01
"""Default threshold as a share of the deformation at the end of the test."""


@dataclass(frozen=True)
class Pace:
    """What the time after the last reading under load brings: less than `below` [mm or strain] in `window` [s]."""

    window: float
    below: float
    probability: float

    def to_dict(self, unit: str) -> dict[str, Any]:
        return {"window_h": self.window / HOUR, "less_than": self.below, "unit": unit, "probability": self.probability}


@dataclass(frozen=True, repr=False)
class CreepStop(Tabled):
    """When the change over a window is under the threshold, and what is still to come.

    Attributes
    ----------
    threshold, threshold_from : float, str
        In `unit`, and where it comes from.
    window : float
        s.
    time : float or None
        Earliest time since first loading, not before the end of the readings, from which the change over the window is
        under the threshold with probability `level`, s; None where `why` says so.
    by, still_to_come : float, Interval
        Change, counted along the load, from the last reading under load to `by` [s] under the working load.
    end_of_data : float
        Last reading under load, s.
    pace : tuple of Pace
        What the next day and the next window bring at most, with which probability.
    fades : float or None
        Time from which the forecast brings next to nothing more although creep goes on at the end of the test, s.
    stopped : str
        "no", "gauge only", "material" or "cannot be told"; `sentence` says it in words.
    """

    threshold: float
    threshold_from: str
    window: float
    time: float | None
    why: str
    by: float
    still_to_come: Interval
    end_of_data: float
    pace: tuple[Pace, ...]
    stopped: str
    sentence: str
    unit: str
    level: float
    fit: Fit = field(repr=False)
    fades: float | None = None

    @property
    def fading(self) -> str:
        """That creep that goes on all but stops by the forecast, to go on behind a sentence; "" where it does not."""
        return "" if self.fades is None else f", and by the forecast it all but stops within {show_time(self.fades)}"

    @property
    def headline(self) -> str:
        return f"{self.fit.label}. {self.sentence}"

    def contents(self) -> dict[str, Any]:
        """The answer without its heading, as it stands inside a fit."""
        return {
            "threshold": self.threshold,
            "threshold_from": self.threshold_from,
            "unit": self.unit,
            "window_h": self.window / HOUR,
            "time_h": in_hours(self.time),
            "why": self.why,
            "still_to_come": {
                "from_h": self.end_of_data / HOUR,
                "by_h": self.by / HOUR,
                **self.still_to_come.to_dict(),
                "unit": self.unit,
            },
            "pace": [p.to_dict(self.unit) for p in self.pace],
            "stopped": self.stopped,
            "fades_h": in_hours(self.fades),
            "sentence": self.sentence,
        }

    def to_dict(self) -> dict[str, Any]:
        return {**heading(self.fit, self.level), "creep_stop": self.contents()}

    def _rows(self) -> list[dict[str, Any]]:
        """One row."""
        return [self.contents()]


def creep_stop(
    fit: Fit,
    window: str | float = "7 d",
    threshold: str | float | None = None,
    by: str | float = "1 year",
    *,
    level: str | float | None = None,
) -> CreepStop:
    """Earliest time from which the change over a window is under a threshold, the working load held.

    Parameters
    ----------
    fit : Fit
    window, by : str or float
        Times ("7 d") or s; `by` counts from first loading.
    threshold : str or float, optional
        Length ("0.01 mm"), or strain for a run in strain; by default the larger of the gauge's resolution and 1 % of
        the deformation at the end of the test.
    level : float, optional
        Probability that the change is under the threshold, and of the interval; the fit's own if not given.

    Raises
    ------
    InputError
        A window, threshold or level that is none, or `by` not after the last reading under load.
    """
    fit = asked_fit(fit)
    end = fit.run.test_length
    span, until = asked_time(window, "window"), asked_time(by, "by")
    if until <= end:
        expected = f"a time after the last reading under load, {show_time(end)}"
        raise InputError(key="by", found=show_time(until), expected=expected)
    ahead = outlook_under(fit, fit.run.working_history, level)
    limit, origin = _threshold(ahead, threshold, end)
    time, why = _earliest(ahead, end, span, limit)
    left = _change(ahead, end, until)
    to_come = left.interval(ahead.level)
    pace = _pace(ahead, end, span)
    stopped, sentence = _stopped(ahead, left, until, limit)
    words = f"{_practical(pace, fit.unit)} {sentence}"
    fades = _fades(ahead, end, until) if stopped == "no" else None
    made = CreepStop(
        limit, origin, span, time, why, until, to_come, end, pace, stopped, words, fit.unit, ahead.level, fit, fades
    )
    return made if fades is None else replace(made, sentence=f"{words.removesuffix('.')}{made.fading}.")


def _fades(ahead: Outlook, end: float, until: float) -> float | None:
    """When the median forecast of creep that goes on all but stops, s; None where it does not, or several loads were on."""
    run = ahead.fit.run
    if until <= 4.0 * end or len({step.value for step in run.steps if step.value != 0.0}) > 1:
        return None
    times = np.concatenate([[0.25 * end], np.geomspace(end, 0.25 * until, 33), [until]])
    curve = ahead.fit.observed.direction * np.median(ahead.response(times).draws, axis=0)
    little = curve[-1] - curve[1:-1] < ALL_BUT * (curve[1] - curve[0])
    if not little[-1]:
        return None
    found = float(times[1:-1][int(np.argmax(little))])
    return float(np.ceil(found / DAY) * DAY) if found > 2.0 * DAY else found


def _threshold(ahead: Outlook, given: str | float | None, end: float) -> tuple[float, str]:
    fit = ahead.fit
    if given is not None:
        return asked_size(given, fit.run.specimen.reading_quantity, "threshold"), "as asked"
    resolution = fit.run.gauge.resolution
    if fit.observed.has_initial:
        deformation = float(np.median(np.abs(ahead.response(np.array([end])).draws)))
        name = f"1 % of the {fit.quantity} at the end of the test"
    else:
        deformation, name = fit.observed.scale, "1 % of the change the readings show (there is no initial reading)"
    share = SHARE * deformation
    return (share, name) if share > resolution else (resolution, "the gauge's resolution")


def _earliest(ahead: Outlook, end: float, window: float, limit: float) -> tuple[float | None, str]:
    """The time and the words beside it; the crossing is bracketed on a coarse grid and refined on a fine one."""
    level, unit = ahead.level, ahead.fit.unit
    times = np.geomspace(end, FURTHEST * end, 41)
    sure = _probability(ahead, times, window, limit) >= level
    words = f"the next {show_time(window)} bring less than {size(limit, unit)} with probability {level:g}"
    if sure[0]:
        return end, f"from the last reading under load on, {words}; the readings do not tell since when"
    if not sure.any():
        return None, f"not within ten times the test ({show_time(FURTHEST * end)}) can it be said that {words}"
    k = int(np.argmax(sure))
    fine = np.geomspace(times[k - 1], times[k], 33)
    first = fine[int(np.argmax(_probability(ahead, fine, window, limit) >= level))]
    return float(first), f"from then on, {words}"


def _probability(ahead: Outlook, times: Array, window: float, limit: float) -> Array:
    """Probability, shape (T,), that the change over the next window is under the limit."""
    ends = ahead.response(np.concatenate([times, times + window]))
    change = ends.map(lambda draws: draws[:, times.size :] - draws[:, : times.size])
    return change.least(lambda draws: np.abs(draws) < limit)


def _change(ahead: Outlook, start: float, until: float) -> Predicted:
    """Change between two times under the working load, counted along it.

    Under a load that is held nothing creeps back, so draws whose model discrepancy says so count as no change, and so do
    those that say less than any gauge shows.
    """
    direction, least = ahead.fit.observed.direction, _nothing(ahead.fit)
    ends = ahead.response(np.array([start, until]))

    def along(draws: Array) -> Array:
        change = direction * (draws[:, 1] - draws[:, 0])
        return np.where(change < least, 0.0, change)

    return ends.map(along)


def _nothing(fit: Fit) -> float:
    """A change that is none, mm or strain."""
    return NOTHING * fit.run.gauge.resolution


def _pace(ahead: Outlook, end: float, window: float) -> tuple[Pace, ...]:
    """What the next day and the next window bring at most, in tests that lasted as long as a fifth of that."""
    sure = 0.5 + ahead.level / 2.0
    spans = sorted({s for s in (DAY, window) if s <= LONGEST_PACE * end} or {min(DAY, window)})
    most = [max(float(_change(ahead, end, end + s).highest(sure)), _nothing(ahead.fit)) for s in spans]
    return tuple(Pace(s, below, sure) for s, below in zip(spans, most, strict=True))


def _practical(pace: tuple[Pace, ...], unit: str) -> str:
    """The verdict in the tester's terms."""
    parts = [f"less than {size(p.below, unit)} in the next {show_time(p.window)}" for p in pace]
    return f"From the last reading under load on it moves {' and '.join(parts)}, with probability {pace[0].probability:g}."


def _stopped(ahead: Outlook, left: Predicted, by: float, limit: float) -> tuple[str, str]:
    """Whether the material or only the gauge stopped: the last change read, its error, and what is still to come.

    The material has stopped where less than the threshold is still to come with the probability asked for.
    """
    fit, level = ahead.fit, ahead.level
    to_come = left.interval(level)
    rows = [r for r in increments(fit, level) if r.change is not None]
    future = f"{size_with_range(to_come, fit.unit)} still to come by {show_time(by)}, level {level:g}"
    if not rows:
        return "cannot be told", f"No two readings under one load and one zero to compare; the models see {future}."
    last = rows[-1]
    change = last.change or 0.0
    read = _read(last)
    if last.distinguishable and change * fit.observed.direction > 0.0:
        return "no", f"Creep goes on: {read}, more than the gauge's noise; {future}."
    if to_come.low > limit:
        decade = over_a_decade(fit, level)
        if decade is not None and decade.distinguishable and (decade.change or 0.0) * fit.observed.direction > 0.0:
            slowly = "though the last two readings alone do not show it"
            return "no", f"Creep goes on: {_read(decade)}, more than the gauge's noise, {slowly}; {future}."
        return "gauge only", (
            f"Only the gauge has stopped, not the material: {read}, which it cannot tell from zero, yet there is {future}."
        )
    quiet = float(left.least(lambda draws: draws < limit))
    if quiet >= level:
        return "material", (
            f"The material has stopped as far as the threshold of {size(limit, fit.unit)} goes, with probability "
            f"{min(quiet, 0.99):.2f}: {read}; {future}."
        )
    return "cannot be told", (
        f"Whether the material or only the gauge has stopped cannot be told yet: {read}, "
        f"which it cannot tell from zero; {future}."
    )


def _read(row: Increment) -> str:
    """What was read between two readings."""
    change, error = (size(v or 0.0, row.unit) for v in (row.change, row.std_error))
    return (
        f"between {show_time(row.start)} and {show_time(row.end)} the reading changed by {change}, standard error {error}"
    )
