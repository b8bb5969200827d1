"""The freest creep curve a run allows, and what in the readings even that curve cannot follow.

Every creep model is a non-negative spectrum of retardation times. The freest curve is a smooth spectrum, any
non-negative mix of power-family functions, with at most two single retardation times where the readings ask for them.
Loading and unloading have spectra of their own and each load change its own instantaneous response, so that ageing, set
and a response not proportional to the load raise no false alarm. A disturbance (an outlier, a jump ...) is believed
where it explains the readings better than any such curve; the noise is the stated one updated by what is left over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import chain, islice, pairwise

import numpy as np

from creepfit.inference.columns import Observations
from creepfit.inference.free_spectrum import FreeSpectrum
from creepfit.inference.nonnegative import beside_free
from creepfit.mechanics.loading import Array

BELIEVED = 4.0
"""A disturbance has to be exp(4) times as likely as the best curve without one. Simulated runs without any show a jump in
1 % and an outlier in 0.5 %, twice and four times that where the gauge walks; where creep is all one unit of 10 h, which
comes and goes between two daily readings, a jump in 14 % (`simulated_runs.py alarms`)."""

PER_UNIT = 2.0
"""What a single retardation time costs in the same measure, and beside its choice of place a disturbance costs 1."""

RIVAL = 3.0
"""Another place or kind of step that is at least exp(-3) times as likely as the one found may be the true one."""

PLATEAU_COST = 2.5
"""A plateau costs more: the curve is set free of all the readings in it."""

SINGLE = "outlier", "jump", "acceleration"
"""Kinds of disturbance that are looked for one after the other."""

MOST_FINDINGS = 4
CLOSEST = 4
"""Candidates of each kind that are refitted; the others are ranked behind them by the curve's own residuals."""

MOST_READINGS = 400
"""Of all runs whose plain curves go side by side."""

UNITS_AT_MOST = 2
PLACES_AT_MOST = 20
NEXT_TO_NOTHING = 1e-9


@dataclass(frozen=True)
class Finding:
    """A disturbance the readings show.

    `kind` is "outlier", "jump", "acceleration" or "plateau"; `first` the place among the used readings where it is or
    begins, `last` where it ends; `size` in mm (or strain), of an acceleration the excess at its end, None for a
    plateau; `score` how much likelier (natural logarithm) the readings are with it than with any curve without it.
    """

    kind: str
    first: int
    last: int
    size: float | None = None
    score: float = -np.inf


@dataclass(frozen=True, eq=False)
class Solution:
    """A fit of the freest curve: residual sum (whitened), residuals, amplitudes of its columns and of the free ones."""

    residual_sum: float
    residuals: Array
    amplitudes: Array
    extra: Array
    units: tuple[int, ...]
    score: float

    @property
    def active(self) -> int:
        return int(np.sum(self.amplitudes > 0.0))


@dataclass(frozen=True, eq=False)
class Beside:
    """What a fit has beside the smooth curve.

    `extra` (T, M) are columns with amplitudes of either sign, `positive` (T, P) with non-negative ones, put behind the
    spectrum's. Readings `stuck` follow the gauge's rest and not the curve: one constant of their own. `units` are places in
    `taus` of single retardation times; `near` amplitudes of a curve from whose functions the search begins.
    """

    extra: Array | None = None
    positive: Array | None = None
    stuck: Sequence[int] = ()
    units: tuple[int, ...] = ()
    near: Array | None = None


