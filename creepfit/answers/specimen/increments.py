"""Creep increments: the change from one reading to the next under one load, and whether it can be told from zero."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.special import ndtr

from creepfit.answers.heading import heading
from creepfit.asked import asked_level
from creepfit.inference.fitting import Fit
from creepfit.inference.freest_curve import stages
from creepfit.inference.run_fit import asked_fit
from creepfit.records.run import Run
from creepfit.shown import Tabled
from creepfit.units import HOUR

TINY = float(np.finfo(float).tiny)

ONE_DIVISION = 1.0 + 1e-6

ZERO_MOVED = "the gauge got a new zero in between, so the two readings cannot be subtracted"


@dataclass(frozen=True)
class Increment:
    """Change between two successive readings under one load.

    `start` and `end` are in s; `change` and `std_error` in `unit` ("mm", or "1" for strain), positive as the specimen
    deforms; both None, like `distinguishable`, where `why` says so.
    """

    start: float
    end: float
    change: float | None
    std_error: float | None
    unit: str
    distinguishable: bool | None
    why: str | None = None

    def to_dict(self) -> dict[str, Any]:
        return {
            "from_h": self.start / HOUR,
            "to_h": self.end / HOUR,
            "change": self.change,
            "std_error": self.std_error,
            "unit": self.unit,
            "distinguishable": self.distinguishable,
            **({"why": self.why} if self.why else {}),
        }


@dataclass(frozen=True, repr=False)
class Increments(Tabled):
    """All increments of a run in order of time; `level` is that of "distinguishable from zero" (two-sided)."""

    rows: tuple[Increment, ...]
    level: float
    fit: Fit = field(repr=False)

    @property
    def headline(self) -> str:
        seen = sum(bool(row.distinguishable) for row in self.rows)
        return f"{self.fit.label}, {len(self.rows)} of them, {seen} to be told from zero, level {self.level:g}"

    def __iter__(self) -> Iterator[Increment]:
        return iter(self.rows)

    def __len__(self) -> int:
        return len(self.rows)

    def _rows(self) -> list[dict[str, Any]]:
        """One row an increment."""
        return [r.to_dict() for r in self.rows]

    def to_dict(self) -> dict[str, Any]:
        return {**heading(self.fit, self.level), "increments": [r.to_dict() for r in self.rows]}


def increments(fit: Fit, level: str | float | None = None) -> Increments:
    """Changes between successive readings under the same load, with their standard errors.

    The standard error is that of a difference, s sqrt(C_ii + C_jj - 2 C_ij): noise scale s of all models together, which
    the gauge's word and the readings tell, repeats, drift and temperature in the correlation C. An increment is
    distinguishable from zero where noise of any likely scale comes to as much with less than 1 - `level` (two-sided), the
    fit's own if not given; one division of the gauge between two single readings never is. One model's own scatter would
    not do: with few readings the best by criterion is one of two parameters, whose misfit is no noise.
    """
    fit = asked_fit(fit)
    level = fit.level if level is None else asked_level(level)
    observed = fit.observed
    load = observed.history.at(observed.times)
    added = fit.run.history.at(observed.times)
    rows = []
    for i in range(1, observed.times.size):
        if added[i - 1] == 0.0 or added[i] == 0.0 or load[i] != load[i - 1]:
            continue
        rows.append(_between(fit, i - 1, i, level))
    return Increments(tuple(rows), level, fit)


def over_a_decade(fit: Fit, level: float) -> Increment | None:
    """Change up to the last reading under load from the one next to a tenth of the time that this load was on.

    As `increments` gives it; None where fewer than three readings stand under that load.
    """
    times, load = fit.observed.times, fit.run.history.at(fit.observed.times)
    loaded = [stage for stage in stages(fit.observed) if times[stage[0]] > 0.0 and load[stage[0]] != 0.0]
    if not loaded or len(loaded[-1]) < 3:
        return None
    *earlier, last = loaded[-1]
    put_on = max(step.at for step in fit.run.steps if step.at < times[earlier[0]])
    share = (times[earlier] - put_on) / (times[last] - put_on)
    return _between(fit, earlier[int(np.argmin(np.abs(np.log10(share) + 1.0)))], last, level)


def _between(fit: Fit, i: int, j: int, level: float) -> Increment:
    """The change from reading i to reading j, both under one load."""
    observed = fit.observed
    start, end = float(observed.times[i]), float(observed.times[j])
    if (observed.zeros[i] != observed.zeros[j]).any():
        return Increment(start, end, None, None, fit.unit, None, ZERO_MOVED)
    change = float(observed.values[j] - observed.values[i])
    c = observed.noise.correlation
    apart = float(np.sqrt(max(c[i, i] + c[j, j] - 2.0 * c[i, j], 0.0)))
    by_chance = 2.0 * float(np.mean(ndtr(-abs(change) / np.maximum(fit.noise_draws * apart, TINY))))
    seen = by_chance < 1.0 - level and not _one_division(fit.run, i, j, change)
    return Increment(start, end, change, fit.noise_sd * apart, fit.unit, seen)


def _one_division(run: Run, i: int, j: int, change: float) -> bool:
    """Whether two single readings are one division apart or less: rounding may turn with next to nothing."""
    single = run.logger is None and run.used[i].repeats == run.used[j].repeats == 1
    return single and abs(change) <= ONE_DIVISION * run.gauge.resolution
