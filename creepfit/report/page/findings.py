"""All that a report says of one run, worked out once: answers at the times asked for, and curves for the figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from creepfit.answers.interval import Caution, Interval, IntervalCurve
from creepfit.answers.specimen.forecast import Forecast, ForecastRow, forecast
from creepfit.answers.specimen.recovery import Recovery, at_least, recovery, unloading_of
from creepfit.answers.specimen.schedule import Schedule, next_reading
from creepfit.answers.specimen.summary import Summary, summarise
from creepfit.asked import asked_times, usual_times
from creepfit.inference.fitting import Fit
from creepfit.inference.model_fit import ModelFit
from creepfit.inference.pooling import PooledFit
from creepfit.inference.response import Predicted, response
from creepfit.mechanics.loading import Array
from creepfit.records.asked_dates import AskedTimes, since_loading
from creepfit.units import DAY, HOUR, MINUTE

POINTS, FEW_POINTS = 48, 28
"""Of a curve over log time, and of one that is only drawn, on a page of many runs."""

AFTER = (MINUTE, HOUR, DAY, 30.0 * DAY)


@dataclass(frozen=True, eq=False)
class Creep:
    """What came after the first reading under load, at `since` [s]: its forecast, and the readings of it.

    Both are counted from the forecast's median there, so that the noise of that one reading moves neither.
    """

    since: float
    curve: IntervalCurve
    times: Array
    readings: Array


@dataclass(frozen=True, eq=False)
class Findings:
    """A run with its answers.

    Attributes
    ----------
    forecast : Forecast
        At the times asked for.
    along : Forecast
        The same load along log time, for figures; its last time is that of the figures.
    """

    fit: Fit = field(repr=False)
    summary: Summary
    forecast: Forecast
    along: Forecast
    recovery: Recovery

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What is doubtful about the forecast at the times asked for."""
        return self.forecast.cautions

    @property
    def label(self) -> str:
        """Material and specimen."""
        return self.fit.run.label

    @cached_property
    def leading(self) -> ModelFit:
        """The best fit of the model that weighs most: what readings are held against, of a pool those of its first run."""
        weights = {name: self.summary.weight(name) or 0.0 for name in self.fit.models}
        most = max(weights, key=lambda name: weights[name])
        best = self.fit.models[most] if weights[most] > 0.0 else self.fit.best
        if not isinstance(self.fit, PooledFit):
            return best
        return replace(best, residuals=best.residuals[self.fit.stacked.slices[0]])

    @property
    def test(self) -> float:
        """Length of the test, s."""
        return self.fit.run.test_length

    @cached_property
    def drawn(self) -> tuple[ForecastRow, ...]:
        """Rows that figures are drawn of: where nothing is promised those within the test alone."""
        beyond = self.along.unpromised is None
        return tuple(row for row in self.along.rows if beyond or row.time <= self.test * (1.0 + 1e-9))

    @cached_property
    def curve(self) -> IntervalCurve:
        """Forecast over log time."""
        rows = self.drawn
        ends = np.array([[r.time, r.interval.low, r.interval.median, r.interval.high] for r in rows])
        return IntervalCurve(*ends.T)

    @cached_property
    def alone(self) -> IntervalCurve | None:
        """Forecast over log time by the specimen's own readings only; None where no run is known."""
        with_known = self.along.with_known
        if with_known is None:
            return None
        last = self.drawn[-1].time
        ends = np.array([[r.time, r.alone.low, r.alone.median, r.alone.high] for r in with_known.rows if r.time <= last])
        return IntervalCurve(*ends.T)

    @cached_property
    def model_lines(self) -> tuple[tuple[str, float, Array], ...]:
        """Name, weight and median over the curve's times of each model, the heaviest first."""
        rows = self.drawn
        lines = {m.model: m.weight for m in rows[0].models}
        shown = [
            (name, weight, np.array([next(m.interval.median for m in r.models if m.model == name) for r in rows]))
            for name, weight in lines.items()
        ]
        return tuple(sorted(shown, key=lambda line: -line[1]))

    @cached_property
    def modulus(self) -> IntervalCurve | None:
        """Creep modulus over log time in MPa; None where it is unknown."""
        last = self.drawn[-1].time
        rows = [(r.time, r.modulus) for r in self.along.modulus.rows if r.time <= last]
        known = [(t, m.low, m.median, m.high) for t, m in rows if m is not None]
        return IntervalCurve(*np.array(known).T) if known else None

    @cached_property
    def creep(self) -> Creep | None:
        """Creep alone over log time; None where there is nothing else, or the first load was another."""
        fit, run = self.fit, self.fit.run
        observed = fit.observed
        under = np.flatnonzero((run.history.at(observed.times) != 0.0) & (observed.times > 0.0))
        first = float(observed.times[under[0]])
        times = self.curve.times[self.curve.times >= first]
        if not observed.has_initial or times.size < 2 or run.steps[0].value != self.forecast.case.peak:
            return None
        whole = self.along.outlook.response(np.append(first, times))
        start = float(np.median(whole.draws[:, 0]))
        ahead = whole.map(lambda draws: draws[:, 1:] - draws[:, :1])
        changed = run.steps[1].at if len(run.steps) > 1 else np.inf
        read = under[observed.times[under] <= changed]
        values = observed.moved[read] - start
        return Creep(first, IntervalCurve(times, *ahead.ends(fit.level)), observed.times[read], values)

    @cached_property
    def schedule(self) -> Schedule:
        """What to read next to know more of the last time asked for."""
        return next_reading(self.fit, min(self.forecast.rows[-1].time, self.fit.horizon))

    @cached_property
    def history(self) -> IntervalCurve:
        """Response under the run's own loads over plain time, up to a tenth beyond the last reading."""
        fit, run = self.fit, self.fit.run
        end = 1.04 * max(float(fit.observed.times[-1]), self.test)
        grid = np.linspace(0.0, end, 90)[1:]
        # a fall or rise is drawn upright: just before and just after each change of load
        corners = np.concatenate([run.history.start, run.history.end])
        near = np.concatenate([corners, corners + 1e-4 * end, corners + 3e-3 * end, corners + 1e-2 * end])
        times = np.unique(np.concatenate([grid, near[(near > 0.0) & (near < end)]]))
        return _curve(fit, response(fit, fit.draws, run.history, times), times)

    @cached_property
    def residual(self) -> IntervalCurve | None:
        """What is left over log time after unloading; None without an initial reading."""
        if not self.fit.observed.has_initial:
            return None
        off = unloading_of(self.fit)
        read = float(self.fit.observed.times[-1]) - off.end
        asked = max(row.after for row in self.recovery.residuals)
        after = np.geomspace(MINUTE, max(3.0 * max(read, self.test, DAY), asked), POINTS)
        left = response(self.fit, self.fit.draws, off.history, off.end + after)
        curve, least, way = _curve(self.fit, left, after), self.recovery.least_left, self.fit.observed.direction
        every = zip(curve.low, curve.median, curve.high, strict=True)
        shown = [at_least(Interval(*ends), least, way) for ends in every]
        low, median, high = np.array([(interval.low, interval.median, interval.high) for interval in shown]).T
        return IntervalCurve(after, low, median, high)


