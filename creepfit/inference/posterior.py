"""Posterior of one member of the mixture, by quadrature: no sampling chain.

Given a node of the member's grid and the noise scale the two amplitudes are Gaussian cut to the positive quadrant, the
zeros are integrated out, and the evidence is in closed form but for the quadrant's probability.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import log_ndtr, logsumexp

from creepfit.inference.columns import Observations
from creepfit.inference.components import Member, Nodes, UnitCreep, nodes_of
from creepfit.inference.priors import Priors
from creepfit.inference.truncated import Quadrant
from creepfit.mechanics.loading import Array

KEEP = 14.0
"""Nodes less probable than the best by exp(-KEEP) are left out."""


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
    """

    member: Member
    nodes: Nodes
    noise: Array
    log_weight: Array
    quadrant: Quadrant
    log_evidence: float


class Likelihood:
    """The parts of the evidence that all members share: whitened readings without their zeros, noise grid, prior scales."""

    def __init__(self, observed: Observations, priors: Priors) -> None:
        self.observed, self.priors = observed, priors
        zeros = observed.noise.whiten(observed.zeros)
        q = np.linalg.qr(zeros)[0]
        whiten = observed.noise.whiten(np.eye(observed.times.size))
        self.transform = whiten - q @ (q.T @ whiten)
        self.values = self.transform @ observed.values
        self.free = observed.times.size - zeros.shape[1]
        held = observed.history.at(observed.times) / observed.load
        self.instant = self.transform @ held
        self.prior_precision = np.array([priors.instant_scale, priors.creep_scale]) ** -2.0 / observed.scale**2

    @cached_property
    def noise_grid(self) -> Array:
        """Noise scales in mm, evenly spaced in the logarithm, wide enough for gauges worse than they claim."""
        stated = self.observed.noise.stated
        return np.asarray(stated * np.geomspace(0.45, max(3.5, 2.5 * self._misfit / stated), 11))

    @cached_property
    def log_noise_prior(self) -> Array:
        """Scaled inverse chi-square in the logarithm of the scale, normalised over the grid."""
        noise = self.observed.noise
        ratio = self.noise_grid / noise.stated
        log_density = -noise.degrees * np.log(ratio) - 0.5 * noise.degrees / ratio**2
        return np.asarray(log_density - logsumexp(log_density))

    @cached_property
    def _misfit(self) -> float:
        """Noise that a flexible curve leaves: polynomial in log time, so that no model is favoured."""
        held = self.observed.history.at(self.observed.times) / self.observed.load
        since = np.log1p(np.maximum(self.observed.times, 0.0))
        order = min(3, max(self.free - 4, 1))
        columns = [held * (since / 10.0) ** p for p in range(order + 1)]
        if self.observed.has_recovery:
            from creepfit.models.logarithmic import Logarithm
            from creepfit.mechanics.loading import superpose

            columns.append(superpose(Logarithm(), self.observed.history, self.observed.times))
        x = (self.transform @ np.array(columns).T)
        rest = self.values - x @ np.linalg.lstsq(x, self.values, rcond=None)[0]
        return float(np.sqrt(rest @ rest / max(self.free - x.shape[1], 1)))


def posterior(member: Member, shared: Likelihood) -> Posterior:
    """Posterior of a member: a coarse pass over the whole grid, then a fine one where the probability is."""
    coarse = nodes_of(member)
    log_joint, _ = _joint(member, coarse, shared)
    ranges = _ranges(member, coarse, logsumexp(log_joint, axis=1))
    nodes = nodes_of(member, ranges, fine=True)
    log_joint, quadrant = _joint(member, nodes, shared)
    log_evidence = float(logsumexp(log_joint))
    node, scale = np.nonzero(log_joint > log_joint.max() - KEEP)
    log_weight = log_joint[node, scale]
    return Posterior(
        member,
        nodes.take(node),
        shared.noise_grid[scale],
        log_weight - logsumexp(log_weight),
        quadrant.take((node, scale)),
        log_evidence,
    )


def _joint(member: Member, nodes: Nodes, shared: Likelihood) -> tuple[Array, Quadrant]:
    """Log of prior times evidence, shape (M, S) over nodes and noise scales, and the amplitudes' normals."""
    observed = shared.observed
    creep = UnitCreep(member, observed.span).columns(nodes, observed.history, observed.times) / observed.load
    x0, x1 = shared.instant, creep @ shared.transform.T
    p0, p1 = shared.prior_precision
    per_noise = shared.noise_grid**-2.0
    q00 = (x0 @ x0) * per_noise + p0
    q01 = (x1 @ x0)[:, None] * per_noise
    q11 = (x1 * x1).sum(axis=1)[:, None] * per_noise + p1
    h0 = (x0 @ shared.values) * per_noise
    h1 = (x1 @ shared.values)[:, None] * per_noise
    q00, h0 = np.broadcast_to(q00, q01.shape), np.broadcast_to(h0, q01.shape)
    quadrant = Quadrant.from_precision(q00, q01, q11, h0, h1)
    fit = h0 * quadrant.mean0 + h1 * quadrant.mean1
    log_gauss = (
        -0.5 * shared.free * np.log(2.0 * np.pi / per_noise)
        - 0.5 * ((shared.values @ shared.values) * per_noise - fit)
        - 0.5 * np.log(q00 * q11 - q01 * q01)
        + 0.5 * np.log(p0 * p1)
        + np.log(4.0)
    )
    bound = log_gauss + nodes.log_prior[:, None] + shared.log_noise_prior
    return _with_quadrant(bound, quadrant), quadrant


def _with_quadrant(bound: Array, quadrant: Quadrant) -> Array:
    """Add the quadrant's probability where it can matter.

    Either amplitude's own tail probability bounds it from above, which rules most nodes out cheaply.
    """
    sd0 = np.hypot(quadrant.spread0, quadrant.slope * quadrant.sd1)
    tail = log_ndtr(np.minimum(quadrant.mean0 / sd0, quadrant.mean1 / quadrant.sd1))
    upper = bound + tail
    # ln 2 below the bound at most where both tails are shallow; the best node is at least that good
    candidates = upper > upper.max() - 2.0 * KEEP
    out = np.full(bound.shape, -np.inf)
    out[candidates] = bound[candidates] + quadrant.take(candidates).log_probability()
    return out


def _ranges(member: Member, nodes: Nodes, log_joint: Array) -> list[tuple[float, float]]:
    """For each coordinate the range that holds the probability, one cell wider on both sides."""
    kept = log_joint > log_joint.max() - KEEP
    ranges = []
    for c in member.coordinates:
        values = {"shape": nodes.shapes, "share": nodes.shares[:, -1:], "set": nodes.set_share[:, None]}[c.role]
        here = values[kept, c.index if c.role == "shape" else 0]
        if c.log:
            cell = np.exp(np.log(c.high / c.low) / c.coarse)
            ranges.append((max(c.low, here.min() / cell), min(c.high, here.max() * cell)))
        else:
            cell = (c.high - c.low) / c.coarse
            ranges.append((max(c.low, here.min() - cell), min(c.high, here.max() + cell)))
    return ranges
