"""Posterior of one member of the mixture, by quadrature: no sampling chain (`likelihood.py` says what is summed)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from creepfit.inference.cells import Cells, Grid, cells_over
from creepfit.inference.components import Member
from creepfit.inference.likelihood import Likelihood, Likelihoods, Projections, Ranges
from creepfit.inference.nodes import GridNodes, Nodes
from creepfit.inference.truncated import Quadrant
from creepfit.mechanics.loading import Array, Indices

COARSE_NOISE, FINE_NOISE = 9, 9

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


@dataclass(frozen=True, eq=False)
class Posterior:
    """Posterior of one member on the nodes that matter.

    Attributes
    ----------
    member : Member
    laid : Nodes or GridNodes
        Those that it was worked out on.
    place : ndarray of int, shape (M,)
        The M of them that matter; each noise scale has its own.
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
    laid: Nodes | GridNodes
    place: Indices
    noise: Array
    log_weight: Array
    quadrant: Quadrant
    log_evidence: float
    scatter: Array | float = 0.0
    creep_scatter: Array | float = 0.0

    @cached_property
    def nodes(self) -> Nodes:
        """The nodes that matter."""
        return self.laid.take(self.place)

    @cached_property
    def weight(self) -> Array:
        """Posterior probability of each node within the member."""
        return np.exp(self.log_weight)

    def weighted(self, factor: float) -> Posterior:
        """The same of a member with so many times its prior weight."""
        return replace(self, member=replace(self.member, weight=factor * self.member.weight))


OfMember = tuple[Member, Likelihood]


def posterior(member: Member, shared: Likelihood) -> Posterior:
    """Posterior of a member: a coarse pass over the whole grid, then a fine one where the probability is."""
    return posteriors([member], shared)[0]


def posteriors(members: Sequence[Member], shared: Likelihood, each_alone: bool = False) -> list[Posterior]:
    """Posteriors of several members; of one far behind another that stands before it the coarse pass is enough.

    Not so where it is to be what it is without the others, `each_alone`.
    """
    return posteriors_of([(member, shared) for member in members], each_alone)


def posteriors_of(problems: Sequence[OfMember], each_alone: bool = True) -> list[Posterior]:
    """Posteriors of members, each under a likelihood; where not `each_alone`, all under one.

    The passes of all are worked out together, as it is calls that cost and not sums.
    """
    ends = {shared: shared.noise_range() for shared in dict.fromkeys(shared for _, shared in problems)}
    noise = {shared: shared.noise_grid(*ends[shared], COARSE_NOISE) for shared in ends}
    whole = [Grid(*shared.whole_grid(member), *noise[shared]) for member, shared in problems]
    coarse = cells_of_each(whole, [shared for _, shared in problems])
    # which need a fine pass depends on those before them: what the coarse passes say of it is nearly always right
    best, expected = -np.inf, []
    for k, problem in enumerate(problems):
        if _goes_on(problem, whole[k], coarse[k], best):
            expected.append(k)
        best = best if each_alone else max(best, coarse[k].log_evidence)
    ready = _passes({k: (whole[k], coarse[k], None) for k in expected}, problems, ends, each_alone)
    best, each = -np.inf, []
    for k, (member, shared) in enumerate(problems):
        grid, cells, ranges = whole[k], coarse[k], None
        if _goes_on(problems[k], grid, cells, best):
            for _ in range(MOST_PASSES):
                if not ready.get(k):
                    ready |= _passes({k: (grid, cells, ranges)}, problems, ends, each_alone)
                grid, cells, ranges = ready[k].pop(0)
                if not _goes_on(problems[k], grid, cells, best) or _resolved(grid.noise, cells.profile, ends[shared][0]):
                    break
        best = best if each_alone else max(best, cells.log_evidence)
        each.append(_posterior(member, shared, grid, cells))
    return each


Pass = tuple[Grid[Likelihood], Cells, Ranges | None]
"""A member's grid, its cells that matter, and the ranges of its coordinates (None: the whole of them)."""


def _passes(
    before: dict[int, Pass],
    problems: Sequence[OfMember],
    ends: dict[Likelihood, tuple[float, float]],
    each_alone: bool,
) -> dict[int, list[Pass]]:
    """Finer passes of some members, by number, and once more where those do not show the noise yet.

    `ends` are those of the noise scales of each likelihood.
    """
    made: dict[int, list[Pass]] = {k: [] for k in before}
    for _ in range(2):
        if not before:
            break
        of = {k: problems[k][1] for k in before}
        finer = _finer(before, problems, ends)
        cells_of = dict(zip(finer, cells_of_each([grid for grid, _ in finer.values()], [*of.values()]), strict=True))
        for k, (grid, ranges) in finer.items():
            made[k].append((grid, cells_of[k], ranges))
        best = -np.inf if each_alone else max(cells.log_evidence for cells in cells_of.values())
        open_still = [k for k, (grid, _) in finer.items() if not _resolved(grid.noise, cells_of[k].profile, ends[of[k]][0])]
        before = {k: made[k][-1] for k in open_still if _goes_on(problems[k], finer[k][0], cells_of[k], best)}
    return made


