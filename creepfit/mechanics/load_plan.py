"""`LoadPlan`: one load over time, of a run, a question or a part: held, in steps and ramps, or on and off without end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from creepfit.errors import InputError
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.units import show_time

MOST_CHANGES = 2_000_000
"""Load changes that a plan may come to: more is a slip of the unit rather than a question, and takes minutes and gigabytes.
A century of hourly changes is less."""

LOG_TIMES = 160
"""Times between 1 s and the end at which a response is followed."""

CORNERS = 120
"""At most about this many load changes are looked at one by one; of more, a selection even in log time."""


@dataclass(frozen=True)
class LoadStep:
    """The total load from `at` on, reached after a ramp of `over` seconds.

    `value` is in N, or in MPa where the specimen takes a stress; mass, gravity and lever are already in it.
    """

    at: float
    value: float
    over: float = 0.0


@dataclass(frozen=True)
class LoadPlan:
    """A load over time.

    `steps` in order of time, s, with total loads in N (MPa for a run in strain; any unit for the load of a part); where
    `period` [s] is given they repeat after it without end. `file` is where it was read from, for messages.
    """

    steps: tuple[LoadStep, ...]
    period: float | None = None
    file: str | None = None

    @classmethod
    def held(cls, load: float) -> LoadPlan:
        """A load put on at t = 0 and never taken off."""
        return cls((LoadStep(0.0, load),))

    @classmethod
    def duty(cls, load: float, on: float, off: float, starts: float = 0.0, file: str | None = None) -> LoadPlan:
        """A load that is on for `on` seconds, then off for `off`, again and again; first on at `starts` [s]."""
        return cls((LoadStep(starts, load), LoadStep(starts + on, 0.0)), on + off, file)

    @classmethod
    def of(cls, history: LoadHistory) -> LoadPlan:
        """The plan of a history: its load is linear from corner to corner, and jumps at steps."""
        corners = np.unique(np.concatenate([history.start, history.end]))
        before, after = history.at(corners), history.at(np.nextafter(corners, np.inf))
        steps: list[LoadStep] = []
        for i, at in enumerate(corners):
            if after[i] != before[i]:
                steps.append(LoadStep(float(at), float(after[i])))
            if i + 1 < corners.size and before[i + 1] != after[i]:
                steps.append(LoadStep(float(at), float(before[i + 1]), float(corners[i + 1] - at)))
        return cls(tuple(steps))

    @property
    def peak(self) -> float:
        """The load of largest size, 0 where there is none."""
        return max((s.value for s in self.steps), key=abs, default=0.0)

    @property
    def is_held(self) -> bool:
        """Whether it is one load, put on at t = 0 at once, that stays."""
        return self.period is None and len(self.steps) == 1 and self.steps[0].at == 0.0 == self.steps[0].over

    @property
    def starts(self) -> float:
        """When the first load goes on, s; 0 where there is none."""
        return next((s.at for s in self.steps if s.value != 0.0), 0.0)

    @property
    def on(self) -> float:
        """How long the first load of a cycle is on, s; without end for what does not repeat."""
        return self.steps[1].at - self.steps[0].at if self.period is not None and len(self.steps) > 1 else np.inf

    def of_unit_size(self) -> LoadPlan:
        """The same with 1 as the largest load: what loads have in common that come and go together."""
        return replace(self, steps=tuple(replace(s, value=s.value / self.peak) for s in self.steps))

    def until(self, time: float) -> LoadHistory:
        """The changes that begin before `time` [s].

        Raises
        ------
        InputError
            Where that takes more load changes than anyone can have meant.
        """
        rows = np.array([(s.at, s.over, s.value) for s in self.steps]).reshape(-1, 3)
        if self.period is not None:
            cycles = max(int(np.ceil((time - self.starts) / self.period)), 1)
            if cycles * len(rows) > MOST_CHANGES:
                raise InputError(
                    f"a cycle of {show_time(self.period)} repeats {cycles} times in {show_time(time)}",
                    file=self.file,
                    key="duty",
                    expected=f"at most {MOST_CHANGES} load changes; a longer cycle with the same share on sags much alike",
                )
            later = np.repeat(np.arange(cycles) * self.period, len(rows))
            rows = np.tile(rows, (cycles, 1))
            rows[:, 0] += later
        change = np.diff(rows[:, 2], prepend=0.0)
        wanted = (change != 0.0) & (rows[:, 0] < time)
        return LoadHistory(rows[wanted, 0], (rows[:, 0] + rows[:, 1])[wanted], change[wanted])

    def changes(self, time: float) -> list[float]:
        """When a cycle's load came on or off within the last period up to `time` [s], s, later than 0; ascending.

        At exactly a change's time the load before it counts, so these are where peaks and troughs are.
        """
        if self.period is None:
            return []
        number = np.floor((time - self.starts) / self.period)
        begins = self.starts + self.period * (number + np.array([-1.0, 0.0]))
        moments = np.concatenate([begins, begins + self.on])
        within = (moments > max(time - self.period, 0.0)) & (moments <= time) & (moments >= self.starts)
        return sorted(moments[within].tolist())

    def follow(self, end: float) -> Array:
        """Times up to `end` [s] that follow a response: evenly in log time, and every corner of the load.

        A response is largest just before the load comes off, and at exactly that time the load counts as still on.
        """
        return follow([self], end, LOG_TIMES if self.is_held else CORNERS // 2)


def follow(plans: Sequence[LoadPlan], end: float, points: int) -> Array:
    """Times up to `end` [s] that follow the response to several loads acting together, besides corners `points` of them."""
    grid = np.geomspace(min(1.0, end / 10.0), end, points)
    corners = [_corners(plan, end, grid) for plan in plans if not plan.is_held]
    return np.unique(np.concatenate([grid, *corners]))


def _corners(plan: LoadPlan, end: float, grid: Array) -> Array:
    history = plan.until(np.nextafter(end, np.inf))
    within = history.start > 0.0
    corners = np.concatenate([history.start[within], np.minimum(history.end[within], end)])
    if corners.size <= CORNERS:
        return corners
    growing = history.change[within] * np.sign(plan.peak) > 0.0
    return np.concatenate([_latest(history.start[within][side], grid) for side in (growing, ~growing)])


def _latest(times: Array, grid: Array) -> Array:
    """The latest of ascending `times` at or before each grid point: so the last peak before the end is always in."""
    before = np.searchsorted(times, grid, side="right") - 1
    return np.asarray(times[np.unique(before[before >= 0])])
