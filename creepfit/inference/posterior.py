"""Posterior of one member of the mixture, by quadrature: no sampling chain.

Given a node of the member's grid and the noise scale the two amplitudes are Gaussian cut to the positive quadrant, the
zeros are integrated out, and the evidence is in closed form but for the quadrant's probability.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from creepfit.inference.cells import Cells, Grid, Projected, cells_over
from creepfit.inference.columns import Observations
from creepfit.inference.components import ColumnPart, Member, Nodes, UnitCreep, nodes_of
from creepfit.inference.priors import Priors
from creepfit.inference.truncated import Quadrant
from creepfit.mechanics.loading import Array, Indices
from creepfit.models.coordinate import Coordinate

COARSE_NOISE, FINE_NOISE = 9, 9

LEAST_SCALE, MOST_SCALE = 0.3, 12.0
"""Noise scales that are looked at, over the stated one. Of their prior 6 % lie below where nothing moved, next to nothing
where 0.2 % of the deformation is the stated noise; above lie less than 1 %. Of a gauge far finer than that the prior is cut
off at the upper end, which is this or three times what a flexible curve leaves."""

ROUNDING = 1e-9
"""Part of a column that is left when another is taken out, below which it is nothing."""

MOST_PASSES = 5
"""How often the grid is laid anew where the one before was too coarse for what the readings tell."""

FEWEST_SCALES = 4
"""Noise scales that must carry probability for the grid to be fine enough."""

EDGE = 4.0
"""The lowest noise scale of a grid may be as probable as exp(-EDGE) of the best; above that the range began too high."""

HOPELESS = 12.0
"""A member whose evidence is exp(-12) of a better one's has no weight; its own line may be coarse, unless the coarse grid
cannot tell: between its nodes a good gauge's readings leave room for a curve that is exp(30) as likely, and between its
noise scales 500 readings for one that is exp(20) as likely."""

ROOM = 2.0
"""Of that it is room for evidence that the first pass of a run of some 40 readings does not see between its scales."""

FEWEST_NODES = 3
"""Values of each coordinate that must carry probability for the coarse grid to tell how likely a member is."""


@dataclass(frozen=True, eq=False)
class Posterior:
    """Posterior of one member on the nodes that matter.

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
    scatter, creep_scatter : ndarray, shape (M,), or float
        Scatter from specimen to specimen of all deformation, and of creep besides, as standard deviations of logarithms.
        0 for the posterior of one specimen.
    """

    member: Member
    nodes: Nodes
    noise: Array
    log_weight: Array
    quadrant: Quadrant
    log_evidence: float
    scatter: Array | float = 0.0
    creep_scatter: Array | float = 0.0

    @cached_property
    def weight(self) -> Array:
        """Posterior probability of each node within the member."""
        return np.exp(self.log_weight)

    def weighted(self, factor: float) -> Posterior:
        """The same of a member with so many times its prior weight."""
        return replace(self, member=replace(self.member, weight=factor * self.member.weight))


class Likelihood:
    """The parts of the evidence that all members share: whitened readings without their zeros, noise grid, prior scales."""

    scatter: Array | float = 0.0
    creep_scatter: Array | float = 0.0

    def __init__(self, observed: Observations, priors: Priors) -> None:
        self.observed, self.priors = observed, priors
        zeros = observed.noise.whiten(observed.zeros)
        q = np.linalg.qr(zeros)[0]
        whiten = observed.noise.whiten(np.eye(observed.times.size))
        self.transform = whiten - q @ (q.T @ whiten)
        self.free = observed.times.size - zeros.shape[1]
        column = observed.instant_column()
        self.instant = self.transform @ column
        if np.linalg.norm(self.instant) < ROUNDING * np.linalg.norm(whiten @ column):
            self.instant[:] = 0.0  # without an initial reading it is the zero's own column, and what is left is rounding
        self.size0 = max(float(self.instant @ self.instant), float(np.finfo(float).tiny))
        self._see()

    def _see(self) -> None:
        """What depends on the values of the readings, and not on their times alone."""
        self.values = self.transform @ self.observed.values
        self.along0 = float(self.instant @ self.values)
        self.rest = self.values - self.along0 / self.size0 * self.instant
        scales = np.array([self.priors.instant_scale, self.priors.creep_scale])
        self.prior_precision = scales**-2.0 / self.observed.scale**2

    def noise_range(self) -> tuple[float, float]:
        """Range of the noise scale in mm, wide enough for gauges worse than they claim."""
        noise = self.observed.noise
        return max(LEAST_SCALE * noise.stated, noise.least), max(MOST_SCALE * noise.stated, 3.0 * self.misfit[0])

    def noise_grid(self, low: float, high: float, count: int) -> tuple[Array, Array]:
        """Noise scales (S,) at even steps of the logarithm, and their log prior."""
        step = np.log(high / low) / count
        scales = low * np.exp(step * (np.arange(count) + 0.5))
        return scales, self.observed.noise.log_prior(scales, self.observed.scale) + np.log(step)

    def constant(self, per_noise: Array) -> Array:
        """What does not depend on the shape: the amplitudes' half-normal priors and the noise, for 1/scale^2 given."""
        p0, p1 = self.prior_precision
        return np.asarray(0.5 * np.log(16.0 * p0 * p1) + 0.5 * self.free * np.log(per_noise / (2.0 * np.pi)))

    def projected(self, unit: UnitCreep, nodes: Nodes) -> Projected[Likelihood]:
        """What the evidence needs of M nodes."""
        return Projections.of(unit.parts_at(self.observed, nodes), self)

    def whole_grid(self, member: Member) -> tuple[Nodes, Projected[Likelihood]]:
        """The coarse grid over the whole of a member's coordinates."""
        nodes = nodes_of(member)
        return nodes, self.projected(UnitCreep(member, self.observed.span), nodes)

    @cached_property
    def misfit(self) -> tuple[float, int]:
        """Noise that a flexible curve leaves, which favours no model, and the readings it could spare."""
        x = self.transform @ self.observed.smooth_columns(min(3, max(self.free - 4, 1)))
        rest = self.values - x @ np.linalg.lstsq(x, self.values, rcond=None)[0]
        spare = max(self.free - x.shape[1], 0)
        return float(np.sqrt(rest @ rest / max(spare, 1))), spare


