"""Isochronous stress-strain curves and creep moduli at the times of ISO 899, from runs at several stresses.

ISO 899-1 and -2 take them from the creep curves at each stress by reading off at one time (strain is the total strain, the
outer fibre's in bending). Times beyond a run's own readings are forecasts, and marked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from creepfit.answers.heading import heading
from creepfit.answers.interval import Interval, intervals
from creepfit.answers.linearity import Linearity
from creepfit.answers.modulus import NO_INITIAL
from creepfit.answers.stress_levels import Level, levels_of
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit
from creepfit.mechanics.loading import Array
from creepfit.units import HOUR

if TYPE_CHECKING:
    from pandas import DataFrame

TIMES = tuple(h * HOUR for h in (1.0, 10.0, 100.0, 1000.0, 10000.0))
"""Times of the table in s."""

ROUNDING = 1.0 + 1e-6


@dataclass(frozen=True)
class IsochronousPoint:
    """Strain under one stress at one time.

    `stress` in MPa, `time` in s since loading, `strain` as a fraction, `modulus` = stress over strain in MPa.
    `extrapolated` says that no run at this stress was read for so long, `interpolated` that none was held at it.
    """

    stress: float
    time: float
    strain: Interval
    modulus: Interval
    extrapolated: bool
    interpolated: bool

    def to_dict(self) -> dict[str, Any]:
        return {
            "time_h": self.time / HOUR,
            "stress_MPa": self.stress,
            "strain": {**self.strain.to_dict(), "unit": "1"},
            "creep_modulus": {**self.modulus.to_dict(), "unit": "MPa"},
            "extrapolated": self.extrapolated,
            "interpolated": self.interpolated,
        }


@dataclass(frozen=True, eq=False)
class Isochronous:
    """Isochronous curves: for every time the points in order of stress."""

    fit: Fit
    points: tuple[IsochronousPoint, ...]
    level: float

    def at(self, time: float) -> tuple[IsochronousPoint, ...]:
        """The curve at one of the times [s], ascending in stress; empty for a time that is not in the table."""
        return tuple(p for p in self.points if abs(p.time - time) < 1e-6 * time)

    def stress(self, time: float, strain: float) -> float | None:
        """Stress in MPa that gives a strain at a time, straight between the points of the median curve and the origin.

        None above the highest strain of the curve: beyond the highest stress tested nothing is said.
        """
        curve = self.at(time)
        strains = np.array([0.0, *(p.strain.median for p in curve)])
        if not curve or strain > strains[-1] or strain < 0.0:
            return None
        return float(np.interp(strain, strains, [0.0, *(p.stress for p in curve)]))

    def modulus(self, time: float, strain: float) -> float | None:
        """Secant modulus in MPa at a time and a strain, for design by strain; None above the highest strain."""
        stress = self.stress(time, strain)
        return None if stress is None or strain == 0.0 else stress / strain

    def table(self) -> DataFrame:
        """One row a time and stress; stress and modulus in MPa, strain as a fraction."""
        from pandas import json_normalize

        return json_normalize([p.to_dict() for p in self.points])

    def to_dict(self) -> dict[str, Any]:
        return {**heading(self.fit, self.level), "isochronous": [p.to_dict() for p in self.points]}


def isochronous(
    fits: Sequence[Fit] | Linearity,
    times: Sequence[float] = TIMES,
    stresses: Sequence[float] | None = None,
    level: float | None = None,
) -> Isochronous:
    """Isochronous stress-strain curves and creep moduli.

    Parameters
    ----------
    fits : sequence of Fit, or Linearity
        Fits of runs at one stress each; or the answer on linearity, whose law then gives curves as smooth as asked.
    times : sequence of float
        Times since loading in s, by default 1, 10, 100, 1000 and 10 000 h.
    stresses : sequence of float, optional
        In MPa, up to the highest tested; other than tested ones take a law.
    level : float, optional
        Probability of the intervals, the first fit's own if not given.

    Raises
    ------
    InputError
        Where no run has an initial reading, a stress is above the highest tested, or another stress is asked for
        without a law.
    """
    law = fits.law if isinstance(fits, Linearity) else None
    first, levels = (fits.fit, fits.levels) if isinstance(fits, Linearity) else (fits[0], levels_of(fits))
    level = first.level if level is None else level
    at = np.asarray(sorted(times), dtype=float)
    points: list[IsochronousPoint] = []
    for stress in [found.stress for found in levels] if stresses is None else stresses:
        tested = next((found for found in levels if abs(found.stress - stress) <= 1e-3 * stress), None)
        if law is not None:
            strain = law.strain(float(stress), at)
            last = max(run.test_length for run in law.data.runs)
        elif tested is not None and tested.alone:
            strain, last = _strain(tested, at, first.seed), tested.last
        elif stresses is None:
            continue
        else:
            expected = "a stress that was tested on its own, or three and more stresses for a law"
            raise InputError(key="stress", found=f"{stress:g} MPa", expected=expected)
        points += _points(float(stress), at, strain, (last, tested is None), level)
    if not points:
        raise InputError(NO_INITIAL, expected="a run held at one stress, with an initial reading")
    return Isochronous(first, tuple(sorted(points, key=lambda p: (p.time, p.stress))), level)


def _strain(tested: Level, times: Array, seed: int) -> Array:
    """Draws of the strain under a tested stress, the average of its fits; shape (N, T)."""
    rng = np.random.default_rng(seed)
    # each in an order of its own: draws of fits with one seed go hand in hand
    logs = [np.log(np.maximum(f.draws.compliance(times), 1e-12))[rng.permutation(f.draws.count)] for f in tested.alone]
    return np.asarray(tested.stress * np.exp(np.mean(logs, axis=0)))


def _points(
    stress: float, times: Array, strain: Array, known: tuple[float, bool], level: float
) -> list[IsochronousPoint]:
    last, interpolated = known
    out = []
    for time, found in zip(times, intervals(strain, level), strict=True):
        modulus = Interval(stress / found.high, stress / found.median, stress / found.low)
        beyond = bool(time > last * ROUNDING)
        out.append(IsochronousPoint(stress, float(time), found, modulus, beyond, interpolated))
    return out