class FreestCurve:
    """Non-negative least squares fit of any creep spectrum to a run's observations."""

    def __init__(self, observed: Observations) -> None:
        self.observed = observed
        self.whiten = observed.noise.whiten(np.eye(observed.times.size))
        self.values = self.whiten @ observed.values
        self.spectrum = FreeSpectrum(observed)

    @cached_property
    def plain(self) -> Solution:
        """The curve without any disturbance."""
        return self.best(np.zeros((self.observed.times.size, 0)))

    @cached_property
    def most_telling(self) -> tuple[Finding | None, Finding | None]:
        """A plateau, where one is believed, and the most telling other disturbance; asked with several thresholds."""
        return self.plateau, _next(self, [])

    @cached_property
    def plateau(self) -> Finding | None:
        """A plateau, where one is believed."""
        return _plateau(self)

    @cached_property
    def most_to_gain(self) -> float:
        """Score that no disturbance can exceed: that of the likeliest choice, were nothing left of the residuals."""
        choice = min(filter(None, (len(_candidates(self.observed, kind)) for kind in SINGLE)), default=1)
        return -self.plain.score - 1.0 - float(np.log(choice))

    def off_curve(self, place: int) -> float:
        """How far a reading lies off the plain curve, in stated standard deviations."""
        return float(abs(self.plain.residuals[place])) / self.observed.noise.stated

    def compliance(self, time: float) -> float:
        """Compliance of the first load `time` [s] after it by the plain curve, 1/MPa (mm/N without geometry)."""
        return self.spectrum.compliance(time, self.plain.amplitudes, self.plain.units)

    def best(self, extra: Array) -> Solution:
        """The curve with as many single retardation times as the readings ask for, beside given free columns."""
        return self.best_of_each([extra])[0]

    def best_of_each(self, extras: Sequence[Array]) -> list[Solution]:
        """The same beside each of several sets of free columns, all at once: it is calls that cost and not sums."""
        return _bests([(self, extra) for extra in extras])

    def solve(self, tries: Sequence[Beside]) -> list[Solution]:
        """Fit with each of several sets of disturbances."""
        return _solved([(self, beside) for beside in tries])

    def _columns(self, beside: Beside) -> tuple[Array, Array]:
        """Columns with amplitudes of either sign, shape (T, F), and non-negative ones, (T, B)."""
        free = np.column_stack([self.observed.zeros, *([] if beside.extra is None else [beside.extra])])
        positive = [] if beside.positive is None else [beside.positive]
        bound = np.column_stack([self.spectrum.smooth, *(self.spectrum.unit(i) for i in beside.units), *positive])
        if len(beside.stuck):
            rest = np.zeros((self.observed.times.size, 1))
            rest[list(beside.stuck)] = 1.0
            return np.column_stack([free * (1.0 - rest), rest]), bound * (1.0 - rest)
        return free, bound

    def _score(self, residual_sum: float) -> float:
        """Logarithm of the Student likelihood of what is left, the stated noise being worth its degrees of freedom."""
        noise = self.observed.noise
        stated = noise.degrees * noise.stated**2
        count = noise.degrees + self.observed.times.size - self.observed.zeros.shape[1]
        return float(-0.5 * count * np.log1p(residual_sum / stated))