def posterior(member: Member, shared: Likelihood) -> Posterior:
    """Posterior of a member: a coarse pass over the whole grid, then a fine one where the probability is."""
    return posteriors([member], shared)[0]


def posteriors(members: Sequence[Member], shared: Likelihood, each_alone: bool = False) -> list[Posterior]:
    """Posteriors of several members; of one far behind another that stands before it the coarse pass is enough.

    Not so where it is to be what it is without the others, `each_alone`. The passes of all are worked out together, as it
    is calls that cost and not sums.
    """
    low, high = shared.noise_range()
    noise, log_prior = shared.noise_grid(low, high, COARSE_NOISE)
    whole = [Grid(*shared.whole_grid(member), noise, log_prior) for member in members]
    coarse = cells_of_each(whole, shared)
    # which need a fine pass depends on those before them: what the coarse passes say of it is nearly always right
    best, expected = -np.inf, []
    for k, member in enumerate(members):
        if _goes_on(member, whole[k], coarse[k], shared, best):
            expected.append(k)
        best = best if each_alone else max(best, coarse[k].log_evidence)
    ready = _passes({k: (whole[k], coarse[k], None) for k in expected}, members, shared, low, high)
    best, each = -np.inf, []
    for k, member in enumerate(members):
        grid, cells, ranges = whole[k], coarse[k], None
        if _goes_on(member, grid, cells, shared, best):
            for _ in range(MOST_PASSES):
                if not ready.get(k):
                    ready |= _passes({k: (grid, cells, ranges)}, members, shared, low, high)
                grid, cells, ranges = ready[k].pop(0)
                if not _goes_on(member, grid, cells, shared, best) or _resolved(grid.noise, cells.profile, low):
                    break
        best = best if each_alone else max(best, cells.log_evidence)
        each.append(_posterior(member, shared, grid, cells))
    return each


Ranges = list[tuple[float, float]]

Pass = tuple[Grid[Likelihood], Cells, Ranges | None]
"""A member's grid, its cells that matter, and the ranges of its coordinates (None: the whole of them)."""


def _passes(
    before: dict[int, Pass], members: Sequence[Member], shared: Likelihood, low: float, high: float
) -> dict[int, list[Pass]]:
    """Finer passes of some members, by number, and once more where those do not show the noise yet."""
    made: dict[int, list[Pass]] = {k: [] for k in before}
    for _ in range(2):
        if not before:
            break
        finer = {k: _finer(members[k], grid, cells, shared, low, high, was) for k, (grid, cells, was) in before.items()}
        cells_of = dict(zip(finer, cells_of_each([grid for grid, _ in finer.values()], shared), strict=True))
        for k, (grid, ranges) in finer.items():
            made[k].append((grid, cells_of[k], ranges))
        best = max(cells.log_evidence for cells in cells_of.values())
        open_still = [k for k, (grid, _) in finer.items() if not _resolved(grid.noise, cells_of[k].profile, low)]
        before = {k: made[k][-1] for k in open_still if _goes_on(members[k], finer[k][0], cells_of[k], shared, best)}
    return made