def _curve(fit: Fit, draws: Array, times: Array) -> IntervalCurve:
    return IntervalCurve(times, *Predicted(draws).ends(fit.level))


def find(
    fit: Fit,
    at: Sequence[str | float] = (),
    limit: str | float | None = None,
    life: str | float = "1 year",
    points: int = POINTS,
) -> Findings:
    """Work out what a report says of a run.

    Parameters
    ----------
    fit : Fit
    at : times
        Since first loading, texts or s, or dates; by default the last two of 1 min, 1 h, 1 d, 30 d and 1 year that lie
        within 100 times the data.
    limit, life
        See `forecast`.
    points : int
        Of the curves over log time, besides the times asked for.
    """
    times = asked(fit, since_loading(at, fit.run.began))
    along = forecast(fit, sorted({*_grid(fit, max(times), points), *times}), limit=limit, life=life)
    wanted = [i for i, row in enumerate(along.rows) if row.time in times]
    moduli = replace(along.modulus, rows=tuple(along.modulus.rows[i] for i in wanted))
    answer = replace(along, rows=tuple(along.rows[i] for i in wanted), modulus=moduli)
    return Findings(fit, summarise(fit), answer, along, recovery(fit, AFTER))


def asked(fit: Fit, at: AskedTimes) -> list[float]:
    """Times in s, ascending and each once."""
    if not at:
        return usual_times(fit.horizon)
    return sorted(set(asked_times(at, "at").tolist()))


def _grid(fit: Fit, latest: float, points: int) -> list[float]:
    """Even in log time from the first reading under load, with the ends of the test and of ten times the test."""
    test = fit.run.test_length
    first = min(float(fit.observed.span.first), MINUTE)
    if not fit.observed.has_initial:
        loaded = fit.observed.times[(fit.run.history.at(fit.observed.times) != 0.0) & (fit.observed.times > 0.0)]
        first = float(loaded[0])
    end = max(latest, 10.0 * test)
    grid = np.geomspace(first, end, points)
    return [float(t) for t in np.unique(np.concatenate([grid, [test, min(10.0 * test, end), latest]]))]
