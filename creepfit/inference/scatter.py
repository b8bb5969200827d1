"""Scatter between specimens, in stiffness and in creep besides: a quadrature over both, and what it says of each."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from creepfit.inference.cells import Cells, with_quadrant
from creepfit.inference.components import Member, UnitCreep, members_of
from creepfit.inference.mixture import Draws, Mixture
from creepfit.inference.posterior import Posterior, posterior
from creepfit.inference.priors import Priors
from creepfit.inference.specimen_amplitudes import SpecimensLikelihood
from creepfit.inference.stacking import StackedObservations
from creepfit.inference.truncated import Quadrant
from creepfit.inference.weights import weights_of
from creepfit.mechanics.loading import Array

SCATTER = 0.1
"""Median of the prior of either scatter, standard deviation of a logarithm. Stiffness of printed bars scatters by 3 to 10 %
(common practice, no source); creep besides by 9 % in two sets of twenty moulded bars whose stiffness scattered by 1 %."""

SCATTER_SPREAD = 1.5
"""Standard deviation of the logarithm of either scatter. So wide a prior says little, and that is why intervals hold: three
bars with a scatter of 5, 8 and 15 % then have a 90 % interval that holds a fourth in 93, 91 and 89 % (own simulation); a
half Student t prior with its median at 8 % held 94, 91 and 85 %."""

SPREAD_OF_ONE = 0.5
"""The same with one specimen, which says nothing of the scatter: then it is what is usual, 4 to 23 % (judgement)."""

LOWEST, HIGHEST = 1e-3, 1.0
"""Range of a scatter that is searched."""

COARSE, FINE = 14, 9
"""Cells of the grid over either scatter: over the whole range, and where the probability is."""

REACH = 6.0
"""Scatters less probable than the best by exp(-REACH) are left out."""

BEHIND = 9.0
"""A member this far behind in evidence, exp(-9), is followed at one scatter only."""

TOGETHER = 10_000
"""Nodes times pairs of scatters worked out at once: enough to count in bulk, few enough to stay close to the processor."""

MOST_NODES = 4000
"""Nodes of a member that are followed over scatters: as many as there will be draws. Pools that tell something have fewer;
where readings tell nothing a chain of two units with a set has ten times as many, and then so many of them, drawn evenly by
their weight, stand for all."""


@dataclass(frozen=True, eq=False)
class Pool:
    """The mixture of a pool, and the logarithm of the evidence of all its readings together."""

    mixture: Mixture
    log_evidence: float


@dataclass(frozen=True, eq=False)
class Scatters:
    """Pairs of scatters (of all deformation, of creep besides), each (P,), with the log of their prior probability."""

    whole: Array
    creep: Array
    log_prior: Array

    @classmethod
    def grid(cls, whole: tuple[float, float], creep: tuple[float, float], count: int, specimens: int) -> Scatters:
        """All pairs of `count` cells each between two ends."""
        middles, logs = [], []
        for low, high in (whole, creep):
            edges = np.linspace(np.log(low), np.log(high), count + 1)
            middle = np.exp(0.5 * (edges[1:] + edges[:-1]))
            middles.append(middle)
            logs.append(log_scatter_prior(middle, specimens) + np.log(middle) + np.log(edges[1] - edges[0]))
        pairs = np.meshgrid(*middles, indexing="ij")
        return cls(pairs[0].ravel(), pairs[1].ravel(), np.add.outer(*logs).ravel())

    def box(self, likely: Array) -> tuple[tuple[float, float], tuple[float, float]]:
        """Ranges that hold the pairs where `likely`, one cell wider on both sides."""
        ends = []
        for values in (self.whole, self.creep):
            cell = np.unique(values)[1] / np.unique(values)[0]
            here = values[likely]
            ends.append((max(LOWEST, float(here.min() / cell)), min(HIGHEST, float(here.max() * cell))))
        return ends[0], ends[1]


def log_scatter_prior(scatter: Array, specimens: int) -> Array:
    """Log density of the log-normal prior of either scatter."""
    spread = SCATTER_SPREAD if specimens > 1 else SPREAD_OF_ONE
    apart = (np.log(scatter) - np.log(SCATTER)) / spread
    return np.asarray(-0.5 * apart**2 - np.log(scatter * spread * np.sqrt(2.0 * np.pi)))


def pool_mixture(observed: StackedObservations, priors: Priors, ageing: bool = True, most_nodes: int = MOST_NODES) -> Pool:
    """Posterior over all members and both scatters.

    Parameters
    ----------
    observed : StackedObservations
    priors : Priors
    ageing : bool
        Whether members on an ageing clock are in, where the ages of all specimens are known.
    most_nodes : int
        Nodes of a member that are followed over scatters.
    """
    known = ageing and None not in observed.ages
    members = members_of(observed, priors, observed.ages[0] if known else None)
    lead = _lead(members)
    shared = SpecimensLikelihood(observed, priors)
    first = posterior(lead, shared)
    coarse = Scatters.grid((LOWEST, HIGHEST), (LOWEST, HIGHEST), COARSE, observed.count)
    evidence = _evidence_of(first, shared, coarse)
    at = int(np.argmax(evidence))
    shared = shared.under(float(coarse.whole[at]), float(coarse.creep[at]))
    leading = posterior(lead, shared)
    fine = Scatters.grid(*coarse.box(evidence >= evidence.max() - REACH), FINE, observed.count)
    evidence = _evidence_of(leading, shared, fine)
    likely = evidence >= evidence.max() - REACH
    pairs = Scatters(fine.whole[likely], fine.creep[likely], fine.log_prior[likely])
    whole = _over_scatters(_fewer(leading, most_nodes), shared, pairs)
    weighed = []
    for member in members:
        one = leading if member is lead else posterior(member, shared)
        if member is lead:
            weighed.append(whole)
        elif one.log_evidence < leading.log_evidence - BEHIND:
            weighed.append(replace(one, log_evidence=one.log_evidence + whole.log_evidence - leading.log_evidence))
        else:
            weighed.append(_over_scatters(_fewer(one, most_nodes), shared, pairs))
    posteriors = tuple(weighed)
    weights = weights_of(posteriors, priors, observed)
    prior = np.array([p.member.weight for p in posteriors])
    total = float(logsumexp(np.log(prior / prior.sum()) + np.array([p.log_evidence for p in posteriors])))
    return Pool(Mixture(posteriors, weights, observed, priors), total)


def _evidence_of(posterior: Posterior, shared: SpecimensLikelihood, pairs: Scatters) -> Array:
    """Log evidence with prior of each pair of scatters (P,), on the nodes and noise scales of one of them."""
    cells = _cells(posterior, shared, pairs)
    out = np.full(pairs.whole.size, -np.inf)
    np.logaddexp.at(out, cells.scale, cells.log_joint)
    return out


def _over_scatters(posterior: Posterior, shared: SpecimensLikelihood, pairs: Scatters) -> Posterior:
    """The posterior over scatters too, from that under one of them."""
    cells = _cells(posterior, shared, pairs)
    return Posterior(
        posterior.member,
        posterior.laid,
        posterior.place[cells.node],
        posterior.noise[cells.node],
        cells.log_joint - cells.log_evidence,
        cells.quadrant,
        cells.log_evidence,
        pairs.whole[cells.scale],
        pairs.creep[cells.scale],
    )


def _fewer(posterior: Posterior, most: int) -> Posterior:
    """The same posterior on so many of its nodes at most."""
    if posterior.noise.size <= most:
        return posterior
    below = np.cumsum(np.exp(posterior.log_weight))
    evenly = (np.arange(most) + 0.5) / most * below[-1]
    at, times = np.unique(np.searchsorted(below, evenly), return_counts=True)
    return replace(
        posterior,
        place=posterior.place[at],
        noise=posterior.noise[at],
        log_weight=np.log(times / most),
        quadrant=posterior.quadrant.take(at),
    )


def _cells(posterior: Posterior, shared: SpecimensLikelihood, pairs: Scatters) -> Cells:
    """The nodes of a posterior under one scatter, times all pairs of scatters (`scale` numbers the pairs)."""
    every = np.arange(posterior.noise.size)
    per_noise = posterior.noise**-2.0
    projected = shared.projected(UnitCreep(posterior.member, shared.observed.span), posterior.nodes)
    # what is left of the joint probability without the evidence are the priors of nodes and noise
    log_gauss, quadrant = projected.gaussians(shared, every, per_noise)
    priors = posterior.log_weight + posterior.log_evidence - log_gauss - quadrant.log_probability()
    logs, quadrants = [], []
    count = pairs.whole.size
    together = max(1, TOGETHER // max(every.size, 1))
    for start in range(0, count, together):
        some = np.s_[start : start + together, None]
        log_gauss, quadrant = projected.gaussians(shared.under(pairs.whole[some], pairs.creep[some]), every, per_noise)
        logs.append((log_gauss + priors + pairs.log_prior[some]).ravel())
        quadrants.append(quadrant.flat)
    cells = Cells(
        np.tile(every, count),
        np.repeat(np.arange(count), every.size),
        np.concatenate(logs),
        Quadrant.joined(quadrants),
        count,
    )
    return with_quadrant(cells, -np.inf)


def scatter_quantiles(mixture: Mixture, probability: float = 0.5) -> tuple[float, float]:
    """Quantile of the scatter of all deformation and of that of creep besides, over all members."""
    mass = np.concatenate([w * np.exp(p.log_weight) for w, p in zip(mixture.weights, mixture.posteriors, strict=True)])
    quantiles = []
    for name in ("scatter", "creep_scatter"):
        values = np.concatenate([np.broadcast_to(getattr(p, name), p.noise.shape) for p in mixture.posteriors])
        order = np.argsort(values)
        below = np.cumsum(mass[order])
        quantiles.append(float(values[order][min(int(np.searchsorted(below, probability * below[-1])), values.size - 1)]))
    return quantiles[0], quantiles[1]


def specimen_factors(draws: Draws, observed: StackedObservations, priors: Priors, seed: int) -> Array:
    """Compliance of each specimen at the end of the test over the average one's, shape (N, specimens)."""
    uniform = np.clip(np.random.default_rng(seed).random((2, observed.count, draws.count)), 1e-12, 1.0 - 1e-12)
    instant, creep = np.empty((2, draws.count, observed.count))
    shared = SpecimensLikelihood(observed, priors)
    for group in draws.groups:
        rows = group.rows
        nodes, where = group.different
        average = (draws.instant[rows], draws.creep[rows])
        scatters = draws.scatter[rows], draws.creep_scatter[rows]
        projected = shared.projected(UnitCreep(group.member, observed.span), nodes).take(where)
        for i in range(observed.count):
            own = projected.own(i, *average, scatters, draws.noise[rows] ** -2.0)
            instant[rows, i], creep[rows, i] = own.draw(uniform[0, i, rows], uniform[1, i, rows])
    return np.asarray((instant + creep) / (draws.instant + draws.creep)[:, None])


def mean_curve(draws: Draws, observed: StackedObservations) -> tuple[Array, Array]:
    """Mean over draws of the average specimen's deformation at every reading, and of the creep in it, each (T,)."""
    creep = np.zeros(observed.times.size)
    for group in draws.groups:
        nodes, where = group.different
        creep += draws.creep[group.rows] @ UnitCreep(group.member, observed.span).columns_at(observed, nodes)[where]
    creep = creep / draws.count
    return np.asarray(draws.instant.mean() * observed.instant_column() + creep), creep


def _lead(members: tuple[Member, ...]) -> Member:
    """The plain power family, where it is in: a member that fits badly would take its misfit for scatter."""
    return max(members, key=lambda m: (m.set_growth is None and m.rate is None, m.model.leads, m.weight))