def _posterior(member: Member, shared: Likelihood, grid: Grid[Likelihood], cells: Cells) -> Posterior:
    nodes, noise, within = grid.nodes.take(cells.node), grid.noise[cells.scale], cells.log_joint - cells.log_evidence
    scatters = shared.scatter, shared.creep_scatter
    return Posterior(member, nodes, noise, within, cells.quadrant, cells.log_evidence, *scatters)


def _goes_on(member: Member, grid: Grid[Likelihood], cells: Cells, shared: Likelihood, best: float) -> bool:
    """Whether the pass so far is not enough, `best` being the log evidence of a better member."""
    unseen = max(_between_scales(grid.noise, shared.free + shared.observed.noise.within[1]) - ROOM, 0.0)
    if cells.log_evidence > best - HOPELESS - unseen:
        return True
    return not _seen_by(member, grid.nodes.take(cells.node))


def _between_scales(noise: Array, free: float) -> float:
    """Log evidence that so many readings may have halfway between two noise scales (S,) beyond what they have at either."""
    half = 0.5 * float(np.log(noise[1] / noise[0]))
    return 0.5 * free * float(np.expm1(2.0 * half) - 2.0 * half)


def _finer(
    member: Member,
    grid: Grid[Likelihood],
    cells: Cells,
    shared: Likelihood,
    low: float,
    high: float,
    ranges: Ranges | None = None,
) -> tuple[Grid[Likelihood], Ranges]:
    """A fine grid where the cells of another are, whose `ranges` were those (None: the whole), and its own ranges."""
    whole = ranges is None
    counts = [c.coarse if whole else c.fine for c in member.coordinates]
    before = [(c.low, c.high) for c in member.coordinates] if ranges is None else ranges
    ranges = _ranges(member, grid.nodes.take(cells.node), before, counts)
    noise, log_prior = shared.noise_grid(*_noise_range(grid.noise, cells.profile, low, high), FINE_NOISE)
    nodes = nodes_of(member, ranges, fine=True)
    projected = shared.projected(UnitCreep(member, shared.observed.span), nodes)
    return Grid(nodes, projected, noise, log_prior), ranges


def _noise_range(noise: Array, log_joint: Array, low: float, high: float) -> tuple[float, float]:
    """Range of noise scales (S,) that holds the probability, one cell wider on both sides, within `low` to `high`."""
    seen = noise[np.isfinite(log_joint)]
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
    return int(np.isfinite(log_joint).sum()) >= FEWEST_SCALES


def cells_of_each(grids: Sequence[Grid[Likelihood]], shared: Likelihood) -> list[Cells]:
    """Cells of several grids, together where they are of one specimen; see `cells_over`."""
    several = [grid.projected for grid in grids if isinstance(grid.projected, Projections)]
    if len(grids) == 1:
        return cells_over(grids, grids[0].projected, shared)
    if len(several) < len(grids):
        return [cells_over([grid], grid.projected, shared)[0] for grid in grids]
    return cells_over(grids, Projections.joined(several), shared) if grids else []


