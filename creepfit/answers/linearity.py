"""Is creep in proportion to stress? Compliances at two stresses compared, and Findley's hyperbolic sine from three on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from creepfit.answers.heading import heading
from creepfit.answers.interval import Caution, Interval, interval, intervals
from creepfit.answers.stress_levels import Level, compliance_draws, levels_of, runs_of, within_one_run
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit
from creepfit.inference.mixture import Draws
from creepfit.inference.stress_law import LAWS, STEEPEST, GridPosterior, StressData
from creepfit.mechanics.loading import Array
from creepfit.mechanics.stress_law import BARS, LoadMap, sinh_map, why_no_sinh
from creepfit.records.run import Run
from creepfit.units import DAY, HOUR, MINUTE

if TYPE_CHECKING:
    from pandas import DataFrame

TIMES = (MINUTE, 10.0 * MINUTE, HOUR, 10.0 * HOUR, DAY, 5.0 * DAY)
"""Times at which compliances are compared, as far as all runs were read; the last common time is added."""

FEWEST_LEVELS = 3
CLEAR = 0.95


@dataclass(frozen=True)
class Ratio:
    """Compliance at one stress over that at a lower one.

    `time` in s since loading, None where it is that of the whole curve, from steps within one run. `probability_softer`
    is that of a ratio above 1; `distinguishable` whether the interval leaves 1 out.
    """

    low_stress: float
    high_stress: float
    time: float | None
    ratio: Interval
    probability_softer: float
    distinguishable: bool

    def to_dict(self) -> dict[str, Any]:
        return {
            "of_MPa": self.high_stress,
            "to_MPa": self.low_stress,
            "time_h": None if self.time is None else self.time / HOUR,
            **self.ratio.to_dict(),
            "probability_softer": self.probability_softer,
            "distinguishable": self.distinguishable,
        }


@dataclass(frozen=True, eq=False)
class SinhLaw:
    """Findley's law: strain = D(t) sigma0 sinh(stress / sigma0), the same at all times.

    Attributes
    ----------
    highest : float
        Highest stress tested, MPa: nothing is said above it.
    probability_linear : float
        Of the linear law, where it and the other were as likely before.
    at_end : bool
        Whether the stress over sigma0 ended at the steepest that is searched, so that sigma0 may be smaller.
    level : float
        Probability of the intervals.
    """

    highest: float
    probability_linear: float
    at_end: bool
    level: float
    data: StressData = field(repr=False)
    steepness: GridPosterior = field(repr=False)
    seed: int

    def sigma0_at(self, probability: float) -> float:
        """Quantile of sigma0 in MPa, counted from the top: infinite at 0."""
        x = self.steepness.quantile(probability)
        return self.highest / x if x > 0.0 else np.inf

    @property
    def sigma0(self) -> Interval:
        """In MPa; `high` is infinite where the linear law is not ruled out, `median` where it is the likelier one."""
        low, median, high = (self.sigma0_at(p) for p in self._tails[::-1])
        linear = self.probability_linear
        return Interval(low, np.inf if linear > 0.5 else median, high if linear <= 1.0 - CLEAR else np.inf)

    @property
    def factor(self) -> Interval:
        """Strain at the highest stress over that of the linear law, in tension."""
        x = [self.highest / self.sigma0_at(p) for p in self._tails]
        return Interval(*(float(np.sinh(v) / v) if v > 0.0 else 1.0 for v in x))

    @property
    def _tails(self) -> tuple[float, float, float]:
        return 0.5 - self.level / 2.0, 0.5, 0.5 + self.level / 2.0

    def to_dict(self) -> dict[str, Any]:
        found = {name: None if np.isinf(value) else value for name, value in self.sigma0.to_dict().items()}
        why = "the readings do not rule out the linear law" if found["high"] is None else None
        return {
            "sigma0": {**found, "unit": "MPa", "why": why},
            "highest_stress_MPa": self.highest,
            "factor_at_highest": self.factor.to_dict(),
            "probability_linear": self.probability_linear,
            "at_end_of_range": self.at_end,
        }

    @cached_property
    def members(self) -> tuple[tuple[float, Draws], ...]:
        """Draws under a few equally probable values of sigma0 (infinite for linear), each with its own."""
        found = []
        for i in range(LAWS):
            sigma0 = self.sigma0_at((i + 0.5) / LAWS)
            mixture = self.data.mixture(lambda run, sigma0=sigma0: sinh_map(run.specimen, sigma0))  # type: ignore[misc]
            found.append((sigma0, mixture.draws(1000, self.seed)))
        return tuple(found)

    def strain(self, stress: float, times: Array) -> Array:
        """Draws of the strain under a stress [MPa] held, at times (T,) in s: shape (N, T), as a fraction.

        Raises
        ------
        InputError
            Above the highest stress tested.
        """
        if stress > self.highest * (1.0 + 1e-9):
            expected = f"no more than the highest tested, {self.highest:.3g} MPa"
            raise InputError(key="stress", found=f"{stress:g} MPa", expected=expected)
        rows = []
        for sigma0, draws in self.members:
            carried = stress if np.isinf(sigma0) else sigma0 * np.sinh(stress / sigma0)
            rows.append(carried * draws.compliance(times))
        return np.concatenate(rows)


@dataclass(frozen=True, eq=False)
class Linearity:
    """Whether creep is in proportion to stress.

    `law` is None where fewer than three stresses were tested or the law cannot be used, and `why` says so.
    """

    fit: Fit
    levels: tuple[Level, ...]
    ratios: tuple[Ratio, ...]
    law: SinhLaw | None
    why: str | None
    cautions: tuple[Caution, ...]
    level: float

    @property
    def text(self) -> str:
        """The finding in a sentence."""
        low, high = self.levels[0].stress, self.levels[-1].stress
        span = f"between {low:.3g} and {high:.3g} MPa"
        if self.law is not None and self.law.probability_linear <= 1.0 - CLEAR:
            return f"creep is not in proportion to stress {span}: {_softer(self.law.factor)} at the highest, in tension"
        told = [r for r in self.ratios if r.high_stress == high and r.distinguishable]
        if told:
            return f"creep is not in proportion to stress {span}: {_softer(told[-1].ratio)} at the highest, as tested"
        if self.law is None and not self.ratios:
            return f"whether creep is in proportion to stress {span} cannot be told: {self.why}"
        return f"no departure from proportion to stress can be told from these readings {span}"

    def table(self) -> DataFrame:
        """One row a ratio."""
        from pandas import DataFrame

        return DataFrame([r.to_dict() for r in self.ratios])

    def to_dict(self) -> dict[str, Any]:
        return {
            **heading(self.fit, self.level),
            "levels": [level.to_dict() for level in self.levels],
            "ratios": [r.to_dict() for r in self.ratios],
            "law": None if self.law is None else self.law.to_dict(),
            "why": self.why,
            "finding": self.text,
            "cautions": [c.to_dict() for c in self.cautions],
        }


def linearity(fits: Sequence[Fit], level: float | None = None) -> Linearity:
    """Test whether creep is in proportion to stress.

    Parameters
    ----------
    fits : sequence of Fit
        Of one material at two stresses or more: a run each, pooled runs of one stress, or runs with several steps.
    level : float, optional
        Probability of the intervals, the first fit's own if not given.

    Raises
    ------
    InputError
        Where fewer than two stresses were tested, or a stress is not known.

    Notes
    -----
    Compliances of separate runs are compared as drawn from each run's own fit, with what specimens usually differ by.
    Steps within one run are compared by superposition: without it, creep of earlier steps passes for softening.
    """
    if not fits:
        raise InputError("no fit given", expected="fits at two stresses or more")
    level = fits[0].level if level is None else level
    levels = levels_of(fits)
    if len(levels) < 2:
        raise InputError("one stress tells nothing of others", found=f"{levels[0].stress:.3g} MPa", expected="two or more")
    runs = runs_of(fits)
    data = StressData.of(runs, fits[0].priors)
    law, why = _law(data, levels, fits[0].seed, level)
    ratios = [*_between_runs(levels, level, fits[0].seed), *_within_runs(data, levels, law, level)]
    if not ratios and len(levels) < FEWEST_LEVELS:
        why = "no two stresses have readings at the same time after loading, counted from an initial reading"
    return Linearity(fits[0], levels, tuple(ratios), law, why, _cautions(runs, levels), level)


def _law(data: StressData, levels: tuple[Level, ...], seed: int, level: float) -> tuple[SinhLaw | None, str | None]:
    if len(levels) < FEWEST_LEVELS:
        return None, f"{len(levels)} stresses give their ratio only; a law takes {FEWEST_LEVELS} or more"
    for run in data.runs:
        why = why_no_sinh(run.specimen)
        if why is not None:
            return None, f"{run.label}: {why}"
    highest = levels[-1].stress
    found = data.steepness(highest)
    linear = float(1.0 / (1.0 + np.exp(np.clip(found.log_evidence - found.log_at_low, -700.0, 700.0))))
    at_end = bool(found.density[-1] > 0.1 * found.density.max() and found.values[-1] >= STEEPEST)
    return SinhLaw(highest, linear, at_end, level, data, found, seed), None


def _between_runs(levels: tuple[Level, ...], level: float, seed: int) -> list[Ratio]:
    """Ratios to the lowest stress at common times, where each has a run of its own with an initial reading."""
    usable = [found for found in levels if found.alone]
    out: list[Ratio] = []
    for other in usable[1:]:
        times = _common_times(usable[0], other)
        if times.size == 0:
            continue
        low, high = compliance_draws(usable[0], other, times, seed)
        draws = np.exp(high - low)
        rows = zip(times, intervals(draws, level), (draws > 1.0).mean(axis=0), strict=True)
        out += [_ratio(usable[0], other, float(t), found, float(p)) for t, found, p in rows]
    return out


def _within_runs(data: StressData, levels: tuple[Level, ...], law: SinhLaw | None, level: float) -> list[Ratio]:
    """The ratio of two stresses that one specimen was tested at; of three or more the law gives them all."""
    if not any(within_one_run(run, levels) for run in data.runs):
        return []
    if law is None:
        if len(levels) > 2:
            return []
        found = data.ratio(levels[0].stress, levels[1].stress)
        values = [found.quantile(p) for p in np.linspace(0.0005, 0.9995, 1000)]
        draws = np.exp(np.array(values))
        return [_ratio(levels[0], levels[1], None, interval(draws, level), float((draws > 1.0).mean()))]
    run = next(r for r in data.runs if within_one_run(r, levels))
    laws = [law.sigma0_at(p) for p in np.linspace(0.0005, 0.9995, 400)]
    out = []
    for other in levels[1:]:
        draws = np.array([_softening(run, levels[0].stress, other.stress, sigma0) for sigma0 in laws])
        told = law.probability_linear <= 1.0 - CLEAR
        shown = interval(draws, level)
        out.append(Ratio(levels[0].stress, other.stress, None, shown, 1.0 - law.probability_linear, told))
    return out


def _softening(run: Run, low: float, high: float, sigma0: float) -> float:
    """Compliance that the specimen shows at the higher stress over that at the lower one."""
    law: LoadMap = sinh_map(run.specimen, sigma0)
    loads = np.array([low, high]) / float(run.specimen.geometry.stress_per_load or 1.0)
    shown = law(loads) / loads
    return float(shown[1] / shown[0])


def _ratio(low: Level, high: Level, time: float | None, found: Interval, softer: float) -> Ratio:
    return Ratio(low.stress, high.stress, time, found, softer, not found.low <= 1.0 <= found.high)


def _common_times(low: Level, high: Level) -> Array:
    first, last = max(low.first, high.first), min(low.last, high.last)
    if last < first:
        return np.empty(0)
    inside = [t for t in TIMES if first <= t < 0.9 * last]
    return np.array([*inside, last])


def _cautions(runs: Sequence[Run], levels: tuple[Level, ...]) -> tuple[Caution, ...]:
    found = []
    if any(isinstance(run.specimen, BARS) for run in runs):
        found.append(
            Caution(
                "bending-hides-softening",
                "In bending the section hands stress from its outside inwards, so a ratio as tested shows only a good "
                "third of what tension at the same stress would show; the law counts with that.",
                "a run in tension at the highest stress",
            )
        )
    names = [name for level in levels for name in level.specimens]
    if len(set(names)) == len(levels):
        found.append(
            Caution(
                "one-specimen-a-stress",
                "Each stress has one specimen, so a stiff bar cannot be told from a stiff stress: the intervals hold what "
                "bars usually differ by.",
                "a second specimen at the lowest and at the highest stress, or one specimen at rising stresses",
            )
        )
    return tuple(found)


def _softer(ratio: Interval) -> str:
    low, high = 100.0 * (ratio.low - 1.0), 100.0 * (ratio.high - 1.0)
    return f"{low:+.0f} to {high:+.0f} % compliance"
