"""What acts on a part and when: its loads grouped by their course in time, each course with its leverage on the sag.

In a statically determinate beam the internal forces stay as they are while the material creeps, so the sag is

    sag(t) = sum over courses of (leverage x superposed compliance of the course + turning of the root x load acting)

(correspondence principle). Loads with one course in time share one superposition, whatever their number and place. A frame
held by what does not creep adds what its modes have grown by, see `mechanics.sharing`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from creepfit.errors import InputError
from creepfit.inference.mixture import Draws
from creepfit.mechanics.beam import Beam
from creepfit.mechanics.beam_loads import SelfWeight
from creepfit.mechanics.frame import Frame
from creepfit.mechanics.load_plan import LoadPlan, follow
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.mechanics.sharing import Sharing
from creepfit.records.part import Part, PartLoad

DUST = 1e-12
"""Of what a unit force bends the part by where its sag is read: less is nothing."""

POINTS = 120
"""Times of an even grid in log time when the sag is followed, besides corners of the loads."""


Levers = tuple[Array, Array, Array]


@dataclass(frozen=True, eq=False)
class Leverage:
    """Sag per unit compliance and what the mounting adds, for K courses at full size.

    Attributes
    ----------
    loads, own : ndarray, shape (K, S)
        mm MPa by segment, those of an upright first: of the loads, and of the part's own weight.
    mount_loads, mount_own : ndarray, shape (K,)
        mm by the turning of the root and springs, which do not creep with the material.
    grown_loads, grown_own : ndarray, shape (K, M)
        mm times the growth of each mode of a frame that gives way; M is 0 of any other part.
    """

    loads: Array
    own: Array
    mount_loads: Array
    mount_own: Array
    grown_loads: Array
    grown_own: Array

    @property
    def of_loads(self) -> Levers:
        """Of the loads: per compliance (K,), by what does not creep (K,) and by modes (K, M)."""
        return self.loads.sum(axis=1), self.mount_loads, self.grown_loads

    @property
    def of_own(self) -> Levers:
        """The same of the part's own weight."""
        return self.own.sum(axis=1), self.mount_own, self.grown_own

    @property
    def all(self) -> Levers:
        """The same of everything that acts."""
        one, mount, grown = (a + b for a, b in zip(self.of_loads, self.of_own, strict=True))
        return one, mount, grown


@dataclass(frozen=True, eq=False)
class Courses:
    """The plans that a part's loads follow, each as a load of size 1 at its fullest; `members` are the loads of each."""

    part: Part
    plans: tuple[LoadPlan, ...]
    members: tuple[tuple[PartLoad, ...], ...]

    @cached_property
    def always_on(self) -> bool:
        """Whether every load is on from the start and stays."""
        return all(plan.is_held for plan in self.plans)

    @property
    def first_loading(self) -> float:
        """When the first of the loads (its own weight aside) goes on, s; 0 where there is none."""
        return min((load.plan.starts for load in self.part.loads if load.size), default=0.0)

    def histories(self, until: float, held: bool = False, off_at: float | None = None) -> list[LoadHistory]:
        """Unit histories, complete up to `until` [s].

        Parameters
        ----------
        until : float
        held : bool
            All loads on from the start instead.
        off_at : float, optional
            When all loads but the part's own weight come off for good, s.

        Raises
        ------
        InputError
            A duty of too many changes.
        """
        if held:
            return [LoadHistory.held(1.0)] * len(self.plans)
        end = until if off_at is None else min(until, off_at)
        histories = [plan.until(end) for plan in self.plans]
        return histories if off_at is None else [history.unloaded(off_at) for history in histories]

    def leverage(self, beam: Beam | None = None) -> Leverage:
        """Leverage of each course, of the part's own beam or of another one in its place.

        Its own weight follows the course of loads that are always on, if there is one, but is kept apart.
        """
        body = self.part.body if beam is None else beam
        count = body.member_count if isinstance(body, Beam) else 1
        size = len(self.plans)
        by_segment, mount = np.zeros((2, size, count)), np.zeros((2, size))
        sharing = self.sharing if beam is None else None
        grown = np.zeros((2, size, 0 if sharing is None else sharing.shares.size))
        # what sums that cancel leave of a load that bends nothing
        dust = 0.0
        if sharing is None and isinstance(body, Beam):
            dust = DUST * float(np.abs(self.part.influence(self.part.reading, beam).by_segment).max())
        for k, members in enumerate(self.members):
            for load in members:
                kind = int(isinstance(load.load, SelfWeight))
                if sharing is None:
                    influence = self.part.influence(load.load, beam)
                    by_segment[kind, k] += load.size * np.where(
                        np.abs(influence.by_segment) <= dust, 0.0, influence.by_segment
                    )
                    mount[kind, k] += load.size * influence.mount
                    continue
                shared = sharing.shared(load.load, self.part.reading)
                by_segment[kind, k, 0] += load.size * shared.per_compliance
                mount[kind, k] += load.size * shared.at_once
                grown[kind, k] += load.size * np.array(shared.grown)
        return Leverage(*by_segment, *mount, *grown)

    @cached_property
    def sharing(self) -> Sharing | None:
        """How what creeps shares the load with what does not; None where all of the part creeps."""
        body = self.part.body
        return Sharing(body) if isinstance(body, Frame) and body.gives else None

    def cycle(self, time: float) -> Array:
        """Moments of the last cycle up to `time` [s] where peaks and troughs are, of every duty; ascending.

        That is `time` itself and just before each change. What comes after the time asked is not in, as the time asked may
        be the part's life. Empty where nothing cycles.
        """
        if all(plan.period is None for plan in self.plans):
            return np.empty(0)
        return np.unique([*(moment for plan in self.plans for moment in plan.changes(time)), time])

    def follow(self, end: float) -> Array:
        """Times up to `end` [s] that follow the sag; see `LoadPlan.follow`."""
        return follow(self.plans, end, POINTS)