@dataclass(frozen=True, eq=False)
class Projections:
    """What the evidence needs of the creep columns c (M, T), whitened and without zeros; x0 is the instantaneous column.

    Attributes
    ----------
    slope : ndarray, shape (M,)
        c . x0 / x0 . x0.
    size : ndarray, shape (M,)
        Square of what is left of c without x0.
    along : ndarray, shape (M,)
        Its product with the readings.
    parts : tuple of (ColumnPart, ndarray)
        The functions of time that c is made of, and what is left of each without x0.
    """

    slope: Array
    size: Array
    along: Array
    parts: tuple[tuple[ColumnPart, Array], ...]

    @classmethod
    def of(cls, parts: Sequence[ColumnPart], shared: Likelihood) -> Projections:
        """From the products of the functions of time, which are few; the M by T columns are never laid out."""
        x0 = shared.instant
        white = [part.columns @ shared.transform.T for part in parts]
        slopes = [w @ x0 / shared.size0 for w in white]
        left = [w - s[:, None] * x0 for w, s in zip(white, slopes, strict=True)]
        slope, size = np.zeros((2, parts[0].weight.size))
        for k, part in enumerate(parts):
            slope += part.weight * slopes[k][part.where]
            size += part.weight**2 * (left[k] * left[k]).sum(axis=1)[part.where]
            for j in range(k):
                product = (left[k] @ left[j].T)[part.where, parts[j].where]
                size += 2.0 * part.weight * parts[j].weight * product
        size = np.maximum(size, np.finfo(float).tiny)
        return cls(slope, size, np.zeros_like(size), tuple(zip(parts, left, strict=True))).seen(shared)

    @classmethod
    def joined(cls, several: Sequence[Projections]) -> Projections:
        """Nodes of several grids one after the other, with the readings that they have seen."""
        slope, size, along = (np.concatenate([getattr(p, name) for p in several]) for name in ("slope", "size", "along"))
        return cls(slope, size, along, ())

    def seen(self, shared: Likelihood) -> Projections:
        """The same nodes with the readings of `shared`."""
        along = [part.weight * (left @ shared.values)[part.where] for part, left in self.parts]
        return replace(self, along=np.sum(along, axis=0))

    def plausible(self, shared: Likelihood) -> NDArray[np.bool_]:
        """Where the amplitudes that fit best are not negative, shape (M,)."""
        return (self.along > 0.0) & (shared.along0 / shared.size0 > self.slope * self.along / self.size)

    def bound(self, shared: Likelihood, noise: Array, of: Indices) -> Array:
        """What the two amplitudes would reach if neither had a prior or a sign, shape (M, S)."""
        misfit = np.maximum(shared.rest @ shared.rest - self.along * self.along / self.size, 0.0)
        per_noise = noise**-2.0
        p0, p1 = shared.prior_precision
        # the determinant is at least (size0/noise^2 + p0) (size/noise^2 + p1)
        rest = shared.constant(per_noise) - 0.5 * np.log(shared.size0 * per_noise + p0)
        rows = -0.5 * np.log(per_noise), 0.5 * per_noise, rest
        if (noise == noise[0]).all():  # as coarse grids have it; else each node's own row is laid out
            volume, half, rest = (row[0] for row in rows)
        else:
            volume, half, rest = (row.take(of, axis=0) for row in rows)
        bound = (-0.5 * np.log(self.size))[:, None] + volume
        np.minimum(bound, -0.5 * np.log(p1), out=bound)
        bound -= misfit[:, None] * half
        bound += rest
        return np.asarray(bound)

    def gaussians(self, shared: Likelihood, node: Indices, per_noise: Array) -> tuple[Array, Quadrant]:
        """Log evidence before the cut to the positive quadrant, and the amplitudes' normals, both for cells (C,)."""
        size0, instant, rest = shared.size0, shared.along0 / shared.size0, shared.rest
        slope, size, along = self.slope[node], self.size[node], self.along[node]
        p0, p1 = shared.prior_precision
        q00 = size0 * per_noise + p0
        q01 = slope * size0 * per_noise
        q11 = (size + slope * slope * size0) * per_noise + p1
        # counted from what x0 alone comes to, and no difference in the determinant: under a fine gauge it is one of 1e16s
        h0 = np.full_like(per_noise, -p0 * instant)
        h1 = along * per_noise
        determinant = q00 * (size * per_noise + p1) + p0 * slope * slope * size0 * per_noise
        quadrant = Quadrant.from_precision(q00, q01, q11, h0, h1, determinant)
        fit = h0 * quadrant.mean0 + h1 * quadrant.mean1 - p0 * instant**2
        log_gauss = 0.5 * (fit - (rest @ rest) * per_noise - np.log(determinant))
        quadrant = replace(quadrant, mean0=quadrant.mean0 + instant)
        return log_gauss + shared.constant(per_noise), quadrant


def _values(member: Member, coordinate: Coordinate, nodes: Nodes) -> Array:
    """Values of a coordinate of a member at M nodes, shape (M,)."""
    if coordinate.role == "shape":
        return nodes.shapes[:, coordinate.index]
    if coordinate.role == "set":
        return nodes.set_share
    if coordinate.role == "share" and member.flow_beside:
        return np.asarray(nodes.shares[:, -2] / (1.0 - nodes.shares[:, -1]))
    return nodes.shares[:, -1]


def _seen_by(member: Member, nodes: Nodes) -> bool:
    """Whether a grid shows how likely its member is: the probability is not between its nodes."""
    return all(np.unique(_values(member, c, nodes)).size >= FEWEST_NODES for c in member.coordinates)


def _ranges(
    member: Member, nodes: Nodes, ranges: list[tuple[float, float]], counts: list[int]
) -> list[tuple[float, float]]:
    """For each coordinate the range that holds the nodes, one cell wider on both sides.

    `ranges` and `counts` are those of the nodes' own grid.
    """
    tighter = []
    for c, (low, high), count in zip(member.coordinates, ranges, counts, strict=True):
        here = _values(member, c, nodes)
        if c.log:
            cell = np.exp(np.log(high / low) / count)
            tighter.append((max(c.low, here.min() / cell), min(c.high, here.max() * cell)))
        else:
            cell = (high - low) / count
            tighter.append((max(c.low, here.min() - cell), min(c.high, here.max() + cell)))
    return tighter