def plain_curves(each: Sequence[Observations]) -> list[FreestCurve]:
    """Freest curves of several runs, of which the plain one is known: those with as many columns go side by side."""
    curves = [FreestCurve(observed) for observed in each]
    alike: dict[tuple[int, ...], list[FreestCurve]] = {}
    for curve in curves:
        alike.setdefault((*curve.observed.zeros.shape, curve.spectrum.smooth.shape[1]), []).append(curve)
    for (readings, *_), several in alike.items():
        most = max(MOST_READINGS // readings, 1)
        for group in (several[k : k + most] for k in range(0, len(several), most)):
            found = _bests([(curve, np.zeros((readings, 0))) for curve in group])
            for curve, plain in zip(group, found, strict=True):
                vars(curve)["plain"] = plain
    return curves


def _bests(problems: Sequence[tuple[FreestCurve, Array]]) -> list[Solution]:
    """Curves with as many retardation times as the readings ask for, each beside free columns; see `best_of_each`."""
    chosen = _solved([(curve, Beside(extra)) for curve, extra in problems])
    bases = dict(enumerate(chosen))
    for units in range(1, UNITS_AT_MOST + 1):
        # where nothing left of the residuals would not be worth so many of them, none is tried
        bases = {i: base for i, base in bases.items() if chosen[i].score < -PER_UNIT * units}
        tries = [
            [
                (problems[i][0], Beside(problems[i][1], units=(*base.units, unit), near=base.amplitudes))
                for unit in range(problems[i][0].spectrum.taus.size)
                if unit not in base.units
            ]
            for i, base in bases.items()
        ]
        solved = iter(_solved(list(chain.from_iterable(tries))))
        for i, own in zip(bases, tries, strict=True):
            bases[i] = max(islice(solved, len(own)), key=lambda s: s.score)
            chosen[i] = max(chosen[i], bases[i], key=lambda s: s.score)
    return chosen


def _solved(tries: Sequence[tuple[FreestCurve, Beside]]) -> list[Solution]:
    """Fits of curves, each with a set of disturbances, those of one curve side by side."""
    if not tries:
        return []
    pairs = [curve._columns(beside) for curve, beside in tries]
    free, bound = (_side_by_side(columns) for columns in zip(*pairs, strict=True))
    y = np.empty(free.shape[:2])
    begins = [i for i, (curve, _) in enumerate(tries) if i == 0 or curve is not tries[i - 1][0]]
    for a, b in pairwise([*begins, len(tries)]):
        curve = tries[a][0]
        free[a:b], bound[a:b], y[a:b] = curve.whiten @ free[a:b], curve.whiten @ bound[a:b], curve.values
    near = np.zeros((len(tries), bound.shape[2]), dtype=bool)
    for row, (_, beside) in zip(near, tries, strict=True):
        if beside.near is not None:
            row[: beside.near.size] = beside.near > 0.0
    solutions = []
    found = beside_free(y, free, bound, near)
    for (curve, beside), (own, spectrum), residuals, amplitudes, extra in zip(tries, pairs, *found, strict=True):
        total = float(residuals @ residuals)
        score = curve._score(total) - PER_UNIT * len(beside.units)
        widths = spectrum.shape[1], own.shape[1]
        solutions.append(Solution(total, residuals, amplitudes[: widths[0]], extra[: widths[1]], beside.units, score))
    return solutions


def _side_by_side(columns: Sequence[Array]) -> Array:
    """Columns (T, K) of several problems as one array (S, T, K), with columns of nought where one has fewer."""
    most = max(c.shape[1] for c in columns)
    out = np.zeros((len(columns), columns[0].shape[0], most))
    for row, own in zip(out, columns, strict=True):
        row[:, : own.shape[1]] = own
    return out


def findings(curve: FreestCurve, believed: float = BELIEVED) -> list[Finding]:
    """What the freest curve cannot follow, the most telling first; at most one plateau, then single disturbances.

    A disturbance is one from exp(`believed`) times as likely as the best curve without it.
    """
    if curve.most_to_gain <= believed:
        return [] if curve.plateau is None else [curve.plateau]
    plateau, disturbance = curve.most_telling
    if plateau is not None and (disturbance is None or disturbance.score <= max(plateau.score, believed)):
        return [plateau]
    all_found: list[Finding] = []
    while disturbance is not None and disturbance.score > believed and len(all_found) < MOST_FINDINGS:
        all_found.append(disturbance)
        # a curve that gains speed has no one shape, so what is left beside it means nothing
        disturbance = None if disturbance.kind == "acceleration" else _next(curve, all_found)
    return all_found


def rivals(curve: FreestCurve, finding: Finding) -> list[Finding]:
    """The jump or outlier found, and those beside it that explain the readings nearly as well."""
    around = range(finding.first - 1, finding.first + 2)
    none = np.zeros((curve.observed.times.size, 0))
    near: list[Finding] = []
    choice: list[float] = []
    for kind in ("outlier", "jump"):
        every = _candidates(curve.observed, kind)
        for c in (c for c in every if c.first in around):
            near.append(c)
            choice.append(float(np.log(len(every))))
    tried = [
        replace(found, score=found.score - 1.0 - cost)
        for found, cost in zip(_tried(curve, none, [(c, curve.plain) for c in near]), choice, strict=True)
    ]
    best = max(t.score for t in tried)
    return [t for t in tried if t.score > best - RIVAL]


def shift_score(curve: FreestCurve, place: int) -> float:
    """How much likelier (natural logarithm) the readings are with one of them moved off the curve."""
    column = np.zeros((curve.observed.times.size, 1))
    column[place] = 1.0
    return curve.best(column).score - curve.plain.score


def stages(observed: Observations) -> list[range]:
    """Successive readings under one load and one zero, as places among the used readings."""
    load = observed.history.at(observed.times)
    new = (np.diff(load) != 0.0) | (np.diff(observed.zeros, axis=0) != 0.0).any(axis=1)
    starts = [0, *(int(i) for i in np.flatnonzero(new) + 1)]
    return [range(a, b) for a, b in zip(starts, [*starts[1:], load.size], strict=True)]


def column_of(finding: Finding, observed: Observations) -> Array:
    """The disturbance as a column of unit size, shape (T,)."""
    times = observed.times
    out = np.zeros(times.size)
    if finding.kind == "outlier":
        out[finding.first] = 1.0
    elif finding.kind == "jump":
        out[finding.first :] = observed.zeros[finding.first :] @ observed.zeros[finding.first]
    else:
        begin, end = times[finding.first], times[finding.last]
        out = np.clip((times - begin) / (end - begin), 0.0, 1.0) * observed.direction
    return out


def _candidates(observed: Observations, kind: str) -> list[Finding]:
    size = observed.times.size
    if kind == "outlier":
        return [Finding(kind, i, i) for i in range(size)]
    load = observed.history.at(observed.times)
    if kind == "jump":
        # with only one reading before or after it, or behind it under its load, a jump is an outlier by another name
        return [
            Finding(kind, i, size - 1)
            for stage in stages(observed)
            for i in (stage[1:-1] if load[stage[0]] != 0.0 else stage[1:])
            if 2 <= i <= size - 2 and (observed.zeros[i + 1] == observed.zeros[i]).all()
        ]
    acting = observed.history.added(observed.times) != 0.0
    loaded = [s for s in stages(observed) if len(s) >= 4 and acting[s[0]]]
    times = observed.times  # several readings at the last moment leave no time to gain speed in
    return [Finding(kind, i, s[-1]) for s in loaded for i in _spread(s[1:-2]) if times[i] < times[s[-1]]]


def _spread(places: range) -> list[int]:
    """All places of a short stage; of a long one, as a logger writes it, a selection that is dense at both ends."""
    if len(places) <= 2 * PLACES_AT_MOST:
        return list(places)
    steps = np.unique(np.geomspace(1.0, len(places), PLACES_AT_MOST).astype(int)) - 1
    return sorted({*(places[i] for i in steps), *(places[-1 - i] for i in steps)})


def _next(curve: FreestCurve, findings: list[Finding]) -> Finding | None:
    """The most telling disturbance beside those found already, be it ever so unlikely."""
    observed = curve.observed
    before = np.array([column_of(f, observed) for f in findings]).reshape(-1, observed.times.size).T
    base = curve.best(before) if findings else curve.plain
    bare = Beside(before, near=base.amplitudes[: curve.spectrum.smooth.shape[1]])
    starts = [base, *(curve.solve([bare]) if base.units else [])]
    tries: list[tuple[Finding, Solution]] = []
    choice: list[float] = []
    for kind in SINGLE:
        candidates = [c for c in _candidates(observed, kind) if all(c.first != f.first for f in findings)]
        for start in starts:
            for c in _closest(curve, start, before, candidates):
                tries.append((c, start))
                choice.append(float(np.log(len(candidates))))
    best: Finding | None = None
    for found, cost in zip(_tried(curve, before, tries), choice, strict=True):
        gain = found.score - 1.0 - cost - base.score
        if best is None or gain > best.score:
            best = replace(found, score=gain)
    return best


def _tried(curve: FreestCurve, before: Array, tries: Sequence[tuple[Finding, Solution]]) -> list[Finding]:
    """Each disturbance with its size, and the score of the curve that has it, from a curve near it that has it not."""
    besides: list[Beside] = []
    for c, near in tries:
        own = column_of(c, curve.observed)[:, None]
        # creep can gain speed, but losing it is what any curve does
        speeds_up = c.kind == "acceleration"
        extra = before if speeds_up else np.column_stack([before, own])
        besides.append(Beside(extra, own if speeds_up else None, (), near.units, near.amplitudes))
    return [
        replace(c, size=float((s.extra if b.positive is None else s.amplitudes)[-1]), score=s.score)
        for (c, _), b, s in zip(tries, besides, curve.solve(besides), strict=True)
    ]


def _closest(curve: FreestCurve, base: Solution, before: Array, candidates: list[Finding]) -> list[Finding]:
    """The candidates that would lower the residual sum most, were the curve's active functions kept."""
    if not candidates:
        return []
    columns = curve.whiten @ np.array([column_of(c, curve.observed) for c in candidates]).T
    spectrum = np.column_stack([curve.spectrum.smooth, *(curve.spectrum.unit(i) for i in base.units)])
    beside = np.column_stack([curve.observed.zeros, before, spectrum[:, base.amplitudes > 0.0]])
    q = np.linalg.qr(curve.whiten @ (beside / np.maximum(np.linalg.norm(beside, axis=0), 1e-300)))[0]
    inner = q.T @ columns
    left = (columns**2).sum(axis=0) - (inner**2).sum(axis=0)
    seen = left > 1e-3 * (columns**2).sum(axis=0)
    drop = np.where(seen, (columns.T @ base.residuals) ** 2 / np.where(seen, left, 1.0), 0.0)
    order = np.argsort(-drop)[:CLOSEST]
    return [candidates[i] for i in order if drop[i] > 0.0]


def _plateau(curve: FreestCurve) -> Finding | None:
    """Readings at the end of a loaded stage that rest while the ones before say that the curve goes on."""
    observed = curve.observed
    still = 4.0 * max(observed.noise.stated, NEXT_TO_NOTHING)
    candidates = [
        c for c in _candidates(observed, "acceleration") if np.ptp(observed.values[c.first : c.last + 1]) <= still
    ]
    best: Finding | None = None
    if not candidates:
        return None
    near = curve.plain.amplitudes[: curve.spectrum.smooth.shape[1]]
    solved = curve.solve([Beside(stuck=range(c.first, c.last + 1), near=near) for c in candidates])
    for c, solution in zip(candidates, solved, strict=True):
        gain = solution.score - PLATEAU_COST - np.log(len(candidates)) - curve.plain.score
        if gain > BELIEVED and (best is None or gain > best.score):
            best = Finding("plateau", c.first, c.last, None, gain)
    return best
