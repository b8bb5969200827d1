"""The lowest residual sum of all models of a run at once: what they share is worked out once, and all go downhill in step.

Models differ in their functions of time and are few, readings are few; one model at a time it is calls that cost, not
sums. So it is with runs: those of a batch go downhill side by side. What a run comes to does not hang on the runs beside
it, to the last bit: whatever sums over readings or columns does so over those of one search, in rows as long for one run
alone (`_padded`). Where a search does not settle, `best_fit` searches that model by itself.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, fields, is_dataclass
from functools import cache, cached_property
from itertools import product

import numpy as np
from numpy.typing import NDArray

from creepfit.inference.columns import Observations
from creepfit.inference.descent import PERFECT, Descent, Factors, back, by_coordinate, descend, dot, orthonormal
from creepfit.inference.nonnegative import nonnegative_amplitudes
from creepfit.inference.projection import HIDDEN
from creepfit.mechanics.loading import Array, Indices
from creepfit.models.model import Axis, CreepModel, Term, are_twins

VALLEYS = 12
"""How many places of a model's grid are followed at most."""

ALONG = 3
"""With two axes and more, the best place of each so many nodes along the first axis is followed too: valleys are far
narrower than the grid and slant through it, so that its local minima miss some."""

NODES = {1: 40, 2: 24}
"""Nodes along each axis by their number: they need only part the valleys, as every search is followed to its end."""

MOST_READINGS = 400
"""Of all runs that go side by side: beyond, arrays no longer fit the processor's cache and it is sums that cost."""


Raw = tuple[NDArray[np.intp], NDArray[np.intp], Array]
"""Columns (R, T) as they are, and of each the search and the position that it stands at."""


@dataclass(eq=False)
class _Users:
    """Where one function of time stands: models, positions of its columns in them, and the shape value it takes."""

    term: Term
    model: NDArray[np.intp]
    position: NDArray[np.intp]
    axis: NDArray[np.intp]


class DesignColumns:
    """Functions of time of several models at the readings of all runs with the same times and loads, as they are.

    Models with fewer columns or axes than others have columns of nothing and axes that move nothing in their place.
    """

    def __init__(self, models: Sequence[CreepModel], observed: Observations) -> None:
        self.loads = observed.loads
        self.axes: list[tuple[Axis, ...]] = [m.axes(observed.span) for m in models]
        sets = observed.has_initial and observed.has_recovery
        self.with_set = np.array([sets and not m.flows for m in models])
        self.counts = np.array([len(m.terms) for m in models]) + self.with_set
        self.shape = len(models), int(self.counts.max())
        self.width = max(1, *(len(a) for a in self.axes))
        self.ends = _ends(self.axes, self.width)
        users = _users(models)
        self.takes = np.zeros(self.shape, dtype=np.intp)  # which coordinate; those of none do not move with any
        for of_term in users:
            self.takes[of_term.model, of_term.position] = of_term.axis
        self.moving = [of_term for of_term in users if of_term.term.axis is not None]
        self.resting = [(u.model, u.position, self.loads.column(u.term)) for u in users if u.term.axis is None]
        self.middle = self.raw(np.full((len(models), self.width), 0.5), np.arange(len(models)))

    def shapes(self, places: Array, which: Indices) -> Array:
        """Shape values (P, width) of the models `which` (P,) at places (P, width)."""
        start, length, low, high, log = (e[which] for e in self.ends)
        values = start + places * length
        return np.asarray(np.clip(np.where(log > 0.0, np.exp(np.where(log > 0.0, values, 0.0)), values), low, high))

    def raw(self, places: Array, which: Indices) -> Raw:
        """Columns of the models `which` (P,) that move with their shapes."""
        shapes = self.shapes(places, which)
        parts: list[Raw] = []
        for users in self.moving:
            row, user = np.nonzero(which[:, None] == users.model)
            if row.size:
                values = shapes[row, users.axis[user]]
                parts.append((row, users.position[user], self.loads.column(users.term, values)))
        if not parts:
            none = np.zeros(0, dtype=np.intp)
            return none, none, np.zeros((0, self.loads.times.size))
        row, position, columns = (np.concatenate(part) for part in zip(*parts, strict=True))
        return row, position, columns

    @cached_property
    def nodes(self) -> tuple[NDArray[np.intp], Array, NDArray[np.bool_], Raw]:
        """Models and places of all grids, which of these are wanted, and the columns of those."""
        grids = [_grid(len(axes), self.width) for axes in self.axes]
        which = np.repeat(np.arange(len(grids)), [g.shape[0] for g in grids])
        nodes = np.concatenate(grids)
        twins = np.array([are_twins(axes) for axes in self.axes])
        wanted = ~twins[which] | (np.diff(nodes, axis=1) >= 0.0).all(axis=1)  # the others are the same again
        return which, nodes, wanted, self.raw(nodes[wanted], which[wanted])


