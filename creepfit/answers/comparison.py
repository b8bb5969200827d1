"""Comparison: which material gives way less, by how much, and whether these readings can tell.

Every run is answered for "another specimen of its material", since the question is about materials: scatter between
specimens is in each value once. Draws of different runs are independent, so ratios are too.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal, get_args

import numpy as np
from scipy.special import stdtrit

from creepfit.answers.doubts_compare import comparison_doubts
from creepfit.answers.heading import heading
from creepfit.answers.interval import Caution, Interval, interval
from creepfit.answers.response import response
from creepfit.errors import FitError, InputError
from creepfit.inference.fitting import Fit
from creepfit.inference.mixture import DEFAULT_DRAWS
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.units import HOUR, quantity

if TYPE_CHECKING:
    from pandas import DataFrame

Property = Literal["deformation", "increment", "compliance", "recovered", "residual"]
PROPERTIES: tuple[str, ...] = get_args(Property)

ONE_SPECIMEN = 0.08
"""Scatter between specimens of one material where only one was tested, log units (common practice, no source)."""

ALIKE = 0.01
"""Loads per stiffness of the shape that differ by less than this can be compared in millimetres."""

FIRST = 60.0
"""A creep increment counts from a minute after loading, or from the latest first reading of the runs if that is later."""

POWER = 0.8
MOST_SPECIMENS = 200


@dataclass(frozen=True)
class Value:
    """One run's value at one time."""

    run: str
    material: str
    interval: Interval

    def to_dict(self) -> dict[str, Any]:
        return {"run": self.run, "material": self.material, **self.interval.to_dict()}


@dataclass(frozen=True)
class Ratio:
    """One run's value over another's.

    `probability_smaller` is that the first is the smaller one. `distinguishable`: the interval leaves out 1.
    `specimens_needed` of each material would show a difference of this size four times in five, None beyond 200 or
    where it shows already; `detectable` is the ratio that three of each would show.
    """

    of: str
    to: str
    interval: Interval
    probability_smaller: float
    distinguishable: bool
    specimens_needed: int | None
    detectable: float

    def to_dict(self) -> dict[str, Any]:
        return {
            "of": self.of,
            "to": self.to,
            **self.interval.to_dict(),
            "probability_smaller": self.probability_smaller,
            "distinguishable": self.distinguishable,
            "specimens_needed": self.specimens_needed,
        }


@dataclass(frozen=True)
class Moment:
    """Values and ratios at one time [s]: since loading, or since unloading for what is recovered or left."""

    time: float
    values: tuple[Value, ...]
    ratios: tuple[Ratio, ...]

    def to_dict(self) -> dict[str, Any]:
        return {
            "time_h": self.time / HOUR,
            "runs": [v.to_dict() for v in self.values],
            "ratios": [r.to_dict() for r in self.ratios],
        }


@dataclass(frozen=True)
class Rank:
    """Place in a ranking: runs that cannot be told from the best of their group share a place."""

    place: int
    value: Value


@dataclass(frozen=True, eq=False)
class Comparison:
    """Runs side by side in one property; `unit` is "mm", "1" (strain), "%", "1/MPa" or "mm/N"."""

    fits: tuple[Fit, ...]
    by: Property
    quantity: str
    unit: str
    level: float
    moments: tuple[Moment, ...]
    scatter: tuple[float, ...]
    cautions: tuple[Caution, ...]

    def ranking(self, at: int = -1) -> tuple[Rank, ...]:
        """Rank the runs at one of the times, the smallest first (the largest for what is recovered).

        A run opens a new place where it can be told from the first run of the place before.
        """
        moment = self.moments[at]
        order = sorted(moment.values, key=lambda v: v.interval.median, reverse=self.by == "recovered")
        told = {frozenset((r.of, r.to)): r.distinguishable for r in moment.ratios}
        ranks: list[Rank] = []
        first, place = order[0], 1
        for position, value in enumerate(order, start=1):
            if value is not first and told[frozenset((first.run, value.run))]:
                first, place = value, position
            ranks.append(Rank(place, value))
        return tuple(ranks)

    def table(self) -> DataFrame:
        """One row a run and time."""
        from pandas import DataFrame

        return DataFrame([{"time_h": m.time / HOUR, **v.to_dict()} for m in self.moments for v in m.values])

    def to_dict(self) -> dict[str, Any]:
        """What --json prints."""
        return {
            **heading(self.fits[0], self.level),
            "run": [f.run.label for f in self.fits],
            "quantity": self.quantity,
            "unit": self.unit,
            "at": [m.to_dict() for m in self.moments],
            "ranking": [{"place": r.place, "run": r.value.run} for r in self.ranking()],
            "scatter": list(self.scatter),
            "cautions": [c.to_dict() for c in self.cautions],
        }


