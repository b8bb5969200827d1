"""Whether runs belong together: what was noted of them, how each fits with the others, and one shape for short and long."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.special import fdtrc

from creepfit.errors import InputError
from creepfit.inference.columns import Observations
from creepfit.inference.likelihood import Likelihood
from creepfit.inference.mixture import Draws
from creepfit.inference.noise import GAUGE_DEGREES
from creepfit.inference.priors import Priors
from creepfit.inference.scatter import pool_mixture
from creepfit.inference.stacking import StackedObservations, run_names, stack
from creepfit.inference.tested import steeper_mean
from creepfit.records.run import Run
from creepfit.units import show_time

WARMER = 2.0
"""Temperatures this far apart in K count as different (judgement: 1 % in compliance)."""

MOISTER = 0.1
"""Relative humidities this far apart count as different (judgement)."""

IMPROBABLE = 0.01
"""A run whose readings are less probable than this under the fit of the others does not fit with them."""

LONGER = 30.0
"""Tests this many times as long as the next shorter one are a group of their own."""

DECIDED = 0.95
"""Probability from which one shape or separate shapes count as decided."""

DRAWS = 2000


@dataclass(frozen=True)
class Misfit:
    """A run that does not fit with the others.

    `chi_square` is that of its `free` readings under the forecast that the other runs make for one more specimen, scatter
    between specimens included; `probability` that of one as large by chance.
    """

    run: str
    chi_square: float
    free: int
    probability: float


@dataclass(frozen=True)
class SharedShape:
    """Whether one curve serves tests of different length.

    `groups` are the runs of each length, `lengths` the longest time of each in s; `log_ratio` is ln of the evidence of one
    shape over that of separate shapes, `probability` that of one shape where both were as likely before.
    """

    groups: tuple[tuple[str, ...], ...]
    lengths: tuple[float, ...]
    log_ratio: float

    @property
    def probability(self) -> float:
        return float(1.0 / (1.0 + np.exp(-np.clip(self.log_ratio, -700.0, 700.0))))

    @property
    def text(self) -> str:
        """The finding in words."""
        spans = " and ".join(f"tests of {show_time(t)}" for t in self.lengths)
        if self.probability >= DECIDED:
            return f"one curve serves {spans}"
        if self.probability <= 1.0 - DECIDED:
            return f"one curve does not serve {spans}: fit them apart, or forecast from the long ones only"
        return f"these readings do not decide whether one curve serves {spans}"


def check_distinct(runs: Sequence[Run]) -> None:
    """Refuse the same readings twice: they would count as those of one more specimen.

    Raises
    ------
    InputError
        Two runs with the same content, read from files; the names of both.
    """
    seen: dict[tuple[str, str], Run] = {}
    for run in runs:
        first = seen.setdefault((run.source, run.bar), run) if run.source else run
        # the source alone does not tell runs apart that were changed after they were read
        if first is not run and (first.readings, first.steps) == (run.readings, run.steps):
            both = f"{first.file or first.label} and {run.file or run.label}"
            raise InputError(f"the same run twice: {both}", expected="each run once")


def check_poolable(runs: Sequence[Run], anyway: bool, but: Sequence[str] = ()) -> tuple[str, ...]:
    """What differs between runs that should be alike, in words; `but` names what may differ.

    Raises
    ------
    InputError
        Where there is nothing to pool, or runs without sizes are among runs with; and where anything differs and
        `anyway` is false.
    """
    if not runs:
        raise InputError("no run to pool", expected="one run or more")
    names = run_names(runs)
    kinds: dict[str, str] = {}
    for run, name in zip(runs, names, strict=True):
        kinds.setdefault(_kind(run), name)
    if len(kinds) > 1:
        kinds_named = "; ".join(f"{name}: {kind}" for kind, name in kinds.items())
        expected = "all in stress and strain, or all in mm under N on specimens of one shape"
        raise InputError("these runs have no common measure", found=kinds_named, expected=expected)
    differences = tuple(text for key in _keys(runs) if key not in but and (text := _difference(key, runs, names)))
    if differences and not anyway:
        expected = "runs alike in all of that, or --anyway to pool them all the same"
        raise InputError(f"the runs differ: {'; '.join(differences)}", expected=expected)
    return differences


def _kind(run: Run) -> str:
    if run.specimen.geometry.stress_per_load is None:
        return "mm under N, sizes unknown"
    return "stress and strain"


def _keys(runs: Sequence[Run]) -> list[str]:
    keys = dict.fromkeys(key for run in runs for key, _ in run.print_data)
    return ["material", "temperature", "humidity", "conditioning", *keys]


def _difference(key: str, runs: Sequence[Run], names: Sequence[str]) -> str | None:
    """The first two runs that differ in one thing noted of both."""
    noted = [(name, _noted(run, key)) for run, name in zip(runs, names, strict=True)]
    known = [(name, value) for name, value in noted if value is not None]
    for name, value in known[1:]:
        first_name, first = known[0]
        if _differ(key, first, value):
            return f"{key} {_shown(key, first)} of {first_name} and {_shown(key, value)} of {name}"
    return None


def _noted(run: Run, key: str) -> str | float | None:
    if key in ("material", "temperature", "humidity", "conditioning"):
        value: str | float | None = getattr(run, key)
        return value
    return dict(run.print_data).get(key)


def _differ(key: str, a: str | float, b: str | float) -> bool:
    if isinstance(a, str) or isinstance(b, str):
        return str(a).strip().casefold() != str(b).strip().casefold()
    return abs(a - b) > (WARMER if key == "temperature" else MOISTER)


def _shown(key: str, value: str | float) -> str:
    if isinstance(value, str):
        return repr(value)
    return f"{value:g} °C" if key == "temperature" else f"{100.0 * value:g} %"


def misfits_of(stacked: StackedObservations, names: Sequence[str], priors: Priors) -> tuple[Misfit, ...]:
    """Runs that do not fit with the others; with two runs left nobody can say which of them is off, so both are named.

    The power family alone does the forecasting: it is flexible enough within the data, and quick.
    """
    alone = priors.with_one_model()
    left = list(range(len(stacked.blocks)))
    misfits: list[Misfit] = []
    while len(left) > 1:
        scores = [_score(stacked, names, r, [i for i in left if i != r], alone) for r in left]
        worst = int(np.argmin([s.probability for s in scores]))
        if scores[worst].probability >= IMPROBABLE:
            break
        if len(left) == 2:
            misfits += sorted(scores, key=lambda s: s.probability)
            break
        misfits.append(scores[worst])
        del left[worst]
    return tuple(misfits)


def part_of(stacked: StackedObservations, which: Sequence[int]) -> StackedObservations:
    """The observations of some of the runs."""
    return stack(
        [stacked.blocks[i] for i in which], [str(stacked.specimens[i]) for i in which], [stacked.ages[i] for i in which]
    )


def _score(stacked: StackedObservations, names: Sequence[str], run: int, others: Sequence[int], priors: Priors) -> Misfit:
    """Chi-square of a run's readings under the forecast from the others, for one more specimen."""
    rest = part_of(stacked, others)
    draws = pool_mixture(rest, priors, ageing=False).mixture.draws(DRAWS)
    return score_run(names[run], stacked.blocks[run], draws, priors)