class JointColumns:
    """Columns of several models over their shapes, whitened and with the zeros of one run projected out."""

    def __init__(self, design: DesignColumns, observed: Observations) -> None:
        self.design, self.observed = design, observed
        q = np.linalg.qr(observed.noise.whiten(observed.zeros))[0]
        self.q = q
        self.whitener = observed.noise.whiten(np.eye(observed.times.size))
        white = self.whitener @ observed.values
        self.target = white - q @ (q.T @ white)
        self.size = np.ones(design.shape)
        self.fixed = np.zeros((*design.shape, white.size))
        for model, position, column in design.resting:
            self.fixed[model, position] = observed.factor * column
        with_set = np.flatnonzero(design.with_set)
        self.fixed[with_set, design.counts[with_set] - 1] = observed.peak_column()
        self.fixed = self.seen(self.fixed)
        middle = self.columns(np.arange(design.shape[0]), design.middle)
        size = np.sqrt(dot(middle, middle))
        self.size = np.where(size == 0.0, 1.0, size)
        self.fixed /= self.size[:, :, None]

    @property
    def size_of_rows(self) -> tuple[int, int, int]:
        """Columns, padded readings and axes of a search: runs that have them in common can go side by side."""
        return self.size.shape[1], _padded(self.target.size), self.design.width

    def columns(self, which: Indices, raw: Raw) -> Array:
        """Columns (P, K, T) of the models `which` (P,), in units of those in the middle of the ranges."""
        out = self.fixed[which]
        row, position, columns = raw
        if row.size:
            out[row, position] = self.seen(self.observed.factor * columns) / self.size[which[row], position][:, None]
        return out

    def whitened(self, raw: Array) -> tuple[Array, Array]:
        """Whitened columns (..., T), in full and less what the zeros make up of them."""
        full = raw @ self.whitener.T
        return full, full - (full @ self.q) @ self.q.T

    def seen(self, raw: Array) -> Array:
        """Whitened columns (..., T), less what the zeros make up of them; nothing of those that zeros can imitate."""
        return _without_hidden(*self.whitened(raw))

    def starts(self) -> tuple[NDArray[np.intp], Array]:
        """Models (P,) and places (P, width) to follow: of each the lowest of its grid; see `_followed`."""
        which, nodes, wanted, raw = self.design.nodes
        sums = np.full(which.size, np.inf)
        columns = self.columns(which[wanted], raw)
        targets = np.broadcast_to(self.target, (columns.shape[0], self.target.size))
        begin = np.ones(columns.shape[:2], dtype=bool)
        amplitudes = nonnegative_amplitudes(columns.transpose(0, 2, 1), targets, begin)
        rest = targets - np.einsum("pkt,pk->pt", columns, amplitudes)
        sums[wanted] = dot(rest, rest)
        models, places = [], []
        for m, axes in enumerate(self.design.axes):
            own, places_of = sums[which == m], nodes[which == m]
            for node in _followed(own, len(axes))[:VALLEYS]:
                models.append(m)
                places.append(places_of[node])
        return np.array(models), np.array(places)


def _without_hidden(full: Array, rest: Array) -> Array:
    """What the zeros leave of columns (..., T), where it is more than rounding: see projection."""
    return np.where((dot(rest, rest) > HIDDEN**2 * dot(full, full))[..., None], rest, 0.0)


