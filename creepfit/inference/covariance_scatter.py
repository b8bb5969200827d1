"""Scatter of stiffness as part of one covariance of all readings, for problems whose columns tie specimens together.

Elsewhere each specimen has amplitudes of its own (`specimen_amplitudes.py`), which holds at any ratio of scatter to gauge
noise; here, where growth with temperature is one random column through all specimens, a scatter of more than some ten
thousand times the noise spoils the covariance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.special import logsumexp

from creepfit.inference.cells import Projected
from creepfit.inference.components import ColumnPart, Member, UnitCreep, members_of, nodes_of
from creepfit.inference.likelihood import Likelihood, Projections, Ranges
from creepfit.inference.mixture import Draws, Mixture
from creepfit.inference.model_fit import fit_model
from creepfit.inference.nodes import GridNodes
from creepfit.inference.posterior import Posterior, posterior, posteriors_of
from creepfit.inference.priors import Priors
from creepfit.inference.scatter import SCATTER, Pool, log_scatter_prior
from creepfit.inference.stacking import StackedObservations
from creepfit.inference.weights import weights_of
from creepfit.mechanics.loading import Array
from creepfit.models.power_family import PowerFamilyModel

LOWEST, HIGHEST = 1e-3, 2.0
"""Range of the scatter that is searched."""

COARSE, FINE = 12, 8
"""Points of the grid over the scatter: over the whole range, and where the probability is."""

REACH = 6.0
"""Scatters less probable than the best by exp(-REACH) are left out."""

BEHIND = 9.0
"""A member this far behind in evidence, exp(-9), is followed at one scatter only."""


Laid = dict[tuple[Member, tuple[tuple[float, float], ...] | None], tuple[GridNodes, list[ColumnPart]]]
"""Nodes and columns of the grids of members, by the ranges of their coordinates (None: the whole of them)."""


class ScatteredLikelihood(Likelihood):
    """The likelihood under one scatter between specimens.

    One noise scale multiplies the whole covariance, so the scatter given here goes with it: under a noise scale s it is
    scatter * s / stated, and the prior is taken there. `cell` is the size of the grid's cell in ln scatter. Grids that were
    laid under another scatter are in `laid`: their columns are the same.
    """

    observed: StackedObservations

    def __init__(
        self, observed: StackedObservations, mean: Array, priors: Priors, scatter: float, cell: float, laid: Laid
    ) -> None:
        super().__init__(scattered(observed, mean, scatter), priors)
        self.scatter, self.cell, self.laid = scatter, cell, laid
        zeros = self.observed.noise.whiten(self.observed.zeros)
        # what the members of one run have in common, but not two covariances
        logs = np.linalg.slogdet(self.observed.noise.correlation)[1] + np.linalg.slogdet(zeros.T @ zeros)[1]
        self._determinant = -0.5 * float(logs)

    def noise_grid(self, low: Array | float, high: Array | float, count: int) -> tuple[Array, Array]:
        scales, log_prior = super().noise_grid(low, high, count)
        scatter = self.scatter * scales / self.observed.noise.stated
        cell = np.log(scatter * self.cell)
        return scales, np.asarray(log_prior + log_scatter_prior(scatter, self.observed.count) + cell + self._determinant)

    def grids(self, members: Sequence[Member], ranges: Sequence[Ranges]) -> list[tuple[GridNodes, Projected[Likelihood]]]:
        return [self.grid(member, own) for member, own in zip(members, ranges, strict=True)]

    def grid(self, member: Member, ranges: Ranges | None = None) -> tuple[GridNodes, Projections]:
        key = member, None if ranges is None else tuple(ranges)
        if key not in self.laid:
            nodes = nodes_of(member, ranges, fine=ranges is not None)
            self.laid[key] = nodes, UnitCreep(member, self.observed.span).parts_at(self.observed, nodes)
        nodes, parts = self.laid[key]
        return nodes, Projections.of(parts, self)


def scattered(observed: StackedObservations, mean: Array, scatter: float) -> StackedObservations:
    """The same with scatter between specimens in the covariance, about the mean deformation at each reading, shape (T,)."""
    own = observed.specimens[np.repeat(np.arange(len(observed.blocks)), [b.times.size for b in observed.blocks])]
    columns = mean[:, None] * (own[:, None] == np.arange(observed.count)) * (scatter / observed.noise.stated)
    noise = replace(observed.noise, correlation=observed.noise.correlation + columns @ columns.T)
    return replace(observed, noise=noise)


def mean_deformation(observed: StackedObservations) -> Array:
    """Mean deformation at every reading, shape (T,): a best fit in which each specimen has had a stiffness of its own.

    The scatter is laid on the fitted curve, never on a specimen's own readings: a covariance in proportion to the data
    pulls the mean towards the smallest of them (Peelle's puzzle in the evaluation of measurements, from memory).
    """
    mean = _fitted_mean(observed)
    return _fitted_mean(scattered(observed, mean, SCATTER))


def _fitted_mean(observed: StackedObservations) -> Array:
    fitted = fit_model(PowerFamilyModel(), observed)
    response = observed.response(fitted.model, np.array([fitted.shape]))[0]
    return np.asarray(response @ np.array(fitted.amplitudes) + (fitted.set_compliance or 0.0) * observed.peak_column())


def covariance_mixture(observed: StackedObservations, mean: Array, priors: Priors, ageing: bool = True) -> Pool:
    """Posterior over all members and scatters.

    Parameters
    ----------
    observed : StackedObservations
        Without scatter in their covariance.
    mean : ndarray, shape (T,)
        Mean deformation at each reading.
    priors : Priors
    ageing : bool
        Whether members on an ageing clock are in, where the ages of all specimens are known.
    """
    known = ageing and None not in observed.ages
    members = members_of(observed, priors, observed.ages[0] if known else None)
    # the power family leads: a member that fits badly would take its misfit for scatter
    lead = max(members, key=lambda m: (m.set_growth is None and m.rate is None, m.model.leads, m.weight))
    laid: Laid = {}
    grid, cell = _grid(observed, mean, priors, lead, laid)
    shared = [ScatteredLikelihood(observed, mean, priors, float(s), cell, laid) for s in grid]
    leading = posteriors_of([(lead, likelihood) for likelihood in shared])
    evidence = np.array([p.log_evidence for p in leading])
    at, whole = int(np.argmax(evidence)), float(logsumexp(evidence))
    groups: list[tuple[Posterior, ...]] = []
    for member in members:
        one = leading[at] if member is lead else posterior(member, shared[at])
        if one.log_evidence < evidence[at] - BEHIND:
            groups.append((replace(one, log_evidence=one.log_evidence + whole - evidence[at]),))
        elif member is lead:
            groups.append(tuple(leading))
        else:
            others = posteriors_of([(member, s) for i, s in enumerate(shared) if i != at])
            groups.append((*others[:at], one, *others[at:]))
    return _combined(groups, observed, priors)


def _combined(groups: list[tuple[Posterior, ...]], observed: StackedObservations, priors: Priors) -> Pool:
    """Weigh the members by their evidence over all scatters, then each member's scatters among themselves."""
    evidence = [float(logsumexp([p.log_evidence for p in group])) for group in groups]
    whole = tuple(replace(group[0], log_evidence=e) for group, e in zip(groups, evidence, strict=True))
    weights = weights_of(whole, priors, observed)
    within = [np.exp([p.log_evidence - e for p in group]) for group, e in zip(groups, evidence, strict=True)]
    stated = observed.noise.stated
    flat = tuple(replace(p, scatter=p.scatter * p.noise / stated) for group in groups for p in group)
    prior = np.array([p.member.weight for p in whole])
    total = float(logsumexp(np.log(prior / prior.sum()) + np.array(evidence)))
    spread = np.concatenate([w * v for w, v in zip(weights, within, strict=True)])
    return Pool(Mixture(flat, spread, observed, priors), total)


def _grid(observed: StackedObservations, mean: Array, priors: Priors, member: Member, laid: Laid) -> tuple[Array, float]:
    """Scatters that matter, evenly spaced in their logarithm, and the spacing."""
    edges = np.linspace(np.log(LOWEST), np.log(HIGHEST), COARSE + 1)
    cell = float(edges[1] - edges[0])
    coarse = np.exp(0.5 * (edges[1:] + edges[:-1]))
    shared = [ScatteredLikelihood(observed, mean, priors, float(s), cell, laid) for s in coarse]
    evidence = np.array([p.log_evidence for p in posteriors_of([(member, s) for s in shared])])
    likely = np.flatnonzero(evidence >= evidence.max() - REACH)
    fine = np.linspace(edges[likely[0]], edges[likely[-1] + 1], FINE + 1)
    return np.exp(0.5 * (fine[1:] + fine[:-1])), float(fine[1] - fine[0])


def mean_of(draws: Draws, observed: StackedObservations) -> Array:
    """Deformation of the average specimen at every reading, shape (N, T)."""
    out = np.outer(draws.instant, observed.instant_column())
    for group in draws.groups:
        nodes, where = group.different
        columns = UnitCreep(group.member, observed.span).columns_at(observed, nodes)
        out[group.rows] += draws.creep[group.rows, None] * columns[where]
    return out


def without_zeros(observed: StackedObservations) -> Array:
    """Inverse of the covariance over the squared noise, blind to the zeros, shape (T, T)."""
    inverse = np.linalg.inv(observed.noise.correlation)
    by_zero = inverse @ observed.zeros
    return np.asarray(inverse - by_zero @ np.linalg.solve(observed.zeros.T @ by_zero, by_zero.T))
