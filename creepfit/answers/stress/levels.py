"""The stresses a set of fits was tested at, and compliances of two of them side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from creepfit.answers.interval import Interval
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit
from creepfit.inference.pooling import PooledFit
from creepfit.inference.scatter import SCATTER, SPREAD_OF_ONE
from creepfit.inference.stacking import specimen_names
from creepfit.mechanics.loading import Array
from creepfit.records.run import Run
from creepfit.units import HOUR

SAME = 0.02
"""Stresses this close together, relative to the higher one, count as one."""


@dataclass(frozen=True, eq=False)
class StressLevel:
    """One stress and who was tested at it.

    `stress` in MPa (outer fibre in bending), `specimens` by name; `alone` are the fits of runs held at nothing else, with
    an initial reading, and `first` to `last` the time in s after loading that all of those were read in. `read` is the
    first and the last time in s after this stress came on at which any run was read under it: a step that was held for
    ten minutes says nothing of later ones.
    """

    stress: float
    specimens: tuple[str, ...]
    alone: tuple[Fit, ...] = field(repr=False)
    first: float
    last: float
    read: tuple[float, float]

    def holds(self, stress: float) -> bool:
        """Whether a stress in MPa counts as this one."""
        return _same(stress, self.stress)

    def to_dict(self) -> dict[str, Any]:
        return {
            "stress_MPa": self.stress,
            "specimens": list(self.specimens),
            "read_from_h": self.read[0] / HOUR,
            "read_to_h": self.read[1] / HOUR,
        }


@dataclass(frozen=True)
class IsochronousPoint:
    """Strain under one stress at one time.

    `stress` in MPa, `time` in s since loading, `strain` as a fraction, `modulus` = stress over strain in MPa.
    `extrapolated` says that the strain rests on a forecast, as the time is outside `read`: first and last time in s after
    this stress came on at which it was read (by every run of those averaged; between tested stresses, at both
    neighbours). `interpolated` says that no run was held at it, `below` that it lies under the lowest stress tested.
    """

    stress: float
    time: float
    strain: Interval
    modulus: Interval
    extrapolated: bool
    interpolated: bool
    below: bool = False
    read: tuple[float, float] | None = None

    def to_dict(self) -> dict[str, Any]:
        return {
            "time_h": self.time / HOUR,
            "stress_MPa": self.stress,
            "strain": {**self.strain.to_dict(), "unit": "1"},
            "creep_modulus": {**self.modulus.to_dict(), "unit": "MPa"},
            "extrapolated": self.extrapolated,
            "interpolated": self.interpolated,
            "below_lowest_stress": self.below,
            "read_to_h": None if self.read is None else self.read[1] / HOUR,
        }


def runs_of(fits: Sequence[Fit]) -> tuple[Run, ...]:
    """All runs of some fits, each once."""
    return tuple({id(run): run for fit in fits for run in fit.runs}.values())


def levels_of(fits: Sequence[Fit]) -> tuple[StressLevel, ...]:
    """The stresses under which readings were taken, ascending.

    Raises
    ------
    InputError
        Where a run's stress is not known.
    """
    tested = [(stress, fit) for fit in fits for run in fit.runs for stress in stresses_of(run)]
    tested.sort(key=lambda pair: pair[0])
    groups: list[list[tuple[float, Fit]]] = []
    for stress, fit in tested:
        if not groups or stress - groups[-1][0][0] > SAME * stress:
            groups.append([])
        groups[-1].append((stress, fit))
    return tuple(_level(group) for group in groups)


def _level(group: list[tuple[float, Fit]]) -> StressLevel:
    stress = float(np.mean([s for s, _ in group]))
    fits = list(dict.fromkeys(fit for _, fit in group))
    runs = [run for fit in fits for run in fit.runs if any(_same(s, stress) for s in stresses_of(run))]
    alone = tuple(f for f in fits if f.observed.has_initial and all(_only(r, stress) for r in f.runs))
    spans = [f.observed.span for f in alone]
    first, last = max((s.first for s in spans), default=0.0), min((f.run.test_length for f in alone), default=0.0)
    elapsed = [t for run in runs for s, t in _under_load(run) if _same(s, stress)]
    return StressLevel(stress, tuple(dict.fromkeys(specimen_names(runs))), alone, first, last, (min(elapsed), max(elapsed)))


def _same(one: float, other: float) -> bool:
    return abs(one - other) <= SAME * other


def _only(run: Run, stress: float) -> bool:
    return all(_same(s, stress) for s in stresses_of(run))


def stresses_of(run: Run) -> list[float]:
    """Sizes of the stresses under which a run was read, MPa, each once.

    Raises
    ------
    InputError
        Where the stress is not known.
    """
    return sorted({stress for stress, _ in _under_load(run)})


def _under_load(run: Run) -> list[tuple[float, float]]:
    """Size of the stress [MPa] at each reading under load, and how long it had been on [s].

    A reading during a ramp has no stress of its own and is left out; one at exactly a load's time was taken before it.
    """
    per_load = run.specimen.geometry.stress_per_load
    if per_load is None:
        given = "loads in N and readings in mm without the specimen's sizes"
        raise InputError(key="specimen", file=run.file, found=given, expected="a test whose stress is known")
    # a load that is written down again is not a new one
    steps = [s for i, s in enumerate(run.steps) if i == 0 or s.value != run.steps[i - 1].value]
    out = []
    for reading in run.used:
        step = next((s for s in reversed(steps) if s.at < reading.time), None)
        if step is not None and step.value != 0.0 and reading.time > step.at + step.over:
            out.append((float(f"{per_load * abs(step.value):.9g}"), reading.time - step.at))
    return out


def within_one_run(run: Run, levels: Sequence[StressLevel]) -> bool:
    """Whether a run was read at two of the stresses or more."""
    own = stresses_of(run)
    return sum(any(level.holds(s) for s in own) for level in levels) > 1


def compliance_draws(low: StressLevel, high: StressLevel, times: Array, seed: int) -> tuple[Array, Array]:
    """Draws of ln compliance at two stresses, each of shape (N, T).

    Each is the average of its fits, with the tolerance of the sizes. What one specimen may differ by from the average of
    all is added, unless both stresses were tested on the same specimens.
    """
    same = set(low.specimens) == set(high.specimens)
    rng = np.random.default_rng(seed)
    return _average(low, times, rng, same), _average(high, times, rng, same)


def _average(level: StressLevel, times: Array, rng: np.random.Generator, same: bool) -> Array:
    rows = []
    for fit in level.alone:
        draws = fit.average.draws
        # drawn in an order of its own: draws of two fits with one seed go hand in hand
        logs = np.log(np.maximum(draws.compliance(times, discrepancy=False), 1e-12))[rng.permutation(draws.count)]
        if not same and not isinstance(fit, PooledFit):
            logs = logs + _specimen(draws.count, rng)[:, None]
        if not same:
            logs = logs + fit.run.relative_sd * rng.standard_normal((draws.count, 1))
        rows.append(logs)
    return np.asarray(np.mean(rows, axis=0))


def _specimen(count: int, rng: np.random.Generator) -> Array:
    """What the logarithm of one specimen's compliance may be off the average's, by the prior of the scatter alone."""
    size, between = rng.standard_normal((2, count))
    return np.asarray(SCATTER * np.exp(SPREAD_OF_ONE * size) * between)