class _SideBySide:
    """Searches of several runs, which have columns, padded readings and axes in common; see `descent.Problem`."""

    settled = 1e-13

    def __init__(self, runs: Sequence[JointColumns]) -> None:
        self.runs = runs
        starts = [run.starts() for run in runs]
        self.run = np.repeat(np.arange(len(runs)), [models.size for models, _ in starts])
        self.model = np.concatenate([models for models, _ in starts])
        self.places = np.concatenate([places for _, places in starts])
        targets = np.zeros((len(runs), runs[0].size_of_rows[1]))
        for row, run in zip(targets, runs, strict=True):
            row[: run.target.size] = run.target
        self.targets = targets[self.run]
        self.designs = list(dict.fromkeys(run.design for run in runs))
        self.design = np.array([self.designs.index(run.design) for run in runs])[self.run]
        self.takes = np.array([run.design.takes for run in runs])[self.run, self.model]
        self.sizes = np.array([run.size for run in runs])
        self.factors = np.array([[run.observed.factor] for run in runs])
        self.fixed = np.zeros((*self.sizes.shape, targets.shape[1]))
        for own, run in zip(self.fixed, runs, strict=True):
            own[..., : run.target.size] = run.fixed

    def columns(self, places: Array, rows: Indices) -> Array:
        """Columns (P, K, T) of the searches `rows`."""
        of, model, designs = self.run[rows], self.model[rows], self.design[rows]
        out: Array = self.fixed[of, model]
        for number, design in enumerate(self.designs):
            here = np.flatnonzero(designs == number)
            row, position, columns = design.raw(places[here], model[here])
            own = here[row]
            run_of = of[own]
            columns *= self.factors[run_of]
            full, rest = np.empty_like(columns), np.empty_like(columns)
            for run in dict.fromkeys(run_of.tolist()):
                mine = np.flatnonzero(run_of == run)
                full[mine], rest[mine] = self.runs[run].whitened(columns[mine])
            size = self.sizes[run_of, model[own], position][:, None]
            out[own, position, : columns.shape[1]] = _without_hidden(full, rest) / size
        return out

    def differences(self, places: Array, low: Array, high: Array, rows: Indices) -> Array:
        """What each coordinate changes in the columns (d, P, K, T), all at once, as a column takes but one."""
        both = self.columns(np.concatenate([high, low]), np.concatenate([rows, rows]))
        return by_coordinate(both[: rows.size] - both[rows.size :], self.takes[rows], places.shape[1])

    def solve(self, columns: Array, targets: Array, factors: Factors) -> tuple[Array, Array, Array]:
        """Amplitudes (P, K), none negative, residuals (P, T), and orthonormal columns (P, K, T) of those in use."""
        amplitudes, usable = _unsigned(factors, targets)
        q = factors[0]
        bad = np.flatnonzero(~(usable & (amplitudes >= 0.0).all(axis=1)))
        if bad.size:
            likely = usable[bad, None] & (amplitudes[bad] > 0.0)
            found = nonnegative_amplitudes(columns[bad].transpose(0, 2, 1), targets[bad], likely)
            used = found > 0.0
            # the same to the last digit, where the columns in use are told apart
            of_used = orthonormal(np.where(used[:, :, None], columns[bad], 0.0))
            exact, told = _unsigned(of_used, targets[bad])
            told &= ((exact > 0.0) == used).all(axis=1)
            amplitudes[bad], q[bad] = np.where(told[:, None], exact, found), of_used[0]
        return amplitudes, targets - np.einsum("pkt,pk->pt", columns, amplitudes), q

    def lowest(self) -> list[list[Array | None]]:
        """Of each run, of each model the shape values (d,) where its residual sum is lowest, None where that is open."""
        models = len(self.runs[0].design.axes)
        number = self.run * models + self.model
        reached = descend(self, self.targets, self.places, number)
        return [
            [self._lowest(reached, np.flatnonzero(number == r * models + m), run, m) for m in range(models)]
            for r, run in enumerate(self.runs)
        ]

    def _lowest(self, reached: Descent, own: Indices, run: JointColumns, model: int) -> Array | None:
        sums, places = reached.sums[own], reached.places[own]
        perfect = np.flatnonzero(sums <= PERFECT * dot(run.target, run.target))
        if perfect.size:
            # of curves through all readings the least rounding says nothing; nor do they speak for an end of a range
            best = perfect[np.argmin(np.abs(places[perfect] - 0.5).max(axis=1))]
        else:
            best = np.argmin(sums)
            if (~reached.converged[own] & (sums - reached.gains[own] < sums[best])).any():
                return None
        return run.design.shapes(places[[best]], np.array([model]))[0, : len(run.design.axes[model])]


