"""How creep depends on stress: the evidence of all readings as a function of one number of a load map.

The map (hyperbolic sine, or a ratio of compliances at two loads) is a warp before the columns, so for each value of its
number the runs are a pooled linear problem like any other: superposition takes care of earlier steps, the scatter
between specimens of what a single stiff one would feign.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from creepfit.inference.columns import Observations, observations
from creepfit.inference.components import members_of
from creepfit.inference.likelihood import Likelihood
from creepfit.inference.mixture import Mixture, mixture
from creepfit.inference.posterior import posteriors_of
from creepfit.inference.priors import Priors
from creepfit.inference.scatter import pool_mixture
from creepfit.inference.stacking import StackedObservations, specimen_names, stack
from creepfit.mechanics.loading import Array
from creepfit.mechanics.stress_law import LoadMap, sinh_map, squared_map
from creepfit.records.run import Run

STEEPEST = 3.0
"""Largest stress over sigma0 that is searched; there creep is 3.3 times what it would be by the linear law."""

RATIOS = (0.4, 3.0)
"""Range of compliance ratios of two loads that is searched."""

RATIO_SPREAD = 0.3
"""Standard deviation of the normal prior of the logarithm of that ratio (judgement: the hyperbolic sine at 1.5 sigma0
gives 1.4)."""

COARSE, FINE = 13, 13
REACH = 8.0
FINER = 6
"""Times at most that a grid is made finer: by a factor of six each."""

MOST_NODES = 1600
"""Nodes of a member that are followed over scatters: each of a few values of a law's number gets some hundred draws, and
runs that tell something have fewer."""

SHOWN = 241
"""Points between which a posterior counts as linear."""


@dataclass(frozen=True, eq=False)
class GridPosterior:
    """Posterior of one number on an even grid: `density` integrates to 1 by the trapezoidal rule.

    `log_evidence` is the integral of prior times evidence, `log_at_low` the evidence at the first point of the range.
    """

    values: Array
    density: Array
    log_evidence: float
    log_at_low: float

    def quantile(self, probability: float) -> float:
        """Quantile, linear between points."""
        return float(np.interp(probability, self._mass, self.values))

    def probability_above(self, value: float) -> float:
        """Probability of more than a value."""
        return 1.0 - float(np.interp(value, self.values, self._mass))

    @property
    def _mass(self) -> Array:
        steps = 0.5 * (self.density[1:] + self.density[:-1]) * np.diff(self.values)
        mass = np.concatenate([[0.0], np.cumsum(steps)])
        return np.asarray(mass / mass[-1])


@dataclass(frozen=True, eq=False)
class StressData:
    """Runs with their observations, to be fitted under one load map after another."""

    runs: tuple[Run, ...]
    observed: tuple[Observations, ...]
    priors: Priors

    @classmethod
    def of(cls, runs: Sequence[Run], priors: Priors) -> StressData:
        """Prepare runs."""
        return cls(tuple(runs), tuple(observations(r) for r in runs), priors)

    @property
    def relative_sd(self) -> float:
        """What the tolerance of the sizes does to a compliance, root mean square over the runs.

        It is not taken to average out between specimens: one tool measured them all.
        """
        return float(np.sqrt(np.mean([r.relative_sd**2 for r in self.runs])))

    def stacked(self, map_of: Callable[[Run], LoadMap]) -> StackedObservations:
        """All runs with their loads mapped, each by its own specimen's map."""
        blocks = [
            replace(o, history=o.history.with_loads_mapped(map_of(r)))
            for r, o in zip(self.runs, self.observed, strict=True)
        ]
        return stack(blocks, specimen_names(self.runs), [r.age for r in self.runs])

    def log_evidence(self, maps: Iterable[Callable[[Run], LoadMap]]) -> Array:
        """Evidence of the power family under each map; it is flexible enough within the data, and quick."""
        each = [self.stacked(map_of) for map_of in maps]
        alone = self.priors.with_one_model()
        if each[0].count > 1:
            return np.array(
                [pool_mixture(stacked, alone, ageing=False, most_nodes=MOST_NODES).log_evidence for stacked in each]
            )
        under = [Likelihood(stacked, alone) for stacked in each]
        found = posteriors_of([(m, shared) for shared in under for m in members_of(shared.observed, alone, None)])
        joint = np.array([np.log(p.member.weight) + p.log_evidence for p in found])
        return np.asarray(logsumexp(joint.reshape(len(each), -1), axis=1))

    def mixture(self, map_of: Callable[[Run], LoadMap]) -> Mixture:
        """Posterior of all models under one map; of the average specimen where there are several."""
        stacked = self.stacked(map_of)
        if stacked.count > 1:
            return replace(pool_mixture(stacked, self.priors, most_nodes=MOST_NODES).mixture, average=True)
        return mixture(stacked, self.priors, stacked.ages[0] if None not in stacked.ages else None)

    def steepness(self, highest: float) -> GridPosterior:
        """Posterior of `highest` [MPa] over sigma0, uniform before from 0 (linear) to 3."""

        def map_at(x: float) -> Callable[[Run], LoadMap]:
            return lambda run: sinh_map(run.specimen, highest / x if x > 0.0 else np.inf)

        def evidence(x: Array) -> Array:
            return self.log_evidence(map(map_at, x.tolist()))

        return grid_posterior(evidence, 0.0, STEEPEST, lambda x: np.full_like(x, -np.log(STEEPEST)))

    def ratio(self, low: float, high: float) -> GridPosterior:
        """Posterior of ln of the compliance at the stress `high` over that at `low` [MPa], both of the same curve."""

        def prior(x: Array) -> Array:
            return np.asarray(-0.5 * (x / RATIO_SPREAD) ** 2 - np.log(RATIO_SPREAD * np.sqrt(2.0 * np.pi)))

        def evidence(x: Array) -> Array:
            return self.log_evidence(ratio_map(low, high, ratio) for ratio in np.exp(x).tolist())

        ends = np.log(RATIOS)
        return grid_posterior(evidence, ends[0], ends[1], prior)


