"""Posterior of one member of the mixture, by quadrature: no sampling chain.

Given a node of the member's grid and the noise scale the two amplitudes are Gaussian cut to the positive quadrant, the
zeros are integrated out, and the evidence is in closed form but for the quadrant's probability.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import gammaln, log_ndtr, logsumexp

from creepfit.inference.columns import Observations
from creepfit.inference.components import Member, Nodes, UnitCreep, nodes_of
from creepfit.inference.priors import Priors
from creepfit.inference.truncated import Quadrant
from creepfit.mechanics.loading import Array

KEEP = 11.0
"""Nodes less probable than the best by exp(-KEEP), one in 60 000, are left out."""

COARSE_NOISE, FINE_NOISE = 9, 9

MOST_PASSES = 5
"""How often the grid is laid anew where the one before was too coarse for what the readings tell."""

FEWEST_SCALES = 4
"""Noise scales that must carry probability for the grid to be fine enough."""

EDGE = 4.0
"""The lowest noise scale of a grid may be as probable as exp(-EDGE) of the best; above that the range began too high."""

HOPELESS = 12.0
"""A member whose evidence is exp(-12) of a better one's has no weight; its own line may be coarse."""


@dataclass(frozen=True, eq=False)
class Posterior:
    """Posterior of one member on its kept nodes.

    Attributes
    ----------
    member : Member
    nodes : Nodes
        M points of the grid; each noise scale has its own.
    noise : ndarray, shape (M,)
        Noise scale, mm.
    log_weight : ndarray, shape (M,)
        Logarithm of the posterior probability of each node within the member; sums to 1.
    quadrant : Quadrant, arrays of shape (M,)
        Instantaneous deformation x0 and creep in the test x1, mm under the reference load.
    log_evidence : float
        Of the member, without its prior weight.
    scatter : float
        Scatter of the stiffness from specimen to specimen that was assumed (standard deviation of its logarithm), at the
        stated noise; it goes with the noise scale. 0 for the posterior of one specimen.
    """

    member: Member
    nodes: Nodes
    noise: Array
    log_weight: Array
    quadrant: Quadrant
    log_evidence: float
    scatter: float = 0.0


class Likelihood:
    """The parts of the evidence that all members share: whitened readings without their zeros, noise grid, prior scales."""

    scatter = 0.0

    def __init__(self, observed: Observations, priors: Priors) -> None:
        self.observed, self.priors = observed, priors
        zeros = observed.noise.whiten(observed.zeros)
        q = np.linalg.qr(zeros)[0]
        whiten = observed.noise.whiten(np.eye(observed.times.size))
        self.transform = whiten - q @ (q.T @ whiten)
        self.values = self.transform @ observed.values
        self.free = observed.times.size - zeros.shape[1]
        self.instant = self.transform @ observed.instant_column()
        self.prior_precision = np.array([priors.instant_scale, priors.creep_scale]) ** -2.0 / observed.scale**2

    def noise_range(self) -> tuple[float, float]:
        """Range of the noise scale in mm, wide enough for gauges worse than they claim."""
        stated = self.observed.noise.stated
        return 0.4 * stated, max(4.0 * stated, 3.0 * self.misfit[0])

    def noise_grid(self, low: float, high: float, count: int) -> tuple[Array, Array]:
        """Noise scales (S,) at even steps of the logarithm, and their log prior: a scaled inverse chi-square."""
        noise = self.observed.noise
        step = np.log(high / low) / count
        scales = low * np.exp(step * (np.arange(count) + 0.5))
        ratio = scales / noise.stated
        half = 0.5 * noise.degrees
        density = -noise.degrees * np.log(ratio) - half / ratio**2 + half * np.log(half) - gammaln(half) + np.log(2.0)
        return scales, np.asarray(density + np.log(step))

    @cached_property
    def misfit(self) -> tuple[float, int]:
        """Noise that a flexible curve leaves, which favours no model, and the readings it could spare."""
        x = self.transform @ self.observed.smooth_columns(min(3, max(self.free - 4, 1)))
        rest = self.values - x @ np.linalg.lstsq(x, self.values, rcond=None)[0]
        spare = max(self.free - x.shape[1], 0)
        return float(np.sqrt(rest @ rest / max(spare, 1))), spare


def posterior(member: Member, shared: Likelihood, best: float = -np.inf) -> Posterior:
    """Posterior of a member: a coarse pass over the whole grid, then a fine one where the probability is.

    Parameters
    ----------
    member : Member
    shared : Likelihood
    best : float
        Log evidence of a better member, if one is known: far behind it the coarse pass is enough.
    """
    low, high = shared.noise_range()
    noise, log_prior = shared.noise_grid(low, high, COARSE_NOISE)
    nodes = nodes_of(member)
    log_joint, quadrant = _joint(member, nodes, shared, noise, log_prior)
    if logsumexp(log_joint) > best - HOPELESS:
        ranges = [(c.low, c.high) for c in member.coordinates]
        counts = [c.coarse for c in member.coordinates]
        for _ in range(MOST_PASSES):
            ranges = _ranges(member, nodes, log_joint.max(axis=1), ranges, counts)
            counts = [c.fine for c in member.coordinates]
            noise, log_prior = shared.noise_grid(*_noise_range(noise, log_joint.max(axis=0), low, high), FINE_NOISE)
            nodes = nodes_of(member, ranges, fine=True)
            log_joint, quadrant = _joint(member, nodes, shared, noise, log_prior)
            if _resolved(noise, log_joint.max(axis=0), low):
                break
    node, scale = np.nonzero(log_joint > log_joint.max() - KEEP)
    log_weight = log_joint[node, scale]
    log_evidence = float(logsumexp(log_weight))
    kept = quadrant.take((node, scale))
    within = log_weight - log_evidence
    return Posterior(member, nodes.take(node), noise[scale], within, kept, log_evidence, shared.scatter)


