"""Isochronous stress-strain curves and creep moduli at the times of ISO 899, from runs at several stresses.

ISO 899-1 and -2 take them from the creep curves at each stress by reading off at one time (strain is the total strain, the
outer fibre's in bending). What no reading at a stress reaches is a forecast, and marked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from creepfit.answers.doubts.stress import isochronous_doubts
from creepfit.answers.heading import heading
from creepfit.answers.interval import Caution, Interval
from creepfit.answers.specimen.modulus import NO_INITIAL
from creepfit.answers.stress.laws import RatioLaw, SinhLaw, StressLaw
from creepfit.answers.stress.levels import IsochronousPoint, StressLevel, levels_of, runs_of
from creepfit.answers.stress.proportion import Linearity
from creepfit.asked import asked_level, asked_times
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit
from creepfit.inference.mixture import Draws
from creepfit.inference.response import Predicted
from creepfit.inference.run_fit import asked_fits
from creepfit.mechanics.loading import Array
from creepfit.mechanics.stress_law import BARS
from creepfit.records.run import Run
from creepfit.shown import Tabled
from creepfit.units import HOUR, show_number, show_time

__all__ = ["TIMES", "Isochronous", "IsochronousPoint", "isochronous"]

TIMES = tuple(h * HOUR for h in (1.0, 10.0, 100.0, 1000.0, 10000.0))
"""Times of the table in s."""

ROUNDING = 1.0 + 1e-6


@dataclass(frozen=True, eq=False, repr=False)
class Isochronous(Tabled):
    """Isochronous curves: for every time the points in order of stress; `basis` says in words how they came about."""

    fit: Fit
    points: tuple[IsochronousPoint, ...]
    level: float
    basis: str = ""

    @property
    def headline(self) -> str:
        times = ", ".join(show_time(t) for t in dict.fromkeys(p.time for p in self.points))
        return f"strain under {len({p.stress for p in self.points})} stresses at {times}; {self.basis}"

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What is doubtful about them."""
        return isochronous_doubts(self.points)

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

    def _rows(self) -> list[dict[str, Any]]:
        """One row a time and stress; stress and modulus in MPa, strain as a fraction."""
        return [p.to_dict() for p in self.points]

    def to_dict(self) -> dict[str, Any]:
        return {
            **heading(self.fit, self.level),
            "isochronous": [p.to_dict() for p in self.points],
            "basis": self.basis,
            "cautions": [c.to_dict() for c in self.cautions],
        }


BY_LAW = "by the hyperbolic-sine law from all runs together: the strain of a bar in tension"
BY_STEPS = "from all runs together, by the ratio of compliances that the steps show, as tested"
BY_RUNS = "each stress from its own runs, of the specimens tested, as ISO 899 takes them"
IN_BENDING = " (of the outer fibre, from the deflection)"


def isochronous(
    fits: Sequence[Fit] | Linearity,
    times: Sequence[str | float] | str | float = TIMES,
    stresses: Sequence[float] | None = None,
    level: float | None = None,
) -> Isochronous:
    """Isochronous stress-strain curves and creep moduli.

    Parameters
    ----------
    fits : sequence of Fit, or Linearity
        Fits of runs at one stress each; or the answer on linearity, whose law then gives curves as smooth as asked.
    times : times
        Since loading, texts such as "100 h" or s, by default 1, 10, 100, 1000 and 10 000 h.
    stresses : sequence of float, optional
        In MPa, up to the highest tested; other than tested ones take a law.
    level : float, optional
        Probability of the intervals, the first fit's own if not given.

    Raises
    ------
    InputError
        Where no run has an initial reading, a stress is above the highest tested, or another stress is asked for
        without a law.

    Notes
    -----
    Strains are those of the average specimen tested, with the tolerance of the specimens' sizes. Where models on an ageing
    clock are among the fits, no upper end of a strain is below that of the plain clock.
    """
    if not isinstance(fits, Linearity):
        fits = asked_fits(fits)
    if isinstance(fits, Linearity):
        first, levels, runs, law = fits.fit, fits.levels, fits.runs, _law(fits)
    else:
        first, levels, runs, law = fits[0], levels_of(fits), runs_of(fits), None
    level = first.level if level is None else asked_level(level)
    at = np.sort(asked_times(times, "times"))
    points: list[IsochronousPoint] = []
    for stress in [tested.stress for tested in levels] if stresses is None else stresses:
        place = _place(float(stress), levels)
        if law is not None and _serves(law, place):
            points += _points(place, at, law.strain(place.stress, at), level)
        elif place.tested is not None and place.tested.alone:
            own = replace(place, read=(place.tested.first, place.tested.last))
            points += _points(own, at, _strain(place.tested, at, first.seed), level)
        elif stresses is not None:
            expected = "a stress that was tested on its own, or three and more stresses for a law"
            raise InputError(key="stress", found=f"{show_number(place.stress)} MPa", expected=expected)
    if not points:
        raise InputError(NO_INITIAL, expected="a run held at one stress, with an initial reading")
    ordered = tuple(sorted(points, key=lambda p: (p.time, p.stress)))
    return Isochronous(first, ordered, level, _basis(law, runs))