def score_run(name: str, block: Observations, draws: Draws, priors: Priors, steeper: float = 0.0) -> Misfit:
    """Chi-square of a run's readings under draws of a specimen that may be its own.

    `steeper` is by how much more than drawn it may creep in the decade after its last reading, as a share of its creep.
    """
    ahead = block.factor / draws.observed.factor * draws.deformation(block.history, block.times)
    level = np.abs(ahead).sum(axis=1)
    low, high = np.quantile(level, [0.01, 0.99])
    ahead = ahead[(level >= low) & (level <= high)]  # a covariance says nothing of draws with heavy tails
    noise, degrees = own_noise(block, priors)
    apart = steeper * steeper_mean(block, ahead.mean(axis=0))
    covariance = np.cov(ahead.T) + noise**2 * block.noise.correlation + np.outer(apart, apart)
    inverse = np.linalg.inv(covariance)
    by_zero = inverse @ block.zeros
    off = block.values - ahead.mean(axis=0)
    zero = np.linalg.solve(block.zeros.T @ by_zero, by_zero.T @ off)
    left = off - block.zeros @ zero
    chi_square, free = float(left @ inverse @ left), block.times.size - block.zeros.shape[1]
    probability = float(fdtrc(free, degrees, chi_square / free))
    return Misfit(name, chi_square, free, probability)


def own_noise(block: Observations, priors: Priors) -> tuple[float, float]:
    """Noise of one run, from what its gauge states and what a flexible curve leaves, and its degrees of freedom."""
    seen, free = Likelihood(block, priors).misfit
    degrees = GAUGE_DEGREES + free
    return float(np.sqrt((GAUGE_DEGREES * block.noise.stated**2 + free * seen**2) / degrees)), degrees


def shared_shape_of(
    stacked: StackedObservations, names: Sequence[str], priors: Priors, log_evidence: float
) -> SharedShape | None:
    """Evidence of one shape for all against a shape for each group of tests of one length; None with one group."""
    lengths = np.array([b.span.last for b in stacked.blocks])
    order = np.argsort(lengths, kind="stable")
    groups: list[list[int]] = [[int(order[0])]]
    for shorter, longer in pairwise(order):
        if lengths[longer] > LONGER * lengths[shorter]:
            groups.append([])
        groups[-1].append(int(longer))
    if len(groups) == 1:
        return None
    apart = 0.0
    for group in groups:
        part = part_of(stacked, group)
        apart += pool_mixture(part, priors).log_evidence
    return SharedShape(
        tuple(tuple(names[i] for i in group) for group in groups),
        tuple(float(max(lengths[i] for i in group)) for group in groups),
        log_evidence - apart,
    )