def _posterior(member: Member, shared: Likelihood, grid: Grid[Likelihood], cells: Cells) -> Posterior:
    noise, within = grid.noise[cells.scale], cells.log_joint - cells.log_evidence
    scatters = shared.scatter, shared.creep_scatter
    return Posterior(member, grid.nodes, cells.node, noise, within, cells.quadrant, cells.log_evidence, *scatters)


def _goes_on(problem: OfMember, grid: Grid[Likelihood], cells: Cells, best: float) -> bool:
    """Whether the pass so far is not enough, `best` being the log evidence of a better member."""
    _, shared = problem
    unseen = max(_between_scales(grid.noise, shared.free + shared.observed.noise.within[1]) - ROOM, 0.0)
    if cells.log_evidence > best - HOPELESS - unseen:
        return True
    return not _seen_by(grid.nodes, cells.node)


def _between_scales(noise: Array, free: float) -> float:
    """Log evidence that so many readings may have halfway between two noise scales (S,) beyond what they have at either."""
    half = 0.5 * float(np.log(noise[1] / noise[0]))
    return 0.5 * free * float(np.expm1(2.0 * half) - 2.0 * half)


def _finer(
    before: dict[int, Pass], problems: Sequence[OfMember], ends: dict[Likelihood, tuple[float, float]]
) -> dict[int, tuple[Grid[Likelihood], Ranges]]:
    """Fine grids of some members where the cells of those before are, and the ranges of their coordinates."""
    made: dict[int, tuple[Grid[Likelihood], Ranges]] = {}
    for shared in dict.fromkeys(problems[k][1] for k in before):
        own = [k for k in before if problems[k][1] is shared]
        ranges = [_ranges(problems[k][0], *before[k]) for k in own]
        laid = shared.grids([problems[k][0] for k in own], ranges)
        of_noise = np.array([_noise_range(before[k][0].noise, before[k][1].profile, *ends[shared]) for k in own])
        noise = zip(*shared.noise_grid(of_noise[:, 0], of_noise[:, 1], FINE_NOISE), strict=True)
        for k, (nodes, projected), scales, of_coordinates in zip(own, laid, noise, ranges, strict=True):
            made[k] = Grid(nodes, projected, *scales), of_coordinates
    return {k: made[k] for k in before}


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


def cells_of_each(grids: Sequence[Grid[Likelihood]], under: Sequence[Likelihood]) -> list[Cells]:
    """Cells of several grids, each under a likelihood, together where they are of one specimen; see `cells_over`."""
    several = [grid.projected for grid in grids if isinstance(grid.projected, Projections)]
    if len(grids) == 1 or len(several) < len(grids):
        return [cells_over([grid], grid.projected, own)[0] for grid, own in zip(grids, under, strict=True)]
    if not grids:
        return []
    alike = all(own is under[0] for own in under)
    shared = under[0] if alike else Likelihoods(under, [grid.nodes.log_prior.size for grid in grids])
    return cells_over(grids, Projections.joined(several), shared)


def _seen_by(nodes: GridNodes, cells: Indices) -> bool:
    """Whether a grid shows how likely its member is: the probability, at the nodes of the cells, is not between its nodes.

    So it is where each coordinate has three values or more there.
    """
    return all(values.size > 2 for values in nodes.reached(cells))


def _ranges(member: Member, grid: Grid[Likelihood], cells: Cells, before: Ranges | None) -> Ranges:
    """For each coordinate the range that holds the nodes of the cells, one cell wider on both sides.

    `before` are those of the nodes' own grid (None: the whole).
    """
    tighter = []
    for k, (c, here) in enumerate(zip(member.coordinates, grid.nodes.reached(cells.node), strict=True)):
        low, high, count = (c.low, c.high, c.coarse) if before is None else (*before[k], c.fine)
        if c.log:
            cell = np.exp(np.log(high / low) / count)
            tighter.append((max(c.low, here[0] / cell), min(c.high, here[-1] * cell)))
        else:
            cell = (high - low) / count
            tighter.append((max(c.low, here[0] - cell), min(c.high, here[-1] + cell)))
    return tighter
