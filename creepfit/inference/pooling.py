"""`fit_pooled`: several runs of one material fitted together, with one curve and a stiffness for each specimen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from creepfit.asked import asked_level, tails
from creepfit.errors import FitError
from creepfit.inference.columns import Observations, observations
from creepfit.inference.likelihood import Likelihood
from creepfit.inference.mixture import DEFAULT_SEED, Draws, Mixture
from creepfit.inference.model_fit import ModelFit, fit_models
from creepfit.inference.pool_checks import (
    Misfit,
    SharedShape,
    check_distinct,
    check_poolable,
    misfits_of,
    shared_shape_of,
)
from creepfit.inference.priors import Priors, priors_for
from creepfit.inference.run_fit import DEFAULT_LEVEL, Fit, check_readings
from creepfit.inference.scatter import mean_curve, pool_mixture, scatter_quantiles, specimen_factors
from creepfit.inference.specimen_amplitudes import SpecimensLikelihood
from creepfit.inference.stacking import StackedObservations, run_names, specimen_names, stack
from creepfit.mechanics.loading import Array
from creepfit.models.registry import MODELS
from creepfit.records.run import Run

COMPARABLE = 0.5
"""Runs at least this part of the longest one's length may stand for the pool."""

MEAN_DRAWS = 400
"""Draws whose mean is the curve about which specimens scatter in best fits."""


@dataclass(frozen=True)
class Scatter:
    """Scatter between specimens: quantiles of a standard deviation of logarithms, at probability `level`.

    `specimens` is how many it was seen on; `source` says in words how far it was seen at all.
    """

    low: float
    median: float
    high: float
    level: float
    specimens: int
    source: str


@dataclass(frozen=True)
class SpecimenFactor:
    """How much softer (above 1) or stiffer a specimen is than the average one: its compliance over the average's."""

    specimen: str
    low: float
    median: float
    high: float


@dataclass(frozen=True, eq=False, repr=False)
class PooledFit(Fit):
    """A fit of several runs; all that takes a `Fit` takes it, and answers for a new specimen.

    `run` and `observed` are those of the reference run: the first that has an initial reading (where any has) and lasted
    about as long as any. `models` are best fits to all runs together.

    Attributes
    ----------
    runs : tuple of Run
    stacked : StackedObservations
        All readings; what mixture and draws are of.
    pooled : Mixture
        Over models and scatter between specimens; `mixture` is the same in the climate asked about.
    log_evidence : float
        Of all readings together.
    differences : tuple of str
        What else differs between the runs, pooled all the same because that was asked for.
    """

    runs: tuple[Run, ...] = field(kw_only=True)
    stacked: StackedObservations = field(kw_only=True)
    pooled: Mixture = field(kw_only=True)
    log_evidence: float = field(kw_only=True)
    differences: tuple[str, ...] = field(kw_only=True)

    @property
    def headline(self) -> str:
        names = ", ".join(self.models) or "no model for a table"
        return f"{self.label}, {self.specimens} specimens; {names}"

    @property
    def label(self) -> str:
        return f"{self.run.material}, {len(self.runs)} runs pooled, as {self.run.name or 'the first'}"

    @cached_property
    def mixture(self) -> Mixture:
        """Posterior over the members of the mixture and the scatter between specimens."""
        return replace(self.pooled, warming=self.warming)

    @property
    def specimens(self) -> int:
        """How many specimens the runs were made on."""
        return self.stacked.count

    @cached_property
    def average(self) -> PooledFit:
        """The same fit, whose draws are of the average of all specimens instead of a new one."""
        return replace(self, pooled=replace(self.pooled, average=True))

    @cached_property
    def average_draws(self) -> Draws:
        """Draws of the average of all specimens: scatter between specimens is not in them."""
        return self.average.draws

    @property
    def scatter(self) -> Scatter:
        """How much specimens differ in stiffness."""
        return self._scatter(self.average_draws.scatter)

    @property
    def creep_scatter(self) -> Scatter:
        """How much specimens differ in creep besides, at the same stiffness."""
        return self._scatter(self.average_draws.creep_scatter)

    def _scatter(self, drawn: Array) -> Scatter:
        low, median, high = np.quantile(drawn, tails(self.level))
        return Scatter(float(low), float(median), float(high), self.level, self.specimens, _source(self.specimens))

    @cached_property
    def factors(self) -> tuple[SpecimenFactor, ...]:
        """Compliance of each specimen over the average one's."""
        drawn = specimen_factors(self.average_draws, self.stacked, self.priors, self.seed)
        rows = np.quantile(drawn, tails(self.level), axis=0).T
        names = list(dict.fromkeys(specimen_names(self.runs)))
        return tuple(SpecimenFactor(n, *map(float, row)) for n, row in zip(names, rows, strict=True))

    @cached_property
    def misfits(self) -> tuple[Misfit, ...]:
        """Runs that do not fit with the others, the worst first: each is left out before the next is looked for."""
        return misfits_of(self.stacked, run_names(self.runs), self.priors)

    @cached_property
    def shared_shape(self) -> SharedShape | None:
        """Whether one curve serves short tests and long ones; None where all last about as long."""
        return shared_shape_of(self.stacked, run_names(self.runs), self.priors, self.log_evidence)

    @cached_property
    def likelihood(self) -> Likelihood:
        return SpecimensLikelihood(self.stacked, self.priors, *scatter_quantiles(self.pooled))