def compare(
    fits: Sequence[Fit],
    at: Sequence[str | float] | str | float = ("5 d",),
    *,
    by: Property | None = None,
    level: float | None = None,
) -> Comparison:
    """Compare runs.

    Parameters
    ----------
    fits : sequence of Fit
        Two or more, single runs or pools.
    at : times
        Text such as "5 d" or s; since loading, and since unloading for "recovered" and "residual".
    by : property, optional
        "deformation" (by default, where loads and shapes are alike), "compliance" (strain per stress; by default where
        they are not), "increment" (since a minute after loading; by default where a run has no initial reading),
        "recovered" in per cent of the deformation before unloading, "residual".
    level : float, optional
        Probability of the intervals, that of the first fit if not given.

    Raises
    ------
    InputError
        Fewer than two runs, an unknown property, runs that have no property in common.
    FitError
        A property that needs an initial reading where a run has none.
    """
    if len(fits) < 2:
        raise InputError("nothing to compare", found=f"{len(fits)} run", expected="two runs or more")
    fits = tuple(_named_apart(fits))
    listed = [at] if isinstance(at, str | int | float) else list(at)
    times = np.array([quantity(t, "time", key="at") if isinstance(t, str) else float(t) for t in listed])
    if not times.size or (times <= 0.0).any():
        raise InputError(key="at", found=str(at), expected='times above zero such as "5 d"')
    alike = _alike(fits)
    chosen = _property(by, fits, alike)
    level = fits[0].level if level is None else level
    scatter = tuple(_scatter(f) for f in fits)
    unit = _unit(chosen, fits, alike)
    draws = [_values(f, chosen, times, fits, s, k, unit) for k, (f, s) in enumerate(zip(fits, scatter, strict=True))]
    spread = scatter if chosen != "recovered" else tuple(0.0 for _ in fits)
    moments = tuple(_moment(float(t), i, fits, draws, spread, level) for i, t in enumerate(times))
    cautions = comparison_doubts(fits, chosen, alike, float(times.max()))
    return Comparison(fits, chosen, _quantity(chosen, fits, unit), unit, level, moments, scatter, cautions)


def half_width(specimens: int, scatter: float, level: float = 0.95) -> float:
    """Half width of the interval of the log ratio of two means of `specimens` each, pooled two-sample t."""
    free = 2 * specimens - 2
    return float(stdtrit(free, 0.5 + level / 2.0) * scatter * np.sqrt(2.0 / specimens))


def detectable(specimens: int, scatter: float, level: float = 0.95) -> float:
    """Log ratio that two groups of `specimens` each show with a probability of 80 % (t approximation)."""
    free = 2 * specimens - 2
    return half_width(specimens, scatter, level) + float(stdtrit(free, POWER) * scatter * np.sqrt(2.0 / specimens))


def specimens_needed(log_ratio: float, scatter: float, level: float = 0.95) -> int | None:
    """Fewest specimens of each material that show a log ratio four times in five; None beyond 200."""
    for specimens in range(2, MOST_SPECIMENS + 1):
        if detectable(specimens, scatter, level) <= abs(log_ratio):
            return specimens
    return None


def _named_apart(fits: Sequence[Fit]) -> list[Fit]:
    """Give runs of one label numbers, so that an answer can name each."""
    labels = [f.run.label for f in fits]
    return [
        replace(f, run=replace(f.run, name=f"{f.run.name} ({labels[: i + 1].count(f.run.label)})".strip()))
        if labels.count(f.run.label) > 1
        else f
        for i, f in enumerate(fits)
    ]


def _alike(fits: Sequence[Fit]) -> bool:
    """Whether all specimens would deform alike if their compliances were alike."""
    sizes = [f.observed.factor * f.run.working_load for f in fits]
    same = len({(f.run.specimen.test, f.run.specimen.reading_quantity) for f in fits}) == 1
    return same and bool(np.ptp(sizes) <= ALIKE * np.max(np.abs(sizes)))


