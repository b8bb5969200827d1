"""Is creep in proportion to stress? Compliances at two stresses compared, and Findley's hyperbolic sine from three on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from creepfit.answers.doubts.stress import stress_doubts
from creepfit.answers.interval import intervals
from creepfit.answers.stress.laws import RatioLaw, SinhLaw
from creepfit.answers.stress.levels import StressLevel, compliance_draws, levels_of, runs_of, stresses_of, within_one_run
from creepfit.answers.stress.proportion import Linearity, StressRatio
from creepfit.asked import asked_level
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit
from creepfit.inference.pool_checks import check_poolable
from creepfit.inference.run_fit import asked_fits
from creepfit.inference.stress_law import STEEPEST, StressData
from creepfit.mechanics.loading import Array
from creepfit.mechanics.stress_law import shown_share, why_no_sinh
from creepfit.records.run import Run
from creepfit.units import DAY, HOUR, MINUTE, show_number

__all__ = ["Linearity", "StressRatio", "linearity"]

TIMES = (MINUTE, 10.0 * MINUTE, HOUR, 10.0 * HOUR, DAY, 5.0 * DAY)
"""Times at which compliances are compared, as far as all runs were read; the last common time is added."""

FEWEST_LEVELS = 3


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
        tested = f"{show_number(levels[0].stress)} MPa" if levels else "no reading under a load that stands"
        expected = "runs at two stresses or more, or one run with load steps"
        raise InputError("one stress tells nothing of others", file=runs[0].file, found=tested, expected=expected)
    data = StressData.of(runs, fits[0].priors)
    law, why = _law(data, levels, fits[0].seed, level)
    steps = _steps(fits, levels, runs)
    ratios = _between_runs(levels, level, fits[0].seed)
    if steps is not None:
        shown = steps.interval(level)
        ratios.append(StressRatio(steps.lowest, steps.highest, None, shown, steps.probability_softer))
    if not ratios and len(levels) < FEWEST_LEVELS:
        why = "no two stresses have readings at the same time after loading, counted from an initial reading"
    share = min(shown_share(run.specimen) for run in runs)
    answer = Linearity(fits[0], runs, levels, tuple(ratios), law, steps, why, share, differences, (), level)
    return replace(answer, cautions=stress_doubts(answer))


def _law(data: StressData, levels: tuple[StressLevel, ...], seed: int, level: float) -> tuple[SinhLaw | None, str | None]:
    if len(levels) < FEWEST_LEVELS:
        return None, f"{len(levels)} stresses give their ratio only; a law takes {FEWEST_LEVELS} or more"
    for run in data.runs:
        why = why_no_sinh(run.specimen)
        if why is not None:
            return None, f"{run.label}: {why}"
    highest = levels[-1].stress
    steepness = data.steepness(highest)
    linear = float(1.0 / (1.0 + np.exp(np.clip(steepness.log_evidence - steepness.log_at_low, -700.0, 700.0))))
    at_end = bool(steepness.density[-1] > 0.1 * steepness.density.max() and steepness.values[-1] >= STEEPEST)
    return SinhLaw(highest, data, steepness, seed, linear, at_end, level), None


def _steps(fits: Sequence[Fit], levels: tuple[StressLevel, ...], runs: Sequence[Run]) -> RatioLaw | None:
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


def _between_runs(levels: tuple[StressLevel, ...], level: float, seed: int) -> list[StressRatio]:
    """Ratios to the lowest stress at common times, where each has a run of its own with an initial reading."""
    usable = [one for one in levels if one.alone]
    out: list[StressRatio] = []
    for other in usable[1:]:
        times = _common_times(usable[0], other)
        if times.size == 0:
            continue
        low, high = compliance_draws(usable[0], other, times, seed)
        draws = np.exp(high - low)
        rows = zip(times, intervals(draws, level), (draws > 1.0).mean(axis=0), strict=True)
        out += [StressRatio(usable[0].stress, other.stress, float(t), ratio, float(p)) for t, ratio, p in rows]
    return out


def _common_times(low: StressLevel, high: StressLevel) -> Array:
    first, last = max(low.first, high.first), min(low.last, high.last)
    if last < first:
        return np.empty(0)
    inside = [t for t in TIMES if first <= t < 0.9 * last]
    return np.array([*inside, last])