def courses_of(part: Part) -> Courses:
    """Group a part's loads, its own weight included, by their course in time.

    Raises
    ------
    InputError
        Where nothing acts on the part.
    """
    grouped: dict[LoadPlan, list[PartLoad]] = {}
    for load in part.all_loads:
        if load.size != 0.0:
            grouped.setdefault(load.plan, []).append(load)
    if not grouped and part.held is not None:
        expected = "a load to sag under; creepfit relax says how the force of a deflection that is held goes down"
        raise InputError("no load", file=part.file, key="load", expected=expected)
    if not grouped:
        raise InputError("no load", file=part.file, key="load", expected="a load, or a density for the part's weight")
    return Courses(part, tuple(grouped), tuple(tuple(members) for members in grouped.values()))


@dataclass(frozen=True, eq=False)
class CourseCreep:
    """Draws of the superposed compliance of each course, allowances in, at times.

    Attributes
    ----------
    times : ndarray, shape (T,)
        s, ascending.
    compliance : tuple of ndarray, K of shape (N, T)
        1/MPa times the course's load of unit size.
    load : ndarray, shape (K, T)
        The course's load itself.
    grown : tuple of ndarray, K of shape (M, N, T), or none
        Superposed growth of the modes of a frame that gives way.
    """

    times: Array
    compliance: tuple[Array, ...]
    load: Array
    grown: tuple[Array, ...] = ()

    def at(self, times: Array | Sequence[float]) -> CourseCreep:
        """The same at some of its times."""
        index = np.searchsorted(self.times, np.asarray(times, dtype=float))
        compliance = tuple(c[:, index] for c in self.compliance)
        return CourseCreep(self.times[index], compliance, self.load[:, index], tuple(g[:, :, index] for g in self.grown))

    def sag(self, per_compliance: Array, mount: Array, grown: Array) -> Array:
        """Sag in mm, shape (N, T), by the leverage of each course; see `Leverage.of_loads`."""
        out = np.zeros(self.compliance[0].shape)
        for lever, compliance in zip(per_compliance, self.compliance, strict=True):
            if lever:
                out += lever * compliance
        for levers, growth in zip(grown, self.grown, strict=False):
            out += np.tensordot(levers, growth, 1)
        return np.asarray(out + mount @ self.load)


def course_creep(
    draws: Draws, histories: Sequence[LoadHistory], times: Array, age: float | None, factor: Array
) -> CourseCreep:
    """Superpose the draws over unit histories.

    Parameters
    ----------
    draws : Draws
    histories : sequence of LoadHistory
        K of them; equal ones (the same object) are superposed once.
    times : ndarray, shape (T,)
        s since the part was put up.
    age : float or None
        The part's own, at t = 0, s; None for that of the specimen.
    factor : ndarray, shape (N,)
        Allowance on the compliance.
    """
    times = np.unique(times)
    known: dict[int, Array] = {}
    for history in histories:
        if id(history) not in known:
            creep = draws.deformation(history, times, age=age)
            creep *= (factor / draws.observed.factor)[:, None]
            known[id(history)] = creep
    return CourseCreep(times, tuple(known[id(h)] for h in histories), np.array([h.at(times) for h in histories]))