def _property(by: Property | None, fits: Sequence[Fit], alike: bool) -> Property:
    known = all(f.observed.has_initial for f in fits)
    if by is not None and by not in PROPERTIES:
        raise InputError(key="by", found=by, expected=" or ".join(PROPERTIES))
    if by is None:
        by = ("deformation" if alike else "compliance") if known else "increment"
    if not known and by != "increment":
        missing = ", ".join(f.run.label for f in fits if not f.observed.has_initial)
        raise FitError(
            f"{missing}: no reading before loading, so its {by} is not known; compare by increment, or read the gauge "
            "before the load goes on"
        )
    if by == "deformation" and not alike:
        by = "compliance"
    with_stress = [f.run.specimen.geometry.stress_per_load is not None for f in fits]
    if not alike and any(with_stress) != all(with_stress):
        raise InputError(
            "nothing in common: one run is known in stress and strain, another only in mm",
            expected="runs with sizes, or runs of one shape and load",
        )
    return by


def _scatter(fit: Fit) -> float:
    """Scatter to add: what one specimen does not show; a pool's draws have their own."""
    return 0.0 if float(np.max(fit.draws.scatter)) > 0.0 else ONE_SPECIMEN


def _unit(by: Property, fits: Sequence[Fit], alike: bool) -> str:
    if by == "recovered":
        return "%"
    if by != "compliance" and alike:
        return fits[0].unit
    return "1/MPa" if fits[0].run.specimen.geometry.stress_per_load is not None else "mm/N"


def _quantity(by: Property, fits: Sequence[Fit], unit: str) -> str:
    per_stress = unit in ("1/MPa", "mm/N")
    names = {
        "deformation": fits[0].quantity,
        "compliance": "compliance",
        "increment": "creep increment",
        "recovered": "recovered share of the deformation",
        "residual": "residual compliance" if per_stress else f"residual {fits[0].quantity}",
    }
    return names[by] + (" per load" if by == "increment" and per_stress else "")


def _values(fit: Fit, by: Property, times: Array, fits: Sequence[Fit], scatter: float, number: int, unit: str) -> Array:
    """Draws of one run's property at all times, shape (N, T), independent of the other runs'."""
    seed = fit.seed + 104729 * number
    draws = fit.mixture.draws(DEFAULT_DRAWS, seed)
    load = fit.run.working_load
    held = LoadHistory.held(load)
    if by in ("deformation", "compliance"):
        found = response(fit, draws, held, times)
    elif by == "increment":
        first = max(FIRST, *(f.observed.span.first for f in fits))
        both = response(fit, draws, held, np.append(times, first))
        found = both[:, :-1] - both[:, -1:]
    else:
        # every run is unloaded after the shortest test of all, so that all had the same time to creep and to recover
        off = min(f.run.test_length for f in fits)
        history = LoadHistory.from_steps([(0.0, 0.0, load), (off, 0.0, 0.0)])
        both = response(fit, draws, history, np.append(off + times, off))
        found = both[:, :-1]
        if by == "recovered":
            return np.asarray(100.0 * (1.0 - found / both[:, -1:]))
    if unit in ("1/MPa", "mm/N"):
        found = found / (load * fit.observed.factor)
    rng = np.random.default_rng([seed, 1])
    sd = np.hypot(scatter, fit.run.specimen.geometry.relative_sd if unit == "1/MPa" else 0.0)
    return np.asarray(found * np.exp(sd * rng.standard_normal(draws.count))[:, None])


def _moment(
    time: float, column: int, fits: Sequence[Fit], draws: Sequence[Array], scatter: Sequence[float], level: float
) -> Moment:
    own = [d[:, column] for d in draws]
    values = tuple(
        Value(f.run.label, f.run.material, interval(d, level)) for f, d in zip(fits, own, strict=True)
    )
    ratios = tuple(
        _ratio(fits[i].run.label, fits[j].run.label, own[i], own[j], float(np.hypot(scatter[i], scatter[j])), level)
        for i, j in itertools.combinations(range(len(fits)), 2)
    )
    return Moment(time, values, ratios)


def _ratio(of: str, to: str, a: Array, b: Array, scatter: float, level: float) -> Ratio:
    tiny = 1e-12 * max(float(np.abs(a).max()), float(np.abs(b).max()), 1e-300)
    quotient = np.maximum(a, tiny) / np.maximum(b, tiny)
    found = interval(quotient, level)
    told = not found.low <= 1.0 <= found.high
    logs = np.log(quotient)
    spread = float(np.diff(np.quantile(logs, [0.1587, 0.8413]))[0]) / 2.0 / np.sqrt(2.0)
    one = max(spread, scatter / np.sqrt(2.0), 1e-6)
    needed = None if told else specimens_needed(float(np.median(logs)), one, level)
    return Ratio(
        of, to, found, float(np.mean(a < b)), told, needed, float(np.exp(min(detectable(3, one, level), 50.0)))
    )
