"""Beams bent so far that lever arms change: equilibrium on the bent axis, with what compression adds.

The axis turns by theta(s), found from

    theta - theta_0 = turning of the root + integral of mu / I,      mu(s) = integral from s on of r' x p + couples,
    r' = (1 + p_t / A) t + (E/G) p_n / (kappa A) n,

t and n along and square to the *bent* axis and p(s) the force beyond s times the compliance (E. Reissner, "On
one-dimensional finite-strain beam theory", J. Appl. Math. Phys. 23 (1972) 795-804, from memory; with nothing but
bending it is Euler's elastica). Loads keep their direction, so p is known beforehand and only the angles are not.
Small loads give `Beam.influence`; a load along the axis gives P-delta and buckling.

What creeps enters only as force times compliance, so one path along a growing compliance serves all draws and times.
That takes the moment of today to have acted since loading (quasi-elastic). Where the moment grew with the sag it acted
for less time than that: the answer is a little too large then, and a little too small where bending relieves itself.
Two rests move along with the points of the bar that they held at first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from creepfit.mechanics.axis_integrals import AxisIntegrals
from creepfit.mechanics.beam import Beam
from creepfit.mechanics.beam_loads import Load
from creepfit.mechanics.loading import Array, Indices

_MOST_STEPS = 15
_SHORTEST = 2e-3
"""Step along a path, over the compliance, below which it is given up."""
_LEANS = 1e-9
"""rad: from this angle on a shape has a side that it leans to."""
_CLOSE = 1e-11
"""rad: Newton stops where no angle changes by more, or where the next change would be less by how the last ones shrank."""

_AHEAD = 0.01
"""rad: what a start that was looked ahead for may be off by, for the same."""

_LOOKED_BACK = 4
"""Shapes that tell where the next one on a path is."""

LoadGroup = Sequence[tuple[Load, float]]
"""Loads with sizes that share one course in time."""


@dataclass(frozen=True, eq=False)
class Bent:
    """A bent beam in equilibrium.

    Attributes
    ----------
    turning : ndarray, shape (n,)
        By what each node of the axis has turned, rad.
    displacement : ndarray, shape (2,)
        Of the point where it is read, mm.
    opening : float
        What the distance to the opposite face has grown by, mm; 0 where there is none.
    stress : ndarray, shape (n,)
        Outer-fibre stress at the nodes under the loads that act, MPa.
    unknowns : ndarray
        To start the next solution from.
    """

    turning: Array
    displacement: Array
    opening: float
    stress: Array
    unknowns: Array

    @property
    def largest_turn(self) -> float:
        """Largest rotation anywhere, rad."""
        return float(np.max(np.abs(self.turning)))


class BentBeam:
    """A beam with its loads in groups, solved on its bent axis.

    Parameters
    ----------
    beam : Beam
    groups : sequence of groups
        K groups of (load, size): each has a compliance of its own, as each has its own history.
    read_at : float, optional
        Where displacements are asked for, mm along the axis; the end if not given.
    opposite_at : float, optional
        Another point, where the opening between both is asked for.
    """

    def __init__(
        self, beam: Beam, groups: Sequence[LoadGroup], read_at: float | None = None, opposite_at: float | None = None
    ) -> None:
        self.beam, axis = beam, beam.axis
        self.read_at = axis.locate(read_at, "read_at")
        self.opposite_at = self.read_at if opposite_at is None else axis.locate(opposite_at, "opposite_at")
        breaks = [at for group in groups for load, _ in group for at in load.breaks(axis)]
        self._along = AxisIntegrals.over(axis, [*breaks, *beam.rests, self.read_at, self.opposite_at])
        self.distance, self.weight = self._along.distance, self._along.weight
        count = self.distance.size
        second, self._area, self._shear_area, self._outer = axis.section_values(
            self.distance,
            lambda s: s.second_moment,
            lambda s: s.area,
            lambda s: s.shear_area(beam.poisson),
            lambda s: s.outer_fibre,
        )
        self._bend = self._along.forward / second @ self._along.backward
        """Angles that a density of moment along the axis brings."""
        self._second = second
        self._heading = axis.heading(self.distance)
        self._made = np.stack([np.cos(self._heading), np.sin(self._heading)])
        self._forces = np.zeros((len(groups), 2, count))
        self._couples = np.zeros((len(groups), count))
        self._totals = np.zeros((len(groups), 3))
        before = np.array([axis.start - 1.0])
        for k, group in enumerate(groups):
            for load, amount in group:
                self._forces[k] += amount * load.beyond(axis, self.distance)[0]
                self._couples[k] += amount * load.couple(axis, self.distance)
                self._totals[k, :2] += amount * load.beyond(axis, before)[0][:, 0]
                self._totals[k, 2] += amount * load.couple(axis, before)[0]
        self._flat_forces = self._forces.reshape(len(groups), 2 * count)
        self._between = np.zeros(count)
        self._overhang = np.zeros(count)
        if beam.rests:
            first, second_rest = beam.rests
            self._between = ((self.distance > first) & (self.distance < second_rest)).astype(np.float64)
            self._overhang = (self.distance < first).astype(np.float64)
        fixed = beam.rests[0] if beam.rests else axis.start
        self._to_reading = self._along.between(fixed, self.read_at)
        self._gap = self._along.between(self.opposite_at, self.read_at)
        nothing = np.zeros(len(groups))
        _, slope = self._residual(np.zeros(count + 2 * bool(beam.rests)), nothing, nothing)
        self._unloaded = np.linalg.slogdet(slope)[0]

    @np.errstate(over="ignore", invalid="ignore")  # a search that runs off is found out by its steps
    def solve(self, compliance: Array, acting: Array, start: Array | None = None, ahead: bool = False) -> Bent | None:
        """Find the equilibrium.

        Parameters
        ----------
        compliance : array of shape (K,)
            Superposed compliance of each group, 1/MPa times the share of its load.
        acting : array of shape (K,)
            Share of each group's load that acts; only the turning of the root and the moment depend on it.
        start : array, optional
            `unknowns` of a solution nearby.
        ahead : bool
            Whether the start was looked ahead for along a path.

        Returns
        -------
        Bent or None
            None where none is found.
        """
        from scipy.linalg.lapack import dgesv  # slow to import, and little bends far

        count = self.distance.size
        pinned = bool(self.beam.rests)
        z = np.zeros(count + 2 * pinned) if start is None else start.copy()
        before = _AHEAD if ahead else 0.0
        for _ in range(_MOST_STEPS):
            residual, slope = self._residual(z, compliance, acting)
            factors, swaps, step, singular = dgesv(slope, residual)
            if singular:
                return None
            size = float(np.max(np.abs(step[:count])))
            if not np.isfinite(size):
                return None
            z -= step * min(1.0, 0.5 / size) if size > 0.5 else step
            close = _CLOSE * (1.0 + float(np.max(np.abs(z[:count]))))
            # of two rests the slopes leave out what the force of the second one stretches, so steps shrink less
            if size < close or (not pinned and size**2 < close * before):
                return self._bent(z, compliance, acting) if self._stable(factors, swaps) else None
            before = size
        return None

    def _stable(self, factors: Array, swaps: Indices) -> bool:
        """Whether no small turning would run away: the determinant has the sign that it has without load.

        It is that of the triangular factors and of the rows swapped for them. Beyond its critical load a strut has a
        straight equilibrium too, which no real one keeps.
        """
        turned = np.count_nonzero(np.diagonal(factors) < 0.0) + np.count_nonzero(swaps != np.arange(swaps.size))
        return bool((-1.0) ** turned == self._unloaded)

    def path(self, compliance: Array, acting: Array, scales: Array) -> list[Bent]:
        """Equilibria along a growing compliance, as far as they can be followed.

        Parameters
        ----------
        compliance, acting : arrays of shape (K,)
        scales : array of shape (n,), ascending
            Factors on the compliance.
        """
        shapes: list[Bent] = []
        done = 0.0
        z: Array | None = None
        known: list[tuple[float, Array]] = []
        for scale in map(float, scales):
            bent = None
            if known:  # on through the last ones first, which is near where the path is smooth
                bent = self.solve(compliance * scale, acting, _ahead(known, scale), True)
            if bent is not None and _other_way(bent.unknowns, z):
                bent = None
            bent = bent or self._reach(compliance, acting, done, scale, z)
            if bent is None:
                break
            shapes.append(bent)
            known = [*(known or [(0.0, np.zeros(bent.unknowns.size))]), (scale, bent.unknowns)][-_LOOKED_BACK:]
            done, z = scale, bent.unknowns
        return shapes

    def critical(self, compliance: Array) -> float | None:
        """Factor on the compliance at which the beam as made would buckle; None where it never does.

        The smallest positive one at which a small turning holds itself (linear buckling: shape before bending, and
        only bending gives way).
        """
        from scipy import linalg  # slow to import, and little bends far

        along = np.einsum("in,in->n", self._made, np.tensordot(compliance, self._forces, 1))
        count = self.distance.size
        if not self.beam.rests:
            # beyond the largest real root nothing buckles
            factors = linalg.eigvals(self._bend * -along)
        else:
            along = along - self._overhang * (self._made.T @ (compliance @ self._totals[:, :2]))
            lever = self._made[0] * self._between
            mass, stiff = np.zeros((count + 2, count + 2)), np.zeros((count + 2, count + 2))
            mass[:count, :count], mass[:count, -1] = self._bend * -along, self._bend @ lever
            mass[-2, :count], mass[-2, -1] = -self.weight * along, self.weight @ lever
            stiff[:count, :count], stiff[:count, -2] = np.eye(count), -1.0
            stiff[-1, :count] = self.weight * self._between * self._made[0]
            above, below = linalg.eig(mass, stiff, right=False, homogeneous_eigvals=True)
            finite = np.abs(below) > 1e-9 * np.abs(above)
            factors = above[finite] / below[finite]
        roots: NDArray[np.complex128] = np.asarray(factors, dtype=np.complex128)
        size = np.maximum(np.abs(roots), 1e-9)
        real = roots.real[(np.abs(roots.imag) < 1e-6 * size) & (roots.real > 0.1 * size)]
        return float(1.0 / real.max()) if real.size else None

    def _reach(self, compliance: Array, acting: Array, done: float, scale: float, z: Array | None) -> Bent | None:
        """Solve at `scale` from the solution at `done`, by halves where it does not come in one go."""
        step = scale - done
        at = done
        while at < scale:
            bent = self.solve(compliance * min(at + step, scale), acting, z)
            if bent is None or _other_way(bent.unknowns, z):
                step /= 2.0
                if step < _SHORTEST * scale:
                    return None
                continue
            at, z = min(at + step, scale), bent.unknowns
        return bent

    def _loads(self, share: Array, lift: float) -> tuple[Array, Array, float]:
        """Force (2, n) and couple (n,) beyond each node, and couple on the whole beam; `lift` by the second rest."""
        force = (share @ self._flat_forces).reshape(2, -1)
        if self.beam.rests:
            force = force - self._overhang * (share @ self._totals[:, :2])[:, None]
            force[1] += lift * self._between
        return force, share @ self._couples, float(share @ self._totals[:, 2])

    def _axis(self, turning: Array, force: Array) -> tuple[Array, Array]:
        """Stretched direction of the bent axis and its change with the angle; each of shape (2, n)."""
        heading = self._heading + turning
        along = np.array([np.cos(heading), np.sin(heading)])
        across = np.array([-along[1], along[0]])
        stretch = 1.0 + (along[0] * force[0] + along[1] * force[1]) / self._area
        slip = self.beam.ratio * _cross(along, force) / self._shear_area
        return stretch * along + slip * across, stretch * across - slip * along

    def _residual(self, z: Array, compliance: Array, acting: Array) -> tuple[Array, Array]:
        count = self.distance.size
        turning = z[:count]
        force, couple, whole = self._loads(compliance, float(z[-1]) if self.beam.rests else 0.0)
        axis, slope = self._axis(turning, force)
        density, change = _cross(axis, force), _cross(slope, force)
        angle = self._bend @ density + self._along.forward @ (couple / self._second)
        jacobian = np.zeros((z.size, z.size))
        np.multiply(self._bend, -change, out=jacobian[:count, :count])
        jacobian.flat[:: z.size + 1] += 1.0
        if not self.beam.rests:
            residual = turning - angle
            if self.beam.root_compliance:
                real, _, all_couples = self._loads(acting, 0.0)
                residual -= self.beam.root_compliance * (self.weight @ _cross(axis, real) + all_couples)
                jacobian -= self.beam.root_compliance * self.weight * _cross(slope, real)
            return residual, jacobian
        lever = axis[0] * self._between
        residual = np.concatenate(
            [
                turning - z[-2] - angle,
                [self.weight @ density + whole, (self.weight * self._between) @ (axis[1] - self._made[1])],
            ]
        )
        jacobian[:count, -2], jacobian[:count, -1] = -1.0, -self._bend @ lever
        jacobian[-2, :count], jacobian[-2, -2], jacobian[-2, -1] = self.weight * change, 0.0, self.weight @ lever
        jacobian[-1, :count], jacobian[-1, -1] = self.weight * self._between * slope[1], 0.0
        return residual, jacobian

    def displaced(self, bent: Bent, compliance: Array, points: Array) -> Array:
        """Displacement of points of the axis (mm along it, shape (n,)) in an equilibrium found; shape (2, n), mm."""
        force, _, _ = self._loads(compliance, float(bent.unknowns[-1]) if self.beam.rests else 0.0)
        fixed = self.beam.rests[0] if self.beam.rests else self.beam.axis.start
        moved = self._along.up_to(np.append(points, fixed), self._axis(bent.turning, force)[0] - self._made)
        return np.asarray(moved[:, :-1] - moved[:, -1:])

    def _bent(self, z: Array, compliance: Array, acting: Array) -> Bent:
        turning = z[: self.distance.size]
        force, _, _ = self._loads(compliance, float(z[-1]) if self.beam.rests else 0.0)
        axis, _ = self._axis(turning, force)
        moved = (axis - self._made) @ self._to_reading
        opening = float(np.hypot(*(axis @ self._gap)) - np.hypot(*(self._made @ self._gap)))
        real, couples, _ = self._loads(acting, 0.0)
        if self.beam.rests:
            # moments about the first rest give what the second one bears
            lever = self.weight @ (axis[0] * self._between)
            load = self.weight @ _cross(axis, real) + acting @ self._totals[:, 2]
            real[1] -= load / lever * self._between
        moment = self._along.backward @ _cross(axis, real) + couples
        along = axis / np.hypot(*axis)
        stress = np.abs(moment) * self._outer / self._second + np.abs(np.sum(along * real, axis=0)) / self._area
        return Bent(turning, np.asarray(moved), opening, np.asarray(stress), z)


def _ahead(known: Sequence[tuple[float, Array]], scale: float) -> Array:
    """The polynomial through what is known at some scales, carried on to another."""
    out = np.zeros(known[0][1].size)
    for i, (at, unknowns) in enumerate(known):
        out += unknowns * np.prod([(scale - other) / (at - other) for j, (other, _) in enumerate(known) if j != i])
    return out


def _other_way(unknowns: Array, before: Array | None) -> bool:
    """Whether a shape is on another path than the one before it: a strut that leans one way, bent the other."""
    return before is not None and float(np.abs(before).max()) > _LEANS and float(unknowns @ before) < 0.0


def _cross(a: Array, b: Array) -> Array:
    return np.asarray(a[0] * b[1] - a[1] * b[0])