def _law(known: Linearity) -> StressLaw | None:
    """The law to take strains from: the hyperbolic sine, else steps where not every stress has a run of its own.

    What came at once is told from the gauge's zero by an initial reading, or by a step from one load to the next.
    """
    zeroed = known.steps is not None or any(level.alone for level in known.levels)
    if known.law is not None and zeroed:
        return known.law
    return known.steps if any(not level.alone for level in known.levels) else None


def _serves(law: StressLaw, place: _Place) -> bool:
    """Whether strains at a stress are taken from the law: from steps only where their specimens were tested."""
    if isinstance(law, RatioLaw):
        return place.tested is not None and law.lowest <= place.stress <= law.highest
    return True


def _basis(law: StressLaw | None, runs: Sequence[Run]) -> str:
    if isinstance(law, SinhLaw):
        return BY_LAW
    bent = IN_BENDING if any(isinstance(run.specimen, BARS) for run in runs) else ""
    return (BY_RUNS if law is None else BY_STEPS) + bent


@dataclass(frozen=True)
class _Place:
    """A stress among those tested: the level it is one of, if any, and what was read there (see `IsochronousPoint`)."""

    stress: float
    tested: StressLevel | None
    below: bool
    read: tuple[float, float]


def _place(stress: float, levels: tuple[StressLevel, ...]) -> _Place:
    if not stress > 0.0:
        raise InputError(key="stress", found=f"{show_number(stress)} MPa", expected="a stress above zero")
    tested = next((one for one in levels if abs(one.stress - stress) <= 1e-3 * stress), None)
    if tested is not None:
        return _Place(tested.stress, tested, False, tested.read)
    under = [one.read for one in levels if one.stress < stress][-1:]
    over = [one.read for one in levels if one.stress > stress][:1]
    both = [*under, *over]
    return _Place(stress, None, not under, (max(r[0] for r in both), min(r[1] for r in both)))


def _strain(tested: StressLevel, times: Array, seed: int) -> Predicted:
    """Draws of the strain under a tested stress, the average of its fits, shape (N, T)."""
    fits = [fit.average for fit in tested.alone]
    plain = [fit.unaged_draws for fit in fits]
    unaged = None
    if any(p is not None for p in plain):
        unaged = _average(fits, [fit.draws if p is None else p for fit, p in zip(fits, plain, strict=True)], times, seed)
    drawn = Predicted(_average(fits, [fit.draws for fit in fits], times, seed), unaged)
    return drawn.map(lambda compliance: tested.stress * compliance)


def _average(fits: Sequence[Fit], draws: Sequence[Draws], times: Array, seed: int) -> Array:
    """Draws of the mean compliance of some fits, with the tolerance of each specimen's sizes, shape (N, T)."""
    rng = np.random.default_rng(seed)
    count, logs = draws[0].count, []
    sizes: dict[str, Array] = {}
    for fit, own in zip(fits, draws, strict=True):
        # each in an order of its own: draws of fits with one seed go hand in hand
        logarithm = np.log(np.maximum(own.compliance(times), 1e-12))[rng.permutation(count)]
        name = fit.run.name or str(id(fit.run))
        normal = sizes.setdefault(name, rng.standard_normal(count))
        logs.append(logarithm + (fit.run.relative_sd * normal)[:, None])
    return np.asarray(np.exp(np.mean(logs, axis=0)))


def _points(place: _Place, times: Array, strain: Predicted, level: float) -> list[IsochronousPoint]:
    read = place.read
    out = []
    for time, size in zip(times, strain.intervals(level), strict=True):
        modulus = Interval(place.stress / size.high, place.stress / size.median, place.stress / size.low)
        outside = not read[0] / ROUNDING <= time <= read[1] * ROUNDING
        out.append(
            IsochronousPoint(place.stress, float(time), size, modulus, outside, place.tested is None, place.below, read)
        )
    return out
