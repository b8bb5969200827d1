"""Each specimen's own two amplitudes, about those of the average specimen: what readings of several specimens say.

Specimen i deforms at once by a_i0 and creeps by a_i1, both normal about the average's b: all its deformation is larger by
one factor (its stiffness), and its creep by a further one. Given a node of a member's grid everything stays Gaussian, and
a specimen enters by five numbers: the products of its readings and of its two columns. So nothing as large as a covariance
of all readings is ever formed or inverted, and any ratio of scatter to gauge noise is worked out alike: formulas below add
positive terms only.

Source: the linear mixed model (Laird & Ware, Biometrics 38 (1982) 963; Robinson, Stat. Sci. 6 (1991) 15, both from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from creepfit.inference.cells import Projected
from creepfit.inference.components import Member, UnitCreep
from creepfit.inference.likelihood import Likelihood, Ranges
from creepfit.inference.nodes import GridNodes, Nodes
from creepfit.inference.priors import Priors
from creepfit.inference.stacking import StackedObservations
from creepfit.inference.truncated import Quadrant
from creepfit.mechanics.loading import Array, Indices

USUAL_SCATTER = 0.1
"""Scatter that weighs specimens against each other where their average is only needed as the measure of the scatter."""

NOTHING = 1e-10
"""Part of the square of a column that is left when others are taken out, below which it says nothing: an amplitude by it
would be a million times too large, and its square, taken off again, leave rounding in place of evidence."""

TINY = float(np.finfo(float).tiny)
CERTAIN = 1e-9
"""Of an amplitude: no closer is it known, not even where it cannot scatter."""


class SpecimensLikelihood(Likelihood):
    """The likelihood of several specimens under one scatter between them.

    Parameters
    ----------
    observed : StackedObservations
    priors : Priors
    scatter, creep_scatter : float, or ndarray of shape (P, 1)
        Standard deviations of the logarithms of all deformation, and of creep besides; P pairs of them at once.
    """

    observed: StackedObservations

    def __init__(
        self,
        observed: StackedObservations,
        priors: Priors,
        scatter: Array | float = USUAL_SCATTER,
        creep_scatter: Array | float = USUAL_SCATTER,
    ) -> None:
        super().__init__(observed, priors)
        self.scatter, self.creep_scatter = scatter, creep_scatter
        self.rows = [observed.rows_of(i) for i in range(observed.count)]
        self.white = [self.transform[rows] for rows in self.rows]

    def under(self, scatter: Array | float, creep_scatter: Array | float) -> SpecimensLikelihood:
        """The same readings under another scatter."""
        other = copy(self)
        other.scatter, other.creep_scatter = scatter, creep_scatter
        return other

    def grids(self, members: Sequence[Member], ranges: Sequence[Ranges]) -> list[tuple[GridNodes, Projected[Likelihood]]]:
        return [self.grid(member, own) for member, own in zip(members, ranges, strict=True)]

    def projected(self, unit: UnitCreep, nodes: Nodes | GridNodes) -> SpecimenProjections:
        return SpecimenProjections.of(self, unit, nodes)

    @cached_property
    def misfit(self) -> tuple[float, int]:
        """As for one run, each specimen by a flexible curve of its own: what sets it apart is no noise."""
        total, spare = 0.0, 0
        for rows in self.rows:
            values = self.values[rows]
            zeros = int((self.observed.zeros[rows] != 0.0).any(axis=0).sum())
            free = rows.size - zeros
            columns = self.observed.smooth_columns(min(3, max(free - 4, 1)))
            x = self.transform[np.ix_(rows, rows)] @ columns[rows]
            rest = values - x @ np.linalg.lstsq(x, values, rcond=None)[0]
            total += float(rest @ rest)
            spare += max(free - x.shape[1], 0)
        return float(np.sqrt(total / max(spare, 1))), spare


@dataclass(frozen=True, eq=False)
class SpecimenProjections:
    """What the evidence needs of M nodes and K specimens; x0 is a specimen's instantaneous column, c its creep column.

    Attributes
    ----------
    size0, along0 : ndarray, shape (K, 1)
        x0 . x0, and x0 . readings, whitened and without zeros; 0 where the zero hides what came at once.
    slope, size, along : ndarray, shape (K, M)
        c . x0 / x0 . x0, the square of what is left of c without x0, and its product with the readings.
    rest : ndarray, shape (K, M)
        Square of the readings that neither column explains.
    mean : ndarray, shape (2, M)
        Average amplitudes, in proportion to which specimens scatter. They are those of the node's own curve, never of
        readings: a covariance in proportion to the data pulls the mean towards the smallest of them (Peelle's puzzle in
        the evaluation of measurements, from memory), and one laid on another node's curve would take up that node's misfit.
    positive : ndarray of bool, shape (M,)
        Where both averages came out positive.
    """

    size0: Array
    along0: Array
    slope: Array
    size: Array
    along: Array
    rest: Array
    mean: Array
    positive: NDArray[np.bool_]

    @classmethod
    def of(cls, shared: SpecimensLikelihood, unit: UnitCreep, nodes: Nodes | GridNodes) -> SpecimenProjections:
        """From the products of the functions of time, which are few; the columns of all nodes are never laid out."""
        parts = unit.parts_at(shared.observed, nodes)
        count, points = len(shared.rows), nodes.log_prior.size
        size0, along0 = np.zeros((count, 1)), np.zeros((count, 1))
        slope, size, along, rest, whole = np.zeros((5, count, points))
        for i, rows in enumerate(shared.rows):
            x0, values = shared.instant[rows], shared.values[rows]
            white = [part.columns @ shared.white[i].T for part in parts]
            size0[i], along0[i] = x0 @ x0, x0 @ values
            if size0[i, 0] <= NOTHING * float(np.square(shared.observed.instant_column()[rows]).sum()):
                size0[i] = along0[i] = 0.0
            by0 = x0 / size0[i, 0] if size0[i, 0] > 0.0 else np.zeros_like(x0)
            slopes = [w @ by0 for w in white]
            left = [w - s[:, None] * x0 for w, s in zip(white, slopes, strict=True)]
            beside = values - (by0 @ values) * x0
            for k, part in enumerate(parts):
                slope[i] += np.ravel(part.weight * slopes[k][part.where])
                along[i] += np.ravel(part.weight * (left[k] @ beside)[part.where])
                for j in range(k + 1):
                    twice = (1.0 if j == k else 2.0) * part.weight * parts[j].weight
                    size[i] += np.ravel(twice * (left[k] @ left[j].T)[part.where, parts[j].where])
                    whole[i] += np.ravel(twice * (white[k] @ white[j].T)[part.where, parts[j].where])
            seen = size[i] > NOTHING * np.maximum(whole[i], TINY)
            size[i], along[i] = np.where(seen, size[i], 0.0), np.where(seen, along[i], 0.0)
            rest[i] = np.maximum(beside @ beside - _over(along[i] ** 2, size[i]), 0.0)
        draft = cls(size0, along0, slope, size, along, rest, np.zeros((2, points)), np.ones(points, dtype=bool))
        return draft._with_mean(shared)

    def _with_mean(self, shared: SpecimensLikelihood) -> SpecimenProjections:
        """Average amplitudes by weighted least squares: first alike, then with a usual scatter about that."""
        per_noise = np.full(self.rest.shape[1], shared.observed.noise.stated**-2.0)
        mean, positive = self.mean, self.positive
        for scatter in (0.0, USUAL_SCATTER):
            p00, p01, p11, determinant, q0, q1, _, _ = self._sums(shared, mean, scatter, scatter, per_noise)
            average = np.array([p11 * q0 - p01 * q1, p00 * q1 - p01 * q0]) / determinant
            positive = np.asarray((average > 0.0).all(axis=0))
            mean = np.maximum(average, 0.0)
        return SpecimenProjections(self.size0, self.along0, self.slope, self.size, self.along, self.rest, mean, positive)

    def plausible(self, shared: Likelihood) -> NDArray[np.bool_]:
        """Where the average amplitudes that fit best are not negative, shape (M,)."""
        return self.positive

    def bound(self, shared: Likelihood, noise: Array, noise_prior: Array, node_prior: Array, of: Indices) -> Array:
        """The evidence before the cut to the positive quadrant, with both priors, shape (S, M)."""
        slope, size, along, rest, mean = (a[:, None] for a in (self.slope, self.size, self.along, self.rest, self.mean))
        # of nodes in one direction and noise scales in the other, what hangs on one of them alone is worked out once
        each = SpecimenProjections(self.size0, self.along0, slope, size, along, rest, mean, self.positive)
        evidence = each._evidence(shared, (noise if noise.shape[0] == 1 else noise[of]).T ** -2.0)[0]
        return np.asarray(evidence + noise_prior[of].T + node_prior)

    def gaussians(self, shared: Likelihood, node: Indices, per_noise: Array) -> tuple[Array, Quadrant]:
        """Log evidence before the cut, and the average amplitudes' normals, for cells (C,), or (P, C) under P pairs."""
        return self.take(node)._evidence(shared, per_noise)

    def _evidence(self, shared: Likelihood, per_noise: Array) -> tuple[Array, Quadrant]:
        """The same for all nodes, each with a noise scale of its own or all with a row of them."""
        sums = self._sums(shared, self.mean, shared.scatter, shared.creep_scatter, per_noise)
        p00, p01, p11, determinant, q0, q1, square, logs = sums
        quadrant = Quadrant.from_precision(p00, p01, p11, q0, q1, determinant)
        fit = q0 * quadrant.mean0 + q1 * quadrant.mean1
        log_gauss = 0.5 * (fit - square - logs - np.log(determinant))
        return log_gauss + shared.constant(per_noise), quadrant

    def take(self, node: Indices) -> SpecimenProjections:
        """The same for a selection of nodes."""
        slope, size, along, rest, mean = (a[:, node] for a in (self.slope, self.size, self.along, self.rest, self.mean))
        return SpecimenProjections(self.size0, self.along0, slope, size, along, rest, mean, self.positive[node])

    def own(self, specimen: int, instant: Array, creep: Array, scatters: tuple[Array, Array], per_noise: Array) -> Quadrant:
        """One specimen's own amplitudes given the average's (M,): normals, to be cut to the positive quadrant."""
        g = self._gram(specimen, per_noise)
        s00, s01, s11, determinant = spread(self.mean, *scatters)
        a = self._size(g, (s00, s01, s11, determinant))
        v00, v01, v11 = (s00 + determinant * g[2]) / a, (s01 - determinant * g[1]) / a, (s11 + determinant * g[0]) / a
        own0, own1 = self._estimate(specimen)
        # mean = b + V G (own - b)
        h0 = g[0] * (own0 - instant) + g[1] * (own1 - creep)
        h1 = g[1] * (own0 - instant) + g[2] * (own1 - creep)
        mean0, mean1 = instant + v00 * h0 + v01 * h1, creep + v01 * h0 + v11 * h1
        v00, v11 = np.maximum(v00, (CERTAIN * mean0) ** 2 + TINY), np.maximum(v11, (CERTAIN * mean1) ** 2 + TINY)
        left = np.maximum(v00 - v01 * v01 / v11, 1e-12 * v00)
        return Quadrant(mean0, mean1, np.sqrt(v11), v01 / v11, np.sqrt(left))

    def _gram(self, i: int, per_noise: Array) -> tuple[Array, Array, Array, Array]:
        """Precision matrix of a specimen's own amplitudes by its readings (00, 01, 11), and its determinant."""
        g00 = self.size0[i] * per_noise
        g01 = self.slope[i] * g00
        return g00, g01, self.size[i] * per_noise + self.slope[i] * g01, g00 * self.size[i] * per_noise

    def _estimate(self, i: int) -> tuple[Array, Array]:
        """A specimen's own amplitudes by its readings alone; 0 where they say nothing."""
        own1 = _over(self.along[i], self.size[i])
        return _over(self.along0[i], self.size0[i]) - self.slope[i] * own1 * (self.size0[i] > 0.0), own1

    @staticmethod
    def _size(g: tuple[Array, Array, Array, Array], s: tuple[Array, Array, Array, Array]) -> Array:
        """Determinant of 1 + G S."""
        size = 1.0 + g[0] * s[0]
        size += 2.0 * g[1] * s[1]
        size += g[2] * s[2]
        size += g[3] * s[3]
        return np.asarray(size)

    def _sums(
        self, shared: Likelihood, mean: Array, scatter: Array | float, creep_scatter: Array | float, per_noise: Array
    ) -> tuple[Array, ...]:
        """Over the prior and all specimens: precision of the average (00, 01, 11) and its determinant, precision times
        mean (0, 1), square, log determinant of the readings.

        A specimen's readings say P = (S + G^-1)^-1 = (G + det G adj S) / det(1 + G S) of the average, and det P is
        det G / det(1 + G S). Of two specimens a thousand times as stiff as one another the determinant of the sum is lost
        in rounding, so it is built up: det(A + B) = det A + det B + a00 b11 + a11 b00 - 2 a01 b01, where what is mixed
        is never below 2 sqrt(det A det B).
        """
        s = spread(mean, scatter, creep_scatter)
        out = np.zeros((8, *np.broadcast(s[0], per_noise).shape))
        whole00, whole01, whole11, determinant, whole0, whole1, square, logs = out
        out[0], out[2] = shared.prior_precision
        np.multiply(whole00, whole11, out=determinant)
        for i in range(self.size0.size):
            g = self._gram(i, per_noise)
            a = self._size(g, s)
            own = g[3] / a
            # in place from here on: to find room for arrays as large as a grid takes longer than to fill them
            p00, p01, p11 = g[3] * s[2], g[3] * s[1], g[3] * s[0]
            p00 += g[0]
            np.subtract(g[1], p01, out=p01)
            p11 += g[2]
            for p in (p00, p01, p11):
                p /= a
            mixed, room = whole00 * p11, whole11 * p00
            mixed += room
            np.multiply(2.0 * whole01, p01, out=room)
            mixed -= room
            np.sqrt(determinant, out=room)
            room *= 2.0
            room *= np.sqrt(own)
            own += np.maximum(mixed, room, out=mixed)
            determinant += own
            whole00 += p00
            whole01 += p01
            whole11 += p11
            own0, own1 = self._estimate(i)
            q0, q1 = np.multiply(p00, own0, out=p00), np.multiply(p11, own1, out=p11)
            q0 += np.multiply(p01, own1, out=room)
            q1 += np.multiply(p01, own0, out=room)
            whole0 += q0
            whole1 += q1
            q0 *= own0
            q0 += self.rest[i] * per_noise
            q0 += np.multiply(q1, own1, out=q1)
            square += q0
            logs += np.log(a, out=a)
        return tuple(out)


def spread(mean: Array, scatter: Array | float, creep_scatter: Array | float) -> tuple[Array, Array, Array, Array]:
    """Covariance of specimens' amplitudes about their average (00, 01, 11), each (M,) or (P, M), and its determinant."""
    all_of, creep_of = np.square(scatter), np.square(creep_scatter)
    s00, s01 = all_of * mean[0] ** 2, all_of * mean[0] * mean[1]
    return s00, s01, (all_of + creep_of) * mean[1] ** 2, all_of * creep_of * (mean[0] * mean[1]) ** 2


def _over(a: Array, b: Array) -> Array:
    """a / b, 0 where b is."""
    return np.divide(a, b, out=np.zeros(np.broadcast(a, b).shape), where=b > 0.0)
