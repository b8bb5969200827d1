"""Several runs as one linear problem: their readings one below the other, amplitudes and shape in common.

Each run keeps its own zeros, load history, geometry and gauge. A specimen that is stiffer or softer than the average
moves all its readings by one factor: to first order one more random column, its own mean deformation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from creepfit.inference.columns import Observations
from creepfit.inference.noise import GAUGE_DEGREES, Noise
from creepfit.mechanics.loading import Array, TimeWarp
from creepfit.models.model import CreepModel, Span
from creepfit.records.run import Run

MOST_REPEATS = 10.0
"""What repeated readings of all runs together may add to the degrees of freedom of the gauge noise."""


@dataclass(frozen=True, eq=False)
class StackedObservations(Observations):
    """Observations of several runs, in the units of the first of them.

    Attributes
    ----------
    blocks : tuple of Observations
        Of each run.
    specimens : ndarray of int, shape (runs,)
        Number of the specimen that each run was made on.
    ages : tuple of float or None
        Age at first loading of each run, s.
    """

    blocks: tuple[Observations, ...] = field(kw_only=True)
    specimens: NDArray[np.intp] = field(kw_only=True)
    ages: tuple[float | None, ...] = field(kw_only=True)

    @property
    def count(self) -> int:
        """Number of specimens."""
        return int(self.specimens.max()) + 1

    @cached_property
    def slices(self) -> tuple[slice, ...]:
        """Where each run's readings stand."""
        ends = np.cumsum([0, *(b.times.size for b in self.blocks)])
        return tuple(slice(int(a), int(b)) for a, b in pairwise(ends))

    @cached_property
    def scale(self) -> float:
        """The largest deformation of any run, as it would have been on the first one under its reference load."""
        return max(abs(b.scale / (b.factor * b.load) * self.factor * self.load) for b in self.blocks)

    @cached_property
    def telling(self) -> int:
        return int(sum(b.telling for b in self.blocks))

    @cached_property
    def deformation(self) -> Array:
        return np.concatenate([b.deformation for b in self.blocks])

    def response(self, model: CreepModel, shapes: Array, clock: TimeWarp | None = None) -> Array:
        return np.concatenate([b.response(model, shapes, clock) for b in self.blocks], axis=1)

    def instant_column(self) -> Array:
        return np.concatenate([self._per_unit(b) * b.instant_column() for b in self.blocks])

    def by_run(self) -> Sequence[tuple[Observations, float | None, float | Array]]:
        return [(b, age, self._per_unit(b)) for b, age in zip(self.blocks, self.ages, strict=True)]

    def peak_column(self) -> Array:
        return np.concatenate([b.peak_column() for b in self.blocks])

    def smooth_columns(self, order: int) -> Array:
        columns = [self._per_unit(b) * b.smooth_columns(order) for b in self.blocks]
        width = max(c.shape[1] for c in columns)
        return np.concatenate([np.pad(c, ((0, 0), (0, width - c.shape[1]))) for c in columns])

    def with_values(self, values: Array) -> StackedObservations:
        blocks = tuple(b.with_values(values[s]) for b, s in zip(self.blocks, self.slices, strict=True))
        return replace(self, values=values, blocks=blocks)

    def _per_unit(self, block: Observations) -> float:
        """A run's deformation under its own reference load, where the first run's under its own is 1."""
        return block.factor * block.load / (self.factor * self.load)

    def rows_of(self, specimen: int) -> NDArray[np.intp]:
        """Rows of all readings of a specimen."""
        runs = np.flatnonzero(self.specimens == specimen)
        return np.concatenate([np.arange(self.times.size)[self.slices[r]] for r in runs])

    def scattered(self, columns: Sequence[Array], scatters: Sequence[float]) -> StackedObservations:
        """The same with scatter between specimens in the covariance, for best fits.

        Parameters
        ----------
        columns : sequence of ndarray, each of shape (T,)
            What scatters from specimen to specimen: the mean deformation at each reading, the creep in it.
        scatters : sequence of float
            Standard deviation of the logarithm of each.
        """
        own = self.specimens[np.repeat(np.arange(len(self.blocks)), [b.times.size for b in self.blocks])]
        mine = own[:, None] == np.arange(self.count)
        random = [
            scatter / self.noise.stated * column[:, None] * mine for column, scatter in zip(columns, scatters, strict=True)
        ]
        return replace(self, noise=replace(self.noise, random=np.concatenate(random, axis=1)))


def stack(observed: Sequence[Observations], specimens: Sequence[str], ages: Sequence[float | None]) -> StackedObservations:
    """Put several runs' observations below one another.

    Parameters
    ----------
    observed : sequence of Observations
        The first is the reference.
    specimens : sequence of str
        Name of each run's specimen; runs of one name share its stiffness.
    ages : sequence of float or None
        Age of each run's specimen at first loading, s.
    """
    first = observed[0]
    names = list(dict.fromkeys(specimens))
    return StackedObservations(
        np.concatenate([o.times for o in observed]),
        np.concatenate([o.values for o in observed]),
        _block_diagonal([o.zeros for o in observed]),
        first.history,
        first.load,
        first.factor,
        _noise(observed),
        Span(min(o.span.first for o in observed), max(o.span.last for o in observed)),
        any(o.has_initial for o in observed),
        any(o.has_recovery for o in observed),
        blocks=tuple(observed),
        specimens=np.array([names.index(s) for s in specimens], dtype=np.intp),
        ages=tuple(ages),
    )


def _noise(observed: Sequence[Observations]) -> Noise:
    """Each gauge's covariance, with one scale for all: they are taken to be as good or bad as stated together."""
    first = observed[0].noise
    blocks = [o.noise.correlation * (o.noise.stated / first.stated) ** 2 for o in observed]
    repeats = sum(o.noise.degrees - GAUGE_DEGREES for o in observed)
    degrees = GAUGE_DEGREES + min(repeats, MOST_REPEATS)
    least = min(o.noise.least / o.noise.stated for o in observed) * first.stated
    # what a logger scatters by within its bins is no other gauge's
    return replace(first, degrees=degrees, correlation=_block_diagonal(blocks), least=least, within=(0.0, 0.0))


def _block_diagonal(blocks: Sequence[Array]) -> Array:
    """One below the other and beside it; scipy's takes longer to import than to fit a run."""
    ends = np.cumsum([(0, 0), *(b.shape for b in blocks)], axis=0)
    out = np.zeros(ends[-1])
    for block, (top, left), (bottom, right) in zip(blocks, ends, ends[1:], strict=False):
        out[top:bottom, left:right] = block
    return out


def specimen_names(runs: Sequence[Run]) -> list[str]:
    """Name of each run's specimen, with the material where two share a name; a run without one stands for its own."""
    materials = {run.name: {other.material.casefold() for other in runs if other.name == run.name} for run in runs}
    return [
        (run.name if len(materials[run.name]) == 1 else run.bar) if run.name else f"{run.file or 'run'} ({i + 1})"
        for i, run in enumerate(runs)
    ]


def run_names(runs: Sequence[Run]) -> list[str]:
    """A name for each run, no two alike: the specimen's, else the file's, else a number."""
    names = specimen_names(runs)
    places = [run.file or str(i + 1) for i, run in enumerate(runs)]
    return [n if names.count(n) == 1 else f"{n} ({place})" for n, place in zip(names, places, strict=True)]