def _source(count: int) -> str:
    if count == 1:
        return "one specimen shows none: what is usual between bars (common practice, no source)"
    if count == 2:
        return "two specimens show little: mostly what is usual between bars (common practice, no source)"
    return f"as seen between {count} specimens"


def fit_pooled(
    runs: Sequence[Run],
    anyway: bool = False,
    priors: Priors | None = None,
    level: float = DEFAULT_LEVEL,
    seed: int = DEFAULT_SEED,
) -> PooledFit:
    """Fit several runs of one material together.

    Parameters
    ----------
    runs : sequence of Run
        In stress and strain, or all in mm under N on specimens of one shape.
    anyway : bool
        Pool runs although temperature, conditioning or print data differ.
    priors : Priors, optional
        By default those for the polymer's kind.
    level : float
        Probability of credible intervals.
    seed : int
        Seed of the draws.

    Raises
    ------
    InputError
        Where the runs cannot be pooled, or differ in what should be alike and `anyway` is false.
    FitError
        Where a run has fewer than two readings under load.
    """
    level = asked_level(level)
    check_distinct(runs)
    differences = check_poolable(runs, anyway)
    observed = []
    for run, name in zip(runs, run_names(runs), strict=True):
        try:
            observed.append(observations(run))
            check_readings(run, observed[-1])
        except FitError as error:
            raise FitError(f"{name}: {error}") from None
    first = _reference(runs, observed)
    order = [first, *(i for i in range(len(runs)) if i != first)]
    ordered = tuple(runs[i] for i in order)
    stacked = stack([observed[i] for i in order], specimen_names(ordered), [r.age for r in ordered])
    chosen = priors or priors_for(ordered[0].kind, ordered[0].prior)
    pool = pool_mixture(stacked, chosen)
    return PooledFit(
        ordered[0],
        replace(observed[first], span=stacked.span),
        _models(pool.mixture, stacked, ordered[0]),
        chosen,
        level,
        seed,
        runs=ordered,
        stacked=stacked,
        pooled=pool.mixture,
        log_evidence=pool.log_evidence,
        differences=differences,
    )


def _models(mixture: Mixture, observed: StackedObservations, run: Run) -> dict[str, ModelFit]:
    """Best fits to all readings, in which specimens scatter about the mean curve of the mixture."""
    mean, creep = mean_curve(replace(mixture, average=True).draws(MEAN_DRAWS), observed)
    return fit_models(MODELS, observed.scattered((mean, creep), scatter_quantiles(mixture)), run)


def _reference(runs: Sequence[Run], observed: Sequence[Observations]) -> int:
    """The first run with an initial reading, where any has one, that is about as long as any."""
    usable = [i for i, o in enumerate(observed) if o.has_initial] or list(range(len(runs)))
    longest = max(runs[i].test_length for i in usable)
    return next(i for i in usable if runs[i].test_length >= COMPARABLE * longest)
