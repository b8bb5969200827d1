"""Readings of a logger averaged evenly in log time, so that five days at ten a second are as many as a fit can use.

Bins are even in the logarithm of the time since the last load change, and end at every load change and event. A bin's
reading is the mean of its readings at the mean of their times; those that stand apart are left out of it and counted. Its
weight is that of as many readings as its scatter says: neighbours of a logger err together, and the scatter of the means
of blocks of readings shows by how much. The first moments after a load change are left out: no weight is on at once, and
what happens within a second is part of the instantaneous response of every model here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from creepfit.mechanics.loading import Array

MOST = 400
"""Readings up to which each is taken as it is."""

WANTED = 220
"""Bins at most; more would take longer and say no more, as neighbours of a finer grid share their drift."""

FINEST, COARSEST = 96, 4
"""Bins a decade: at 24 the curvature of creep within one changes its mean by less than 1e-4 of the creep, but what the few
means leave told less of the noise than the readings do, and forecasts of a year differed by a sixth of their interval."""

GRADES = 4
"""A coarser grid has its bins of one more of so many parts that a finest one has."""

APART = 6.0
"""Standard deviations from the middle of its bin at which a reading stands apart."""

SETTLING, SETTLING_SHARE = 60.0, 1e-3
"""Seconds after a load change, at most this share of the time until the next one, in which readings are left out. At ten a
second they weigh enough to bend the whole curve: a power of time beside one with an offset of a second made the forecast of
a year a quarter too high and twice as wide as that of 2000 readings. Standards ask for the first reading at 1 min."""

STEPS = 3.0
"""Nor does it where it is within so many of the smallest steps between readings."""

BLOCKS = 8
"""Blocks of a bin whose means show how far neighbours err together, in bins of 8 times as many readings."""

BY_CHANCE = 2.8
"""Times the usual that these means scatter, in square, in one bin of a hundred by chance (chi-square of six degrees)."""


@dataclass(frozen=True)
class Bin:
    """Readings `first` up to `last` (positions in order of time) made one.

    `time` and `value` are means of the `count` that are kept; `worth` is how many independent readings weigh as much,
    `spread` their standard deviation about a straight line, None for a single one. `over` is six times the mean half
    distance in time of any two of them, s: as long as the bin where they are many and even.
    """

    first: int
    last: int
    time: float
    value: float
    temperature: float | None
    count: int
    worth: int
    spread: float | None
    over: float


@dataclass(frozen=True)
class Thinned:
    """The bins in order of time, positions (in order of time) of the readings that stand apart, and how many were left out
    because the load had only just changed."""

    bins: tuple[Bin, ...]
    apart: tuple[int, ...]
    settling: int


def thinned(
    times: Array, values: Array, temperature: Array | None, edges: Sequence[float], repeats: Array | None = None
) -> Thinned:
    """Average readings.

    Parameters
    ----------
    times : ndarray, shape (T,)
        In s since the first load, ascending.
    values : ndarray, shape (T,)
        In mm or as strain.
    temperature : ndarray, shape (T,), or None
        In degC, NaN where not taken.
    edges : sequence of float
        Times of load changes (begin and end of ramps) and events; as elsewhere a reading at the very time of one was taken
        before it.
    repeats : ndarray, shape (T,), optional
        How many readings at one time each value is the mean of; one if not given.
    """
    changes = np.unique(np.asarray(edges, dtype=float))
    starts = _bins(times, changes)
    ends = np.append(starts[1:], times.size)
    settled = _settled(times[starts], changes, float(times[-1]))
    settling = int((ends - starts)[~settled].sum())
    starts, ends = starts[settled], ends[settled]
    if starts.size > WANTED:  # hundreds of load changes: some bins whole, rather than means across changes
        chosen = np.unique(np.linspace(0, starts.size - 1, WANTED).round().astype(int))
        starts, ends = starts[chosen], ends[chosen]
    step = _smallest_step(values)
    noise = 1.4826 * float(np.median(np.abs(np.diff(values)))) / np.sqrt(2.0)
    least = max(APART * noise, STEPS * step)
    places = [slice(int(a), int(b)) for a, b in zip(starts, ends, strict=True)]
    parts = [_kept(times[p], values[p], least) for p in places]
    scatter = [_scatter(times[p][within], values[p][within]) for p, within in zip(places, parts, strict=True)]
    shared = [together for _, together in scatter if together is not None]
    chance = 1.0 + 2.0 * np.sqrt(2.0 / ((BLOCKS - 2) * max(len(shared), 1)))
    usual = max(float(np.median(shared)), 1.0) if shared and np.mean(shared) > chance else 1.0
    bins, apart = [], []
    for p, within, (spread, together) in zip(places, parts, scatter, strict=True):
        for_one = together if together is not None and together > BY_CHANCE * usual else usual
        count = int(within.sum())
        each = 1.0 if repeats is None else float(repeats[p][within].mean())
        degrees = None if temperature is None else temperature[p][within]
        known = degrees is not None and bool(np.isfinite(degrees).any())
        bins.append(
            Bin(
                p.start,
                p.stop - 1,
                float(times[p][within].mean()),
                float(values[p][within].mean()),
                float(np.nanmean(degrees)) if known and degrees is not None else None,
                count,
                max(round(count * each / for_one), 1),
                None if spread is None else spread * np.sqrt(each),
                float(np.ptp(times[p][within])) * (count + 1) / count,
            )
        )
        apart.extend((p.start + np.flatnonzero(~within)).tolist())
    return Thinned(tuple(bins), tuple(apart), settling)


def _bins(times: Array, edges: Array) -> NDArray[np.intp]:
    """Positions at which bins begin: as fine as gives the number wanted."""
    stretch = np.searchsorted(edges, times, side="left")
    since = np.where(stretch > 0, times - edges[np.maximum(stretch - 1, 0)], edges[0] - times) if edges.size else times
    parts = np.floor(GRADES * FINEST * np.log10(np.maximum(since, 1e-3))).astype(np.int64)
    # only where a part begins can a bin begin
    begins = np.flatnonzero(np.diff(parts, prepend=parts[0] - 1) | np.diff(stretch, prepend=stretch[0]))
    parts, stretch = parts[begins], stretch[begins]
    for parts_each in range(GRADES, GRADES * FINEST // COARSEST + 1):
        bins = parts // parts_each
        starts = begins[(np.diff(bins, prepend=bins[0] - 1) | np.diff(stretch, prepend=stretch[0])) != 0]
        if starts.size <= WANTED:
            break
    return np.asarray(starts)


def _settled(begins: Array, edges: Array, last: float) -> NDArray[np.bool_]:
    """Which bins, by the times at which they begin, are not of the first moments after an edge."""
    stretch = np.searchsorted(edges, begins, side="left")
    after, until = np.append(-np.inf, edges)[stretch], np.minimum(np.append(edges, last)[stretch], last)
    return np.asarray(begins - after >= np.minimum(SETTLING, SETTLING_SHARE * (until - after)))


def _smallest_step(values: Array) -> float:
    """Smallest difference between neighbours that is one: the step of the instrument."""
    steps = np.abs(np.diff(values))
    steps = steps[steps > 1e-12 * max(float(np.abs(values).max()), 1e-300)]
    return float(np.quantile(steps, 0.01)) if steps.size else 0.0


def _kept(times: Array, values: Array, least: float) -> NDArray[np.bool_]:
    """Which readings of a bin do not stand apart from a line through the middles of its halves."""
    if values.size < 5:
        return np.ones(values.size, dtype=bool)
    half = values.size // 2
    run = times[half:].mean() - times[:half].mean()
    slope = (np.median(values[half:]) - np.median(values[:half])) / run if run > 0.0 else 0.0
    rest = values - slope * (times - times.mean())
    rest = np.abs(rest - np.median(rest))
    near = rest <= max(APART * 1.4826 * float(np.median(rest)), least)
    return near if 2 * near.sum() > near.size else np.ones(near.size, dtype=bool)


def _scatter(times: Array, values: Array) -> tuple[float | None, float | None]:
    """Standard deviation about a line, and how many times more means of blocks scatter than if readings erred alone."""
    if values.size < 3:
        return (float(values.std(ddof=1)) if values.size > 1 else None), None
    t, y = times - times.mean(), values - values.mean()
    square = float(t @ t)
    rest = y - (float(t @ y) / square if square > 0.0 else 0.0) * t
    variance = float(rest @ rest) / (rest.size - 2)
    size = rest.size // BLOCKS
    if size < BLOCKS or variance <= 0.0:
        return float(np.sqrt(variance)), None
    means = rest[: size * BLOCKS].reshape(BLOCKS, size).mean(axis=1)
    return float(np.sqrt(variance)), float(means @ means) / (BLOCKS - 2) * size / variance
