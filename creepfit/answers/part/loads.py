"""What acts on a part and when: its loads grouped by their course in time, each course with its leverage on the sag.

In a statically determinate beam the internal forces stay as they are while the material creeps, so the sag is

    sag(t) = sum over courses of (leverage x superposed compliance of the course + turning of the root x load acting)

(correspondence principle). Loads with one course in time share one superposition, whatever their number and place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from creepfit.errors import InputError
from creepfit.inference.mixture import Draws
from creepfit.mechanics.beam import Beam
from creepfit.mechanics.beam_loads import SelfWeight
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.records.part import Part, PartLoad
from creepfit.units import show_time

MOST_CHANGES = 4_000_000
"""Load changes that a duty may come to; more would take minutes and gigabytes."""

LOG_TIMES = 120
CORNERS = 120
"""Times of an even grid in log time, and load changes looked at one by one, when a response is followed."""


@dataclass(frozen=True, eq=False)
class Leverage:
    """Sag per unit compliance and what the mounting adds, for K courses at full size.

    Attributes
    ----------
    loads, own : ndarray, shape (K, S)
        mm MPa by segment, those of an upright first: of the loads, and of the part's own weight.
    mount_loads, mount_own : ndarray, shape (K,)
        mm by the turning of the root, which does not creep with the material.
    """

    loads: Array
    own: Array
    mount_loads: Array
    mount_own: Array

    @property
    def all(self) -> tuple[Array, Array]:
        """Of everything that acts: per compliance (K,) and by the mounting (K,)."""
        return (self.loads + self.own).sum(axis=1), self.mount_loads + self.mount_own


@dataclass(frozen=True, eq=False)
class Courses:
    """The courses of a part's loads, each as a load of size 1 at its fullest.

    `members` holds for each course the part's loads that follow it.
    """

    part: Part
    units: tuple[PartLoad, ...]
    members: tuple[tuple[PartLoad, ...], ...]

    @cached_property
    def always_on(self) -> bool:
        """Whether every load is on from the start and stays."""
        return all(unit.always_on for unit in self.units)

    @property
    def cyclic(self) -> tuple[PartLoad, ...]:
        """The courses that go on and off by a duty."""
        return tuple(unit for unit in self.units if unit.duty is not None)

    @property
    def first_loading(self) -> float:
        """When the first of the loads (its own weight aside) goes on, s; 0 where there is none."""
        starts = [
            s.at if load.duty is None else load.duty.starts
            for load in self.part.loads
            for s in load.steps
            if s.value != 0.0
        ]
        return min(starts, default=0.0)

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
            return [LoadHistory.held(1.0)] * len(self.units)
        end = until if off_at is None else min(until, off_at)
        for unit in self.cyclic:
            period = unit.duty.period if unit.duty else np.inf
            if 2.0 * end / period > MOST_CHANGES:
                found = f"on and off every {show_time(period)} for {show_time(end)}"
                expected = f"at most {MOST_CHANGES} changes; a longer cycle with the same share on sags much alike"
                raise InputError(key="duty", found=found, expected=expected)
        return [_taken_off(unit.history(end), off_at) for unit in self.units]

    def leverage(self, beam: Beam | None = None) -> Leverage:
        """Leverage of each course, of the part's own beam or of another one in its place.

        Its own weight follows the course of loads that are always on, if there is one, but is kept apart.
        """
        body = self.part.body if beam is None else beam
        count = len(body.axis.segments) if isinstance(body, Beam) else 1
        size = len(self.units)
        by_segment, mount = np.zeros((2, size, count)), np.zeros((2, size))
        for k, members in enumerate(self.members):
            for load in members:
                found = self.part.influence(load.load, beam)
                kind = int(isinstance(load.load, SelfWeight))
                by_segment[kind, k] += load.size * np.array(found.by_segment)
                mount[kind, k] += load.size * found.mount
        return Leverage(by_segment[0], by_segment[1], mount[0], mount[1])

    def cycle(self, time: float) -> Array:
        """Moments of the last cycle up to `time` [s] where peaks and troughs are, of every duty; ascending.

        That is `time` itself and just before each change: at exactly a change's time the load before it counts. What
        comes after the time asked is not in, as the time asked may be the part's life. Empty where nothing cycles.
        """
        found = [change for unit in self.cyclic if unit.duty for change in unit.duty.changes(time)]
        return np.unique([*found, time]) if self.cyclic else np.empty(0)

    def follow(self, end: float) -> Array:
        """Times up to `end` [s] that follow the sag: evenly in log time, and the moments just before load changes."""
        grid = np.geomspace(min(1.0, end / 10.0), end, LOG_TIMES)
        if self.always_on:
            return grid
        own = self.histories(end)
        corners = np.unique(np.concatenate([h.start for h in own]))
        corners = corners[(corners > 0.0) & (corners <= end)]
        if corners.size > CORNERS:
            # of a change on and the one off after it both, so that both ends of a swing are in
            near = np.searchsorted(corners, np.geomspace(corners[0], end, CORNERS // 2))
            corners = corners[np.unique(np.clip(np.concatenate([near, near + 1]), 0, corners.size - 1))]
        return np.unique(np.concatenate([grid, corners]))


def courses_of(part: Part) -> Courses:
    """Group a part's loads, its own weight included, by their course in time.

    Raises
    ------
    InputError
        Where nothing acts on the part.
    """
    found: dict[object, tuple[PartLoad, list[PartLoad]]] = {}
    for load in part.all_loads:
        if load.size == 0.0:
            continue
        steps = tuple(replace(s, value=s.value / load.size) for s in load.steps)
        unit = replace(load, size=1.0, steps=steps, label="")
        found.setdefault((load.duty, steps), (unit, []))[1].append(load)
    if not found and part.held is not None:
        expected = "a load to sag under; creepfit relax says how the force of a deflection that is held goes down"
        raise InputError("no load", file=part.file, key="load", expected=expected)
    if not found:
        raise InputError("no load", file=part.file, key="load", expected="a load, or a density for the part's weight")
    units, members = zip(*found.values(), strict=True)
    return Courses(part, tuple(units), tuple(tuple(m) for m in members))


def _taken_off(history: LoadHistory, off_at: float | None) -> LoadHistory:
    """The history with what then acts taken off at a time."""
    if off_at is None:
        return history
    before = history.until(off_at)
    rest = float(before.change.sum())
    return LoadHistory.joined([before, LoadHistory.held(-rest, off_at)]) if rest else before


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
    """

    times: Array
    compliance: tuple[Array, ...]
    load: Array

    def at(self, times: Array | Sequence[float]) -> CourseCreep:
        """The same at some of its times."""
        index = np.searchsorted(self.times, np.asarray(times, dtype=float))
        return CourseCreep(self.times[index], tuple(c[:, index] for c in self.compliance), self.load[:, index])

    def sag(self, per_compliance: Array, mount: Array) -> Array:
        """Sag in mm, shape (N, T), by the leverage of each course: per compliance (K,) and by the mounting (K,)."""
        out = np.zeros(self.compliance[0].shape)
        for lever, compliance in zip(per_compliance, self.compliance, strict=True):
            if lever:
                out += lever * compliance
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
            found = draws.deformation(history, times, age=age)
            found *= (factor / draws.observed.factor)[:, None]
            known[id(history)] = found
    return CourseCreep(times, tuple(known[id(h)] for h in histories), np.array([h.at(times) for h in histories]))