def lowest_shapes(models: Sequence[CreepModel], each: Sequence[Observations]) -> list[list[Array | None]]:
    """Where each model's residual sum is lowest, of each run: shape values (d,), None where the search did not settle."""
    out: list[list[Array | None]] = [[] for _ in each]
    alike: dict[tuple[int, int, int], list[tuple[int, JointColumns]]] = {}
    designs: dict[Hashable, DesignColumns] = {}
    for i, observed in enumerate(each if models else ()):
        mark = _design_of(observed)
        design = designs[mark] = designs.get(mark) or DesignColumns(models, observed)
        joint = JointColumns(design, observed)
        alike.setdefault(joint.size_of_rows, []).append((i, joint))
    for (_, readings, _), several in alike.items():
        most = max(MOST_READINGS // readings, 1)
        for group in (several[k : k + most] for k in range(0, len(several), most)):
            for (i, _), shapes in zip(group, _SideBySide([joint for _, joint in group]).lowest(), strict=True):
                out[i] = shapes
    return out


def _design_of(observed: Observations) -> Hashable:
    """What is the same for runs whose functions of time are."""
    history = observed.history
    numbers = observed.times, history.start, history.end, history.change
    return (*(n.tobytes() for n in numbers), observed.span, observed.has_initial, observed.has_recovery)


def _padded(readings: int) -> int:
    """How long rows of so many readings are made, with nothing behind them, so that runs of other lengths are alike."""
    step = 4 if readings <= 32 else 16
    return -(-readings // step) * step


def _ends(axes: Sequence[tuple[Axis, ...]], width: int) -> Array:
    """Of each axis (M, width): start and length in the search's coordinate, lowest and highest value, whether its log."""
    ends = np.zeros((5, len(axes), width))
    for m, of_model in enumerate(axes):
        for i, axis in enumerate(of_model):
            low, high = (float(axis.to_search(np.asarray(end))) for end in (axis.low, axis.high))
            ends[:, m, i] = low, high - low, axis.low, axis.high, axis.log
    return ends


def _users(models: Sequence[CreepModel]) -> list[_Users]:
    """The functions of time of all models, each once."""
    terms: dict[Hashable, tuple[Term, list[tuple[int, int, int]]]] = {}
    for number, creep in enumerate(models):
        for k, term in enumerate(creep.terms):
            key: Hashable = id(term)
            if is_dataclass(term):  # else nothing says which others are the same
                own = {f.name: getattr(term, f.name) for f in fields(term) if f.name != "axis"}
                key = (type(term), tuple(own.items()), term.axis is None)
            terms.setdefault(key, (term, []))[1].append((number, k, term.axis or 0))
    return [_Users(term, *(np.array(column) for column in zip(*at, strict=True))) for term, at in terms.values()]


def _unsigned(factors: Factors, targets: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Amplitudes (P, K) of any sign by least squares, and whether they are determined."""
    q, r, usable = factors
    onto = [dot(q[:, k], targets) for k in range(q.shape[1])]
    return np.stack(back(r, onto), axis=1), usable


@cache
def _grid(count: int, width: int) -> Array:
    """Places of a model's grid, shape (S, width)."""
    if count == 0:
        return np.full((1, width), 0.5)
    lines = [np.linspace(0.0, 1.0, NODES.get(count, 12))] * count
    nodes = np.stack([m.ravel() for m in np.meshgrid(*lines, indexing="ij")], axis=1)
    return np.pad(nodes, [(0, 0), (0, width - count)], constant_values=0.5)


def _followed(sums: Array, count: int) -> NDArray[np.intp]:
    """Positions of a grid to follow: its local minima, of a plateau one, and the best of some rows; the lowest first."""
    if count == 0:
        return np.zeros(1, dtype=np.intp)
    shaped = sums.reshape((NODES.get(count, 12),) * count)
    padded = np.full([n + 2 for n in shaped.shape], np.inf)
    padded[(slice(1, -1),) * count] = shaped
    low = np.isfinite(shaped)
    for offset in product(range(3), repeat=count):
        window = tuple(slice(o, o + n) for o, n in zip(offset, shaped.shape, strict=True))
        low &= shaped <= padded[window]
    starts = np.flatnonzero(low.ravel())
    if count > 1:
        rows = sums.reshape(shaped.shape[0], -1)[::ALONG]
        best = ALONG * np.arange(rows.shape[0]) * rows.shape[1] + rows.argmin(axis=1)
        starts = np.union1d(starts, best[np.isfinite(sums[best])])
    starts = starts[np.argsort(sums[starts], kind="stable")]
    height = sums[starts]
    apart = np.concatenate([[True], height[1:] > height[:-1] * (1.0 + 1e-9)])
    return np.asarray(starts[apart], dtype=np.intp)