def ratio_map(low: float, high: float, ratio: float) -> Callable[[Run], LoadMap]:
    """The map of a run's loads where compliance changes by `ratio` from the stress `low` to `high` [MPa]."""

    def of(run: Run) -> LoadMap:
        per_load = float(run.specimen.geometry.stress_per_load or 1.0)
        return squared_map(low / per_load, high / per_load, ratio)

    return of


def grid_posterior(
    log_evidence: Callable[[Array], Array],
    low: float,
    high: float,
    log_prior: Callable[[Array], Array],
) -> GridPosterior:
    """Posterior of one number: a coarse grid over its range, and finer ones until half of one holds what is probable."""
    from scipy.interpolate import CubicSpline  # slow to import, and few commands need it

    grid = np.linspace(low, high, COARSE)
    joint = log_prior(grid) + log_evidence(grid)
    at_low = float(joint[0] - log_prior(grid[:1])[0])
    for _ in range(FINER):
        likely = np.flatnonzero(joint >= joint.max() - REACH)
        first, last = max(int(likely[0]) - 1, 0), min(int(likely[-1]) + 1, grid.size - 1)
        if last - first > 0.5 * (grid.size - 1):
            break
        grid = np.linspace(grid[first], grid[last], FINE)
        joint = log_prior(grid) + log_evidence(grid)
    shown = np.linspace(grid[0], grid[-1], SHOWN)
    # the logarithm is nearly a parabola where it matters, which a spline through a dozen points keeps
    smooth = CubicSpline(grid, joint)(shown)
    density = np.exp(smooth - smooth.max())
    whole = float(np.trapezoid(density, shown))
    return GridPosterior(shown, density / whole, float(np.log(whole) + smooth.max()), at_low)
