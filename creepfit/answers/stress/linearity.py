"""Is creep in proportion to stress? Compliances at two stresses compared, and Findley's hyperbolic sine from three on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from creepfit.answers.doubts.stress import next_test, stress_doubts
from creepfit.answers.heading import heading
from creepfit.answers.interval import Caution, Interval, intervals
from creepfit.answers.stress.laws import RatioLaw, SinhLaw
from creepfit.answers.stress.levels import Level, compliance_draws, levels_of, runs_of, stresses_of, within_one_run
from creepfit.asked import asked_level
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit
from creepfit.inference.pool_checks import check_poolable
from creepfit.inference.run_fit import asked_fits
from creepfit.inference.stress_law import RATIO_SPREAD, STEEPEST, StressData
from creepfit.mechanics.loading import Array
from creepfit.mechanics.stress_law import shown_share, why_no_sinh
from creepfit.records.run import Run
from creepfit.shown import Shown
from creepfit.units import DAY, HOUR, MINUTE, show_number

if TYPE_CHECKING:
    from pandas import DataFrame

TIMES = (MINUTE, 10.0 * MINUTE, HOUR, 10.0 * HOUR, DAY, 5.0 * DAY)
"""Times at which compliances are compared, as far as all runs were read; the last common time is added."""

FEWEST_LEVELS = 3
CLEAR = 0.95

SMALL_DEPARTURE = 0.05
"""Departure from proportion at the highest stress, in tension, that does not matter: less than bars of one print differ by
(common practice, no source)."""

Verdict = Literal["yes", "no", "cannot be told"]


@dataclass(frozen=True)
class Ratio:
    """Compliance at one stress over that at a lower one, as the specimens show it.

    `time` in s since loading, None where it is that of the whole curve, from steps within one run. `probability_softer`
    is that of a ratio above 1; `distinguishable` whether the interval leaves 1 out.
    """

    low_stress: float
    high_stress: float
    time: float | None
    ratio: Interval
    probability_softer: float

    @property
    def distinguishable(self) -> bool:
        return not self.ratio.low <= 1.0 <= self.ratio.high

    def to_dict(self) -> dict[str, Any]:
        return {
            "of_MPa": self.high_stress,
            "to_MPa": self.low_stress,
            "time_h": None if self.time is None else self.time / HOUR,
            **self.ratio.to_dict(),
            "probability_softer": self.probability_softer,
            "distinguishable": self.distinguishable,
        }


@dataclass(frozen=True, eq=False, repr=False)
class Linearity(Shown):
    """Whether creep is in proportion to stress.

    Attributes
    ----------
    levels : tuple of Level
        Stresses tested, ascending.
    ratios : tuple of Ratio
    law : SinhLaw or None
        None where fewer than three stresses were tested or the law cannot be used; `why` says so.
    steps : RatioLaw or None
        The ratio of the highest stress to the lowest from steps within one run, None where no run has steps.
    share : float
        Share of a departure in tension that the specimens show at the same stress.
    differences : tuple of str
        In what else the runs differ, in words.
    """

    fit: Fit
    runs: tuple[Run, ...]
    levels: tuple[Level, ...]
    ratios: tuple[Ratio, ...]
    law: SinhLaw | None
    steps: RatioLaw | None
    why: str | None
    share: float
    differences: tuple[str, ...]
    cautions: tuple[Caution, ...]
    level: float

    @property
    def headline(self) -> str:
        return self.text

    @property
    def top(self) -> Ratio | None:
        """The ratio at the highest stress that is known best; None where there is none."""
        top = [r for r in self.ratios if r.high_stress == max(s.high_stress for s in self.ratios)]
        return min(top, key=lambda r: r.ratio.high - r.ratio.low, default=None)

    @property
    def departure(self) -> Interval | None:
        """How much more than in proportion the highest stress strains in tension, as a share; None where unknown.

        By the law where there is one, and then as if proportion were ruled out beforehand, so that it is no promise; else
        from the best known ratio, as if the departure grew with the square of stress.
        """
        if self.law is not None:
            return Interval(*(f - 1.0 for f in self.law.factor_if_not_linear.to_dict().values()))
        if self.top is None:
            return None
        gain = self.share * (1.0 - (self.top.low_stress / self.top.high_stress) ** 2)
        return Interval(*((r - 1.0) / gain for r in self.top.ratio.to_dict().values()))

    @property
    def proportional(self) -> Verdict:
        """ "no" where that is clear; "yes" where at most a small departure is left; else it cannot be told."""
        top, departure = self.top, self.departure
        if self.law is None:
            told = top is not None and top.distinguishable
        else:  # the law knows no stiffening, so that is for the ratio to tell
            told = self.law.probability_linear <= 1.0 - CLEAR or (top is not None and top.ratio.high < 1.0)
        if told:
            return "no"
        if departure is not None and max(-departure.low, departure.high) <= SMALL_DEPARTURE:
            return "yes"
        return "cannot be told"

    @property
    def text(self) -> str:
        """The finding in a sentence."""
        low, high = self.levels[0].stress, self.levels[-1].stress
        if self.law is None and self.top is not None:
            low, high = self.top.low_stress, self.top.high_stress
        span = f"between {show_number(low)} and {show_number(high)} MPa"
        verdict, departure = self.proportional, self.departure
        if verdict == "no":
            return f"creep is not in proportion to stress {span}: {self._told()}"
        if departure is None:
            return f"whether creep is in proportion to stress {span} cannot be told: {self.why}"
        size = max(-departure.low, departure.high)
        most = f"{show_number(100.0 * size, digits=2)} %"
        if verdict == "yes":
            kind = "softening" if self.law is not None else "one"
            return (
                f"no departure from proportion to stress can be told {span}; if there is {kind}, it is no more than {most} "
                "at the highest, in tension"
            )
        advice = next_test(self)
        hidden = "one as large as proportion itself" if size > 1.0 else f"one of {most} at the highest, in tension,"
        shows = self._hint() or f"no departure shows, but {hidden} could hide"
        return f"whether creep is in proportion to stress {span} cannot be told with these stresses: {shows}" + (
            f"; next: {advice}" if advice else ""
        )

    def _hint(self) -> str | None:
        """A departure that is likelier than not and yet not clear, in words."""
        if self.law is not None and self.law.probability_linear < 0.5:
            chance = 1.0 - self.law.probability_linear
            return f"softening is likelier than not (probability {chance:.2f}), but errors and unlike bars may feign it"
        return None

    def _told(self) -> str:
        if self.law is not None and self.law.probability_linear <= 1.0 - CLEAR:
            return f"{_softer(self.law.factor)} at the highest, in tension"
        assert self.top is not None
        return f"{_softer(self.top.ratio)} at the highest over the lowest, as tested"

    @property
    def assumptions(self) -> tuple[str, ...]:
        """What is taken for granted, and what was assumed before the readings."""
        found = [
            "one curve of time for all stresses, so that stress changes how much it creeps and not how fast; loads put on "
            "one after another add what the new load does and take off what the old one did (modified superposition)",
        ]
        if self.law is not None:
            highest = self.law.highest
            found.append(
                "hyperbolic sine: as likely as proportion; where it holds, the highest stress over the sinh stress is "
                f"anything from 0 to {STEEPEST:g} with one probability, so the sinh stress is at least "
                f"{show_number(highest / STEEPEST)} MPa (there {show_number(np.sinh(STEEPEST) / STEEPEST)} times the creep "
                "in proportion)"
            )
        if self.steps is not None:
            found.append(
                f"ratio from steps within one run: normal around 1, {100.0 * RATIO_SPREAD:.0f} % (logarithm); in between "
                "it goes with the square of stress"
            )
        if len({name for level in self.levels for name in level.specimens}) > 1:
            found.append("scatter of stiffness, and of creep besides, between specimens: log-normal with a median of 10 %")
        return tuple(found)

    def table(self) -> DataFrame:
        """One row a ratio."""
        from pandas import DataFrame

        return DataFrame([r.to_dict() for r in self.ratios])

    def to_dict(self) -> dict[str, Any]:
        departure = self.departure
        return {
            **heading(self.fit, self.level),
            "run": [r.label for r in self.runs],
            "proportional": self.proportional,
            "finding": self.text,
            "next_test": next_test(self),
            "departure_at_highest": None if departure is None else departure.to_dict(),
            "share_shown": self.share,
            "levels": [level.to_dict() for level in self.levels],
            "ratios": [r.to_dict() for r in self.ratios],
            "law": None if self.law is None else self.law.to_dict(),
            "why": self.why,
            "assumptions": list(self.assumptions),
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
        Where fewer than two stresses were tested, a stress is not known, or the runs have no common measure.

    Notes
    -----
    Compliances of separate runs are compared as drawn from each run's own fit, with what specimens usually differ by.
    Steps within one run are compared by superposition: without it, creep of earlier steps passes for softening.
    """
    fits = asked_fits(fits)
    if not fits:
        raise InputError("no fit given", expected="fits at two stresses or more")
    level = fits[0].level if level is None else asked_level(level)
    runs = runs_of(fits)
    differences = check_poolable(runs, anyway=True)
    levels = levels_of(fits)
    if len(levels) < 2:
        found = f"{show_number(levels[0].stress)} MPa" if levels else "no reading under a load that stands"
        expected = "runs at two stresses or more, or one run with load steps"
        raise InputError("one stress tells nothing of others", file=runs[0].file, found=found, expected=expected)
    data = StressData.of(runs, fits[0].priors)
    law, why = _law(data, levels, fits[0].seed, level)
    steps = _steps(fits, levels, runs)
    ratios = _between_runs(levels, level, fits[0].seed)
    if steps is not None:
        shown = steps.interval(level)
        ratios.append(Ratio(steps.lowest, steps.highest, None, shown, steps.probability_softer))
    if not ratios and len(levels) < FEWEST_LEVELS:
        why = "no two stresses have readings at the same time after loading, counted from an initial reading"
    share = min(shown_share(run.specimen) for run in runs)
    answer = Linearity(fits[0], runs, levels, tuple(ratios), law, steps, why, share, differences, (), level)
    return replace(answer, cautions=stress_doubts(answer))


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
    return SinhLaw(highest, data, found, seed, linear, at_end, level), None


def _steps(fits: Sequence[Fit], levels: tuple[Level, ...], runs: Sequence[Run]) -> RatioLaw | None:
    """The ratio that specimens show between their own steps; None where no run has any.

    Runs without steps are left out: beside them the scatter between specimens would have its say.
    """
    stepped = [run for run in runs if within_one_run(run, levels)]
    if not stepped:
        return None
    data = StressData.of(stepped, fits[0].priors)
    own = [level.stress for level in levels if any(level.holds(s) for run in stepped for s in stresses_of(run))]
    low, high = own[0], own[-1]
    return RatioLaw(high, data, data.ratio(low, high), fits[0].seed, low)


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
        out += [Ratio(usable[0].stress, other.stress, float(t), found, float(p)) for t, found, p in rows]
    return out


def _common_times(low: Level, high: Level) -> Array:
    first, last = max(low.first, high.first), min(low.last, high.last)
    if last < first:
        return np.empty(0)
    inside = [t for t in TIMES if first <= t < 0.9 * last]
    return np.array([*inside, last])


def _softer(ratio: Interval) -> str:
    low, high = 100.0 * (ratio.low - 1.0), 100.0 * (ratio.high - 1.0)
    return f"{low:+.0f} to {high:+.0f} % compliance"
