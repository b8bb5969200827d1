"""Creep increments: the change from one reading to the next under one load, and whether it can be told from zero."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.special import stdtrit

from creepfit.answers.heading import heading
from creepfit.asked import asked_level
from creepfit.inference.fitting import Fit
from creepfit.inference.run_fit import asked_fit
from creepfit.shown import Tabled
from creepfit.units import HOUR

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

    The standard error is that of a difference, s sqrt(C_ii + C_jj - 2 C_ij): noise scale s of the best model (the
    gauge's where the residuals are too few to tell), repeats, drift and temperature in the correlation C. An increment
    is distinguishable from zero where it exceeds its error times the two-sided Student quantile of `level`, the fit's own
    if not given.
    """
    fit = asked_fit(fit)
    level = fit.level if level is None else asked_level(level)
    observed = fit.observed
    load = observed.history.at(observed.times)
    added = fit.run.history.at(observed.times)
    quantile = float(stdtrit(_degrees(fit), 0.5 + level / 2.0))
    rows = []
    for i in range(1, observed.times.size):
        if added[i - 1] == 0.0 or added[i] == 0.0 or load[i] != load[i - 1]:
            continue
        start, end = float(observed.times[i - 1]), float(observed.times[i])
        if (observed.zeros[i] != observed.zeros[i - 1]).any():
            rows.append(Increment(start, end, None, None, fit.unit, None, ZERO_MOVED))
            continue
        change = float(observed.values[i] - observed.values[i - 1])
        error = difference_error(fit, i - 1, i)
        rows.append(Increment(start, end, change, error, fit.unit, abs(change) > quantile * error))
    return Increments(tuple(rows), level, fit)


def difference_error(fit: Fit, i: int, j: int) -> float:
    """Standard error of reading j less reading i, mm (or strain), both of one zero."""
    c = fit.observed.noise.correlation
    return float(fit.best.noise_sd * np.sqrt(max(c[i, i] + c[j, j] - 2.0 * c[i, j], 0.0)))


def _degrees(fit: Fit) -> float:
    """Degrees of freedom behind the noise scale: the gauge's word, or the residuals'."""
    best = fit.best
    return fit.observed.noise.degrees if best.noise_from == "gauge" else float(max(best.free, 1))