def _noise_range(noise: Array, log_joint: Array, low: float, high: float) -> tuple[float, float]:
    """Range of noise scales (S,) that holds the probability, one cell wider on both sides, within `low` to `high`."""
    seen = noise[log_joint > log_joint.max() - KEEP]
    cell = noise[1] / noise[0]
    first = low if _began_too_high(log_joint) else float(seen[0] / cell)
    return max(low, first), min(high, float(seen[-1] * cell))


def _began_too_high(log_joint: Array) -> bool:
    """With a good gauge, what a coarse grid of shapes misses passes for noise at first: the scale lies lower down."""
    return bool(log_joint[0] > log_joint.max() - EDGE)


def _resolved(noise: Array, log_joint: Array, low: float) -> bool:
    """Whether a grid of noise scales (S,) shows the probability of the noise, which is narrow with many readings."""
    if _began_too_high(log_joint) and noise[0] > low * noise[1] / noise[0]:
        return False
    return int(np.sum(log_joint > log_joint.max() - KEEP)) >= FEWEST_SCALES


def _joint(member: Member, nodes: Nodes, shared: Likelihood, noise: Array, log_prior: Array) -> tuple[Array, Quadrant]:
    """Log of prior times evidence, shape (M, S) over nodes and noise scales, and the amplitudes' normals."""
    observed = shared.observed
    creep = observed.creep_columns(UnitCreep(member, observed.span), nodes)
    x0, x1 = shared.instant, creep @ shared.transform.T
    p0, p1 = shared.prior_precision
    per_noise = noise**-2.0
    q00 = (x0 @ x0) * per_noise + p0
    q01 = (x1 @ x0)[:, None] * per_noise
    q11 = (x1 * x1).sum(axis=1)[:, None] * per_noise + p1
    h0 = (x0 @ shared.values) * per_noise
    h1 = (x1 @ shared.values)[:, None] * per_noise
    q00, h0 = np.broadcast_to(q00, q01.shape), np.broadcast_to(h0, q01.shape)
    quadrant = Quadrant.from_precision(q00, q01, q11, h0, h1)
    fit = h0 * quadrant.mean0 + h1 * quadrant.mean1
    constant = 0.5 * np.log(16.0 * p0 * p1) + 0.5 * shared.free * np.log(per_noise / (2.0 * np.pi)) + log_prior
    log_gauss = 0.5 * (fit - (shared.values @ shared.values) * per_noise - np.log(q00 * q11 - q01 * q01))
    return _with_quadrant(log_gauss + constant + nodes.log_prior[:, None], quadrant), quadrant


def _with_quadrant(bound: Array, quadrant: Quadrant) -> Array:
    """Add the quadrant's probability where it can matter; elsewhere the result is -inf.

    Either amplitude's own tail probability bounds the quadrant's from above, which rules most nodes out cheaply.
    """
    sd0 = np.hypot(quadrant.spread0, quadrant.slope * quadrant.sd1)
    upper = bound + log_ndtr(np.minimum(quadrant.mean0 / sd0, quadrant.mean1 / quadrant.sd1))
    out = np.full(bound.shape, -np.inf)
    best = np.unravel_index(int(np.argmax(upper)), bound.shape)
    one = tuple(np.array([i]) for i in best)
    reached = float((bound[one] + quadrant.take(one).log_probability())[0])
    candidates = upper > reached - KEEP
    out[candidates] = bound[candidates] + quadrant.take(candidates).log_probability()
    return out


def _ranges(
    member: Member, nodes: Nodes, log_joint: Array, ranges: list[tuple[float, float]], counts: list[int]
) -> list[tuple[float, float]]:
    """For each coordinate the range that holds the probability, one cell wider on both sides.

    `ranges` and `counts` are those of the nodes' own grid.
    """
    kept = log_joint > log_joint.max() - KEEP
    found = []
    for c, (low, high), count in zip(member.coordinates, ranges, counts, strict=True):
        values = {"shape": nodes.shapes, "share": nodes.shares[:, -1:], "set": nodes.set_share[:, None]}[c.role]
        here = values[kept, c.index if c.role == "shape" else 0]
        if c.log:
            cell = np.exp(np.log(high / low) / count)
            found.append((max(c.low, here.min() / cell), min(c.high, here.max() * cell)))
        else:
            cell = (high - low) / count
            found.append((max(c.low, here.min() - cell), min(c.high, here.max() + cell)))
    return found
