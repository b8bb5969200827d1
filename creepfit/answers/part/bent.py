"""What bending far adds to a part's sag: equilibrium on the bent axis less that on the axis as made.

One path along a growing compliance serves all draws and times whose loads stand in one proportion. Where loads come and
go there are a few such paths, one for each proportion that occurs; a draw's own proportion differs from its median by so
little that only the size of its compliance is taken from it.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from creepfit.answers.part.loads import CourseCreep, Courses
from creepfit.mechanics.beam import Beam
from creepfit.mechanics.beam_loads import SelfWeight, unit_vector
from creepfit.mechanics.frame import Frame
from creepfit.mechanics.large_rotation import Bent, BentBeam
from creepfit.mechanics.loading import Array
from creepfit.records.part import PartLoad

if TYPE_CHECKING:
    from scipy.interpolate import PchipInterpolator

NEGLIGIBLE = 0.005
"""Of the sag: what bending far adds is left out below this."""

POINTS = 16
"""Equilibria along a path; between them the sag is smooth."""

FINE = 2.5
"""A path serves turnings down to its own over this: for smaller ones its points lie too far apart."""

ALIKE = 0.02
"""Of the turning: proportions of loads that differ by less share a path."""


LITTLE = 0.5
"""rad: up to this turning the shape that is found in one go is that at the end of a path."""


@dataclass(frozen=True, eq=False)
class _Path:
    """Sag beyond the linear one (mm) along the turning in proportion to load, `reach` [rad] as far as it was followed."""

    share: Array
    acting: Array
    most: float
    reach: float
    curve: PchipInterpolator | None
    slope: float

    def __call__(self, turning: Array) -> Array:
        if self.curve is None:
            return np.zeros(turning.shape)
        inside = np.minimum(turning, self.reach)
        return np.asarray(self.curve(inside) + self.slope * (turning - inside))


@dataclass(frozen=True)
class BentState:
    """A part bent at one compliance under all its loads.

    Attributes
    ----------
    turn : float
        Largest rotation, rad.
    sag, linear : float
        mm: in equilibrium, and by the shape as made.
    stress_factor : float
        Largest stress over that of the shape as made, 1 or more.
    buckles_at : float or None
        Compliance (1/MPa) at which the part as made buckles under its loads; None where it never does.
    found : bool
        Whether there is an equilibrium; the other numbers are those of the last one there was.
    """

    turn: float
    sag: float
    linear: float
    stress_factor: float
    buckles_at: float | None
    found: bool


class BentSag:
    """A part's loads on its bent axis.

    Parameters
    ----------
    courses : Courses
    beam : Beam, optional
        In place of the part's own.
    """

    def __init__(self, courses: Courses, beam: Beam | None = None) -> None:
        part = courses.part
        self.part, body = part, part.beam if beam is None else beam
        groups: list[list[PartLoad]] = []
        course, own = [], []
        for k, members in enumerate(courses.members):
            for of_own in (False, True):
                chosen = [load for load in members if isinstance(load.load, SelfWeight) == of_own]
                if chosen:
                    groups.append(chosen)
                    course.append(k)
                    own.append(of_own)
        self._course, self._own = course, own
        pairs = [[(load.load, load.size) for load in group] for group in groups]
        self._bent = BentBeam(body, pairs, part.read_at, part.opposite_at)
        influences = [[(load.size, part.influence(load.load, body)) for load in g] for g in groups]
        self._linear = np.array([sum(size * i.per_compliance for size, i in g) for g in influences])
        self._mount = np.array([sum(size * i.mount for size, i in g) for g in influences])
        self._turn = np.array([self._turn_of(one) for one in np.eye(len(groups))])
        self._paths: list[_Path] = []
        self.lost = False
        """Whether a draw was asked for beyond the last equilibrium."""

    def again(self) -> BentSag:
        """The same without the paths that were followed: other draws follow their own."""
        other = copy(self)
        other._paths, other.lost = [], False
        return other

    def extra(self, creep: CourseCreep, factor: Array | None = None) -> Array:
        """What bending far adds to the sag, mm, shape (N, T); `factor` (N,) multiplies all loads but its own weight."""
        compliance = [
            creep.compliance[k] if factor is None or own else creep.compliance[k] * factor[:, None]
            for k, own in zip(self._course, self._own, strict=True)
        ]
        turning = sum(w * np.abs(c) for w, c in zip(self._turn, compliance, strict=True))
        assert isinstance(turning, np.ndarray)
        middle = self._turn[:, None] * np.array([np.median(c, axis=0) for c in compliance])
        size = np.abs(middle).sum(axis=0)
        share = middle / np.where(size > 0.0, size, 1.0)
        acting = creep.load[self._course]
        out = np.zeros(turning.shape)
        for times in self._alike(share, acting):
            here = turning[:, times]
            path = self._path(share[:, times[0]], acting[:, times[0]], float(here.max()))
            out[:, times] = path(here)
            if factor is None:
                self.lost = self.lost or bool(here.max() > path.reach * (1.0 + 1e-9))
        return out

    def shape(self, compliance: Array, acting: Array, points: Array) -> Array | None:
        """Displacement of points of the axis, mm, shape (2, n), courses of shape (K,).

        None where the sag is that of the shape as made, or there is no equilibrium.
        """
        if all(path.curve is None for path in self._paths):
            return None
        c, acts = compliance[self._course], acting[self._course]
        followed = self._bent.path(c, acts, np.ones(1))
        return self._bent.displaced(followed[0], c, points) if followed else None

    def bound(self, creep: CourseCreep) -> float:
        """Largest sag of any draw, by size, mm, about: that of the largest compliance; inf where there is none."""
        largest = np.array([np.abs(creep.compliance[k]).max(initial=0.0) for k in self._course])
        acting = creep.load[self._course].max(axis=1, initial=0.0)
        path = self._bent.path(largest, acting, np.ones(1))
        return abs(self._read(path[0])) if path else np.inf

    def buckling_factor(self, creep: CourseCreep) -> Array:
        """Factor on all loads at which each draw's part would buckle, shape (N,); inf where it never does."""
        compliance = [creep.compliance[k] for k in self._course]
        largest = np.array([float(np.median(np.abs(c).max(axis=1))) for c in compliance])
        factor = self._bent.critical(largest)
        if factor is None:
            return np.full(compliance[0].shape[0], np.inf)
        turning = sum(w * np.abs(c) for w, c in zip(self._turn, compliance, strict=True))
        assert isinstance(turning, np.ndarray)
        most = turning.max(axis=1)
        return np.asarray(factor * np.median(most) / most)

    def state(self, compliance: float, factor: float = 1.0) -> BentState:
        """All loads acting at one compliance, 1/MPa, as far as there is an equilibrium; `factor` as in `extra`."""
        one = np.where(self._own, 1.0, factor)
        scales = compliance * np.ones(1)
        path = self._bent.path(one, one, np.array([1e-6 * compliance]))
        whole = self._bent.path(one, one, scales) if path else []
        if path and whole and whole[-1].largest_turn < LITTLE:
            path += whole
        elif path:
            scales = compliance * np.linspace(0.1, 1.0, 10)
            path += self._bent.path(one, one, scales)
        if not path:  # a part as soft as nothing: what can be said is where it stands as made
            standing = float(self._mount @ one)
            return BentState(0.0, standing, standing, 1.0, self._bent.critical(one), False)
        last = path[-1]
        reached = 1e-6 * compliance if len(path) == 1 else float(scales[len(path) - 2])
        straight = float(path[0].stress.max())
        return BentState(
            last.largest_turn,
            self._read(last),
            float(self._linear @ one * reached + self._mount @ one),
            max(float(last.stress.max()) / straight, 1.0) if straight else 1.0,
            self._bent.critical(one),
            len(path) == len(scales) + 1,
        )

    def _turn_of(self, group: Array) -> float:
        """Turning per compliance in proportion to load, rad MPa; of a load along the axis by when it buckles."""
        tiny = 1e-9
        bent = self._bent.solve(tiny * group, 0.0 * group)
        buckles_at = self._bent.critical(group)
        return max(0.0 if bent is None else bent.largest_turn / tiny, 0.0 if buckles_at is None else 1.0 / buckles_at)

    def _alike(self, share: Array, acting: Array) -> list[list[int]]:
        """Times whose loads stand in one proportion."""
        root = self._bent.beam.root_compliance > 0.0
        alike: list[list[int]] = []
        for t in range(share.shape[1]):
            for times in alike:
                first = times[0]
                far = np.abs(share[:, t] - share[:, first]).max() > ALIKE
                if not far and not (root and np.abs(acting[:, t] - acting[:, first]).max() > ALIKE):
                    times.append(t)
                    break
            else:
                alike.append([t])
        return alike

    def _path(self, share: Array, acting: Array, most: float) -> _Path:
        """A path that reaches `most`, one of those known where it does."""
        root = self._bent.beam.root_compliance > 0.0
        for path in self._paths:
            near = np.abs(path.share - share).max() <= ALIKE and (not root or np.abs(path.acting - acting).max() <= ALIKE)
            if near and most <= path.most <= FINE * most:
                return path
        path = self._followed(share, acting, most * 1.05)
        self._paths.append(path)
        return path

    def _followed(self, share: Array, acting: Array, most: float) -> _Path:
        per_turn = share / np.where(self._turn > 0.0, self._turn, 1.0)
        if most <= 0.0 or not np.any(per_turn):
            return _Path(share, acting, most, np.inf, None, 0.0)
        end = self._bent.path(per_turn, acting, np.array([most]))
        linear = float(self._linear @ per_turn)
        standing = float(self._mount @ acting)
        if end and abs(self._read(end[0]) - most * linear - standing) <= NEGLIGIBLE * abs(most * linear + standing):
            return _Path(share, acting, most, most, None, 0.0)
        grid = most * np.linspace(0.0, 1.0, POINTS + 1)[1:] ** 1.5
        path = self._bent.path(per_turn, acting, grid)
        if len(path) < 2:
            return _Path(share, acting, most, 0.0, None, 0.0)
        from scipy.interpolate import PchipInterpolator  # slow to import, and little bends far

        along = np.concatenate([[0.0], grid[: len(path)]])
        added = np.array([0.0, *(self._read(b) - x * linear - standing for b, x in zip(path, along[1:], strict=True))])
        slope = float((added[-1] - added[-2]) / (along[-1] - along[-2]))
        return _Path(share, acting, most, float(along[-1]), PchipInterpolator(along, added), slope)

    def _read(self, bent: Bent) -> float:
        if self.part.opposite_at is not None:
            return bent.opening
        axis, at = self._bent.beam.axis, self._bent.read_at
        inside = np.array(at if at == axis.start else np.nextafter(at, axis.start))
        return float(unit_vector(axis, self.part.read_direction, inside) @ bent.displacement)


def upper_compliance(creep: Sequence[CourseCreep], level: float) -> float:
    """Upper end of the largest superposed compliance of any course, 1/MPa."""
    upper = 0.5 + level / 2.0
    return max(float(np.quantile(np.abs(c).max(axis=1), upper)) for of_set in creep for c in of_set.compliance)


def bent_sag(courses: Courses, beam: Beam | None = None) -> BentSag | None:
    """The part on its bent axis; None where it is no beam, or a frame."""
    body = courses.part.body
    return BentSag(courses, beam) if isinstance(body, Beam) and not isinstance(body, Frame) else None
