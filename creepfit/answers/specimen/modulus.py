"""Creep modulus at chosen times: the number a designer types into a hand formula or a finite-element program."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from creepfit.answers.interval import Interval, intervals
from creepfit.answers.response import unaged_draws
from creepfit.inference.fitting import Fit
from creepfit.mechanics.loading import Array
from creepfit.units import DAY, HOUR, MINUTE, YEAR

if TYPE_CHECKING:
    from pandas import DataFrame

TABLE_TIMES = (MINUTE, HOUR, DAY, 30.0 * DAY, YEAR)
"""Times of the table without a choice of one's own; those beyond 100 times the data are left out."""

FARTHEST = 100.0
"""No time beyond this many times the data is answered without having been asked for."""

NO_GEOMETRY = "loads in N and readings in mm without the specimen's sizes: a stress and a modulus are unknown"
NO_INITIAL = (
    "no reading was taken before loading, so the instantaneous part of the compliance is unknown; next time take one"
)


@dataclass(frozen=True)
class ModulusRow:
    """Creep modulus and compliance at a time since loading.

    `modulus` in MPa is None where it is unknown, and `why` says why; so is `compliance`, in `compliance_unit`:
    1/MPa, or mm/N where the specimen's sizes are not known.
    """

    time: float
    modulus: Interval | None
    compliance: Interval | None
    compliance_unit: str
    why: str | None = None

    def to_dict(self) -> dict[str, Any]:
        m = {"low": None, "median": None, "high": None} if self.modulus is None else self.modulus.to_dict()
        d = None if self.compliance is None else {**self.compliance.to_dict(), "unit": self.compliance_unit}
        return {"time_h": self.time / HOUR, **m, "unit": "MPa", "why": self.why, "compliance": d}


@dataclass(frozen=True)
class CreepModulus:
    """Table of creep modulus at times."""

    rows: tuple[ModulusRow, ...]
    level: float

    def table(self) -> DataFrame:
        """One row a time; modulus in MPa."""
        from pandas import DataFrame

        flat = []
        for row in self.rows:
            entry = row.to_dict()
            del entry["compliance"]
            flat.append(entry)
        return DataFrame(flat)

    def to_dict(self) -> list[dict[str, Any]]:
        """The list under "creep_modulus" in the JSON."""
        return [row.to_dict() for row in self.rows]


def creep_modulus(
    fit: Fit, times: Sequence[float] | None = None, level: float | None = None, known: Array | None = None
) -> CreepModulus:
    """Creep modulus E(t) = 1/D(t), stress over total strain under a constant load (ISO 899-1, creep modulus).

    Parameters
    ----------
    fit : Fit
    times : sequence of float, optional
        Times since loading in s; by default 1 min, 1 h, 1 d, 30 d and 1 year as far as 100 times the data.
    level : float, optional
        Probability of the intervals, the fit's own if not given.
    known : ndarray, shape (N, T), optional
        The fit's draws of the compliance at `times`, where a caller has them already.

    Notes
    -----
    The tolerance of the specimen's sizes is in: it multiplies all moduli of a draw by one lognormal factor.
    Where members on an ageing clock exist, the lower limit is never above that of the plain clock.
    """
    level = fit.level if level is None else level
    if times is None:
        times = [t for t in TABLE_TIMES if t <= FARTHEST * fit.run.test_length]
    at = np.asarray(times, dtype=float)
    geometry = fit.run.specimen.geometry
    sized = geometry.stress_per_load is not None
    unit = "1/MPa" if sized else "mm/N"
    if not fit.observed.has_initial:
        why = NO_INITIAL if sized else f"{NO_INITIAL}; also {NO_GEOMETRY}"
        return CreepModulus(tuple(ModulusRow(float(t), None, None, unit, why) for t in at), level)
    draws = _with_sizes(fit, fit.draws.compliance(at) if known is None else known)
    plain = unaged_draws(fit)
    compliance = intervals(draws, level)
    if plain is not None:
        highest = np.quantile(_with_sizes(fit, plain.compliance(at)), 0.5 + level / 2.0, axis=0)
        compliance = [Interval(c.low, c.median, max(c.high, float(h))) for c, h in zip(compliance, highest, strict=True)]
    rows = [
        ModulusRow(
            float(t),
            Interval(1.0 / c.high, 1.0 / c.median, 1.0 / c.low) if sized else None,
            c,
            unit,
            None if sized else NO_GEOMETRY,
        )
        for t, c in zip(at, compliance, strict=True)
    ]
    return CreepModulus(tuple(rows), level)


def _with_sizes(fit: Fit, compliance: Array) -> Array:
    """Draws of the compliance, shape (N, T), with the doubt about the specimen's sizes."""
    spread = fit.run.specimen.geometry.relative_sd
    factor = np.exp(spread * np.random.default_rng(fit.seed).standard_normal(compliance.shape[0]))
    # discrepancy far beyond the data can take a draw below any compliance there is; a modulus needs one above zero
    return np.asarray(np.maximum(compliance * factor[:, None], 1e-12))
