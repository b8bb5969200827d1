"""Creep modulus at chosen times: the number a designer types into a hand formula or a finite-element program."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from creepfit.answers.doubts.withheld import of_modulus
from creepfit.answers.heading import heading
from creepfit.answers.interval import Interval, ends_of
from creepfit.answers.outlook import Outlook, outlook
from creepfit.answers.wording import size_with_range
from creepfit.asked import asked_times
from creepfit.inference.fitting import Fit
from creepfit.inference.response import Predicted
from creepfit.inference.run_fit import asked_fit
from creepfit.mechanics.loading import Array
from creepfit.shown import Tabled
from creepfit.units import DAY, HOUR, MINUTE, YEAR, show_time

TABLE_TIMES = (MINUTE, HOUR, DAY, 30.0 * DAY, YEAR)
"""Times of the table without a choice of one's own; those beyond 100 times the data are left out."""

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
        d = None if self.compliance is None else {**self.compliance.to_dict(), "unit": self.compliance_unit}
        return {"time_h": self.time / HOUR, **ends_of(self.modulus), "unit": "MPa", "why": self.why, "compliance": d}


@dataclass(frozen=True, repr=False)
class CreepModulus(Tabled):
    """Table of creep modulus at times."""

    rows: tuple[ModulusRow, ...]
    level: float
    fit: Fit = field(repr=False)

    @property
    def headline(self) -> str:
        known = [row for row in self.rows if row.modulus is not None]
        if not known:
            return f"{self.fit.label}, unknown"
        last = known[-1]
        assert last.modulus is not None
        return f"{self.fit.label}, {size_with_range(last.modulus, 'MPa')} at {show_time(last.time)}, level {self.level:g}"

    def _rows(self) -> list[dict[str, Any]]:
        """One row a time; modulus in MPa."""
        return [{key: value for key, value in row.items() if key != "compliance"} for row in self.contents()]

    def contents(self) -> list[dict[str, Any]]:
        """The rows, as they stand inside a fit or a forecast."""
        return [row.to_dict() for row in self.rows]

    def to_dict(self) -> dict[str, Any]:
        return {**heading(self.fit, self.level), "creep_modulus": self.contents()}


def creep_modulus(
    fit: Fit, times: Sequence[str | float] | str | float | None = None, level: str | float | None = None
) -> CreepModulus:
    """Creep modulus E(t) = 1/D(t), stress over total strain under a constant load (ISO 899-1, creep modulus).

    Parameters
    ----------
    fit : Fit
    times : times, optional
        Since loading, texts such as "1 d" or s; by default 1 min, 1 h, 1 d, 30 d and 1 year as far as 100 times the data.
    level : float, optional
        Probability of the intervals, the fit's own if not given.

    Raises
    ------
    InputError
        A time or level that is none.

    Notes
    -----
    The tolerance of the specimen's sizes is in: it multiplies all moduli of a draw by one lognormal factor.
    """
    fit = asked_fit(fit)
    at = [t for t in TABLE_TIMES if t <= fit.horizon] if times is None else asked_times(times, "times")
    return modulus_of(outlook(fit, float(np.sign(fit.run.working_load)), level=level), np.asarray(at))


def modulus_of(ahead: Outlook, times: Array, known: Predicted | None = None) -> CreepModulus:
    """Creep modulus at times [s]; `known` is the response at these times, where a caller has it already."""
    geometry = ahead.fit.run.specimen.geometry
    sized = geometry.stress_per_load is not None
    unit = "1/MPa" if sized else "mm/N"
    if not ahead.fit.observed.has_initial:
        why = NO_INITIAL if sized else f"{NO_INITIAL}; also {NO_GEOMETRY}"
        return CreepModulus(tuple(ModulusRow(float(t), None, None, unit, why) for t in times), ahead.level, ahead.fit)
    doubted = of_modulus(ahead.fit)
    if doubted is not None:
        return CreepModulus(
            tuple(ModulusRow(float(t), None, None, unit, doubted.because) for t in times), ahead.level, ahead.fit
        )
    compliance = ahead.compliance(times, known).intervals(ahead.level) if times.size else []
    rows = [
        ModulusRow(
            float(t),
            Interval(1.0 / c.high, 1.0 / c.median, 1.0 / c.low) if sized else None,
            c,
            unit,
            None if sized else NO_GEOMETRY,
        )
        for t, c in zip(times, compliance, strict=True)
    ]
    return CreepModulus(tuple(rows), ahead.level, ahead.fit)
