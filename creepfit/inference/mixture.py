"""The mixture of members: stated prior weights times evidence, and draws of the creep response from it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, stdtrit

from creepfit.inference.columns import Observations
from creepfit.inference.components import Member, members_of
from creepfit.inference.groups import CreepOfDraws, Group
from creepfit.inference.likelihood import Likelihood
from creepfit.inference.posterior import Posterior, posteriors
from creepfit.inference.priors import Priors
from creepfit.inference.tested import TestedSpecimen, beyond, departure_columns
from creepfit.inference.truncated import Quadrant
from creepfit.inference.warmth import Growth, Warming, Warmth
from creepfit.inference.weights import weights_of
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.mechanics.long_history import Superposition
from creepfit.mechanics.temperature import Climate

DEFAULT_SEED = 20240229
DEFAULT_DRAWS = 4000

PROPOSED = 4
"""Draws to choose each from, where runs at other temperatures leave few of them."""


@dataclass(frozen=True, eq=False)
class Mixture:
    """Posteriors of all members with their weights.

    Attributes
    ----------
    posteriors : tuple of Posterior
    weights : ndarray, shape (members,)
        Posterior weights, floored, sum 1.
    observed : Observations
    priors : Priors
    average : bool
        Whether draws are of the average of all specimens; else of a new one, which differs where there is scatter.
    warming : Warming or None
        The climate that draws are for, None for the test's own temperature.
    tested : TestedSpecimen or None
        The specimen that draws are of instead: one of those that were read.
    missed : float
        What the run's own trial missed a decade beyond its data, mm; see `hindcast.plainly_missed`.
    """

    posteriors: tuple[Posterior, ...]
    weights: Array
    observed: Observations
    priors: Priors
    average: bool = False
    warming: Warming | None = None
    tested: TestedSpecimen | None = None
    missed: float = 0.0

    def weight_of(self, model: str) -> float:
        """Weight of all members of one model."""
        return self.weight_of_members(lambda m: m.model.name == model)

    def weight_of_members(self, wanted: Callable[[Member], bool]) -> float:
        """Weight of some of the members."""
        return float(sum(w for w, p in zip(self.weights, self.posteriors, strict=True) if wanted(p.member)))

    def draws(self, count: int = DEFAULT_DRAWS, seed: int = DEFAULT_SEED) -> Draws:
        """Draw creep responses; the same seed gives the same draws."""
        warming = self.warming
        if warming is None:
            return self._as_tested(count, seed)
        if warming.others is None:
            return replace(self._as_tested(count, seed), warmth=warming.draws(count, seed))
        many = PROPOSED * count
        drawn = replace(self._as_tested(many, seed), warmth=warming.draws(many, seed))
        chosen: Draws = warming.others.among(drawn, count, seed)
        return chosen

    def creep_draws(self, count: int, seed: int) -> Draws:
        """The same draws at the test's own temperature, of creep alone: `instant` is no number, `discrepancy` nought."""
        return _draw(self, count, seed, creep_alone=self.tested is None)

    def _as_tested(self, count: int, seed: int) -> Draws:
        """The same at the test's own temperature."""
        return _draw(self, count, seed)

    def of_members(self, wanted: Callable[[Member], bool]) -> Mixture:
        """The mixture of some of its members, their weights in proportion."""
        index = [i for i, p in enumerate(self.posteriors) if wanted(p.member)]
        weights = self.weights[index]
        total = weights.sum()
        # weights that underflowed to zero still have an order: their evidence
        weights = weights / total if total > 0.0 else np.full(len(index), 1.0 / len(index))
        return replace(self, posteriors=tuple(self.posteriors[i] for i in index), weights=weights)

    def with_members(self, posteriors: Sequence[Posterior], weights: Array) -> Mixture:
        """The same of these members and no others, whose weights (members,) are known."""
        return replace(self, posteriors=tuple(posteriors), weights=weights)

    def without_ageing(self) -> Mixture | None:
        """The mixture without the members on an ageing clock; None where there are none."""
        if all(p.member.rate is None for p in self.posteriors):
            return None
        # the plain models as they would be if nothing aged: with the weight that went to the clock
        left = 1.0 - self.priors.ageing_weight
        plain = tuple(
            p.weighted(1.0 / left) if p.member.model.ages else p for p in self.posteriors if p.member.rate is None
        )
        return replace(self, posteriors=plain, weights=weights_of(plain, self.priors, self.observed))


def mixture(observed: Observations, priors: Priors, age: float | None = None) -> Mixture:
    """Posterior over all members for a run's observations."""
    return mixture_of(members_of(observed, priors, age), Likelihood(observed, priors))


def mixture_of(members: Sequence[Member], shared: Likelihood) -> Mixture:
    """The same of members that are known, by a likelihood that is."""
    each, observed, priors = tuple(posteriors(members, shared)), shared.observed, shared.priors
    return Mixture(each, weights_of(each, priors, observed), observed, priors)


@dataclass(frozen=True, eq=False)
class Draws:
    """Creep responses drawn from the mixture.

    Attributes
    ----------
    groups : tuple of Group
    instant, creep : ndarray, shape (N,)
        Instantaneous deformation and creep in the test, mm under the reference load.
    discrepancy : ndarray, shape (N,)
        Model discrepancy a decade beyond the data, mm under the reference load.
    noise : ndarray, shape (N,)
        Noise scale, mm.
    observed : Observations
        What they were fitted to; gives the reference load, and reading per load and compliance.
    scatter, creep_scatter : ndarray, shape (N,)
        Scatter between specimens of all deformation, and of creep besides (standard deviations of logarithms); in the
        draws of a new specimen.
    warmth : Warmth or None
        The climate that they are in, None for that of the test.
    departure : ndarray, shape (N, 3)
        By how much the tested specimen departs from the models a decade after its own last reading, in either way of
        `tested.departure_columns`, mm under the reference load.
    departs_after : float
        Time of that reading, s.
    further : tuple of (float, ndarray of shape (N,))
        Discrepancy of draws whose data ended at another time [s], each like `discrepancy`.
    """

    groups: tuple[Group, ...]
    instant: Array
    creep: Array
    discrepancy: Array
    noise: Array
    observed: Observations
    scatter: Array = field(default_factory=lambda: np.zeros(1))
    creep_scatter: Array = field(default_factory=lambda: np.zeros(1))
    warmth: Warmth | None = None
    departure: Array = field(default_factory=lambda: np.zeros((1, 3)))
    departs_after: float = 1.0
    further: tuple[tuple[float, Array], ...] = ()

    @property
    def count(self) -> int:
        return self.instant.size

    def deformation(self, history: LoadHistory, times: Array, age: float | None = None, discrepancy: bool = True) -> Array:
        """Deformation of the specimen under a load history.

        Parameters
        ----------
        history : LoadHistory
            Loads in N (MPa for a specimen under stress).
        times : ndarray, shape (T,)
            Times in s.
        age : float, optional
            Age of the material at t = 0 in s, by default the specimen's.
        discrepancy : bool
            Whether the model discrepancy is in.

        Returns
        -------
        ndarray, shape (N, T)
            mm, or strain.
        """
        times = np.asarray(times, dtype=float)
        loads = Superposition(history, times)
        # draws side by side: there are thousands of them, and few times
        out = np.multiply.outer(loads.load(), self.instant * (1.0 / self.observed.load))
        if self.warmth is None:
            return self._with_creep(out, loads, age, discrepancy).T
        at_once, later = self.warmth.factors(times)
        creep = np.zeros_like(out)
        for clock, chosen in self.warmth.clocks():
            felt = loads if clock is None else Superposition(history.warped(clock), clock(times))
            creep[:, chosen] = self._with_creep(np.zeros_like(out), felt, age, discrepancy)[:, chosen]
        return np.asarray(at_once * out.T + later * creep.T)

    @cached_property
    def creep_per_unit(self) -> CreepOfDraws:
        """Creep of each per unit of its creep in the test."""
        return CreepOfDraws(self.groups, self.observed.span, self.count)

    def _with_creep(self, out: Array, loads: Superposition, age: float | None, discrepancy: bool) -> Array:
        """Add to `out`, shape (T, N), what creep and discrepancy come to."""
        per_load = 1.0 / self.observed.load
        out += self.creep * per_load * self.creep_per_unit.under(loads, age)
        for last, size in ((self.observed.span.last, self.discrepancy), *self.further):
            if discrepancy and size.any():
                out += np.multiply.outer(beyond(loads, last), size * per_load)
        if discrepancy and self.departure.any():
            out += ((self.departure * per_load) @ departure_columns(loads, self.departs_after)).T
        return out

    def with_amplitudes(self, **amplitudes: Array) -> Draws:
        """The same draws of the functions of time with some of their sizes changed."""
        changed = replace(self, **amplitudes)  # type: ignore[arg-type]
        vars(changed)["creep_per_unit"] = self.creep_per_unit
        return changed

    def take(self, index: NDArray[np.intp]) -> Draws:
        """A selection of draws, each as often as it is in `index`."""
        groups = []
        for group in self.groups:
            where = np.full(self.count, -1)
            where[group.rows] = np.arange(group.rows.size)
            rows = np.flatnonzero(where[index] >= 0)
            if rows.size:
                groups.append(Group(group.member, rows, group.nodes.take(where[index[rows]])))
        names = ("instant", "creep", "discrepancy", "noise", "scatter", "creep_scatter", "departure")
        each = {name: getattr(self, name) for name in names}
        taken = {name: values[index] for name, values in each.items() if len(values) == self.count}
        warmth = None if self.warmth is None else replace(self.warmth, growth=self.warmth.growth.take(index))
        further = tuple((last, size[index]) for last, size in self.further)
        return replace(self, groups=tuple(groups), warmth=warmth, further=further, **taken)

    def warmed(self, climate: Climate, reference: float, growth: Growth) -> Draws:
        """The same draws in a climate; `reference` [degC] is the temperature that they were made at."""
        return replace(self, warmth=Warmth(climate, reference, growth))

    def compliance(self, times: Array, discrepancy: bool = True) -> Array:
        """Compliance D(t) in 1/MPa (mm/N without geometry), shape (N, T)."""
        unit = self.deformation(LoadHistory.held(1.0), np.asarray(times), discrepancy=discrepancy)
        return np.asarray(unit / self.observed.factor)


@lru_cache(maxsize=4)  # of one seed in a batch, and of the pools behind one set
def _strata(count: int, seed: int) -> tuple[Array, Array, Array, Mapping[str, Any]]:
    """Places of draws along the cumulated weights (N,), three stratified uniforms each (3, N), the first two as
    normal numbers (2, N), the generator's state."""
    rng = np.random.default_rng(seed)
    places = (np.arange(count) + rng.random()) / count
    uniform = np.stack([(rng.permutation(count) + rng.random(count)) / count for _ in range(3)])
    uniform = np.clip(uniform, 1e-12, 1.0 - 1e-12)
    normal = ndtri(uniform[:2])
    for known in (places, uniform, normal):
        known.setflags(write=False)
    return places, uniform, normal, rng.bit_generator.state


@lru_cache(maxsize=4)
def _student(count: int, seed: int, degrees: float) -> Array:
    """The third uniform of each draw as a number of Student's t, shape (N,)."""
    student = np.asarray(stdtrit(degrees, _strata(count, seed)[1][2]))
    student.setflags(write=False)
    return student


def _draw(mix: Mixture, count: int, seed: int, creep_alone: bool = False) -> Draws:
    """Systematic sampling of nodes, stratified uniforms for the amplitudes."""
    places, uniform, normal, state = _strata(count, seed)
    weight = np.concatenate([w * p.weight for w, p in zip(mix.weights, mix.posteriors, strict=True)])
    edges = np.cumsum(weight) / weight.sum()
    picked = np.minimum(np.searchsorted(edges, places), weight.size - 1)
    starts = np.cumsum([0, *(p.log_weight.size for p in mix.posteriors)])
    ends = np.searchsorted(picked, starts)  # draws of one member stand side by side
    noise, scatter, creep_scatter = np.empty((3, count))
    groups, amplitudes = [], []
    for p, start, a, b in zip(mix.posteriors, starts, ends, ends[1:], strict=False):
        if a == b:
            continue
        index = picked[a:b] - start
        amplitudes.append(p.quadrant.take(index))
        noise[a:b] = p.noise[index]
        scatter[a:b] = p.scatter[index] if isinstance(p.scatter, np.ndarray) else p.scatter
        creep_scatter[a:b] = p.creep_scatter[index] if isinstance(p.creep_scatter, np.ndarray) else p.creep_scatter
        groups.append(Group(p.member, np.arange(a, b), p.laid.take(p.place[index])))
    quadrant = Quadrant.joined(amplitudes)
    if creep_alone:
        instant, creep = np.full(count, np.nan), quadrant.draw_second(uniform[1], normal[1])
    else:
        instant, creep = quadrant.draw_both(uniform[:2], normal)
    plain = Draws(tuple(groups), instant, creep, np.zeros(count), noise, mix.observed, scatter, creep_scatter)
    alike = mix.average or not scatter.any()
    if creep_alone and alike:
        return plain
    rng = np.random.default_rng(seed)
    rng.bit_generator.state = state
    student = _student(count, seed, mix.priors.discrepancy_degrees)
    if mix.tested is not None:
        return _tested(mix, mix.tested, plain, student, rng)
    drawn = plain
    if not creep_alone:
        growth = _growth(plain)
        allowed = _allowance(mix.priors, plain, growth, student, mix.missed)
        drawn = plain.with_amplitudes(discrepancy=np.maximum(allowed, -growth))
    if alike:
        return drawn
    between = [(rng.permutation(count) + rng.random(count)) / count for _ in range(2)]
    normal = ndtri(np.clip(between, 1e-12, 1.0 - 1e-12))
    factor, of_creep = np.exp(scatter * normal[0]), np.exp(creep_scatter * normal[1])
    beyond = factor * of_creep * drawn.discrepancy
    return drawn.with_amplitudes(instant=factor * instant, creep=factor * of_creep * creep, discrepancy=beyond)


def _tested(mix: Mixture, tested: TestedSpecimen, average: Draws, student: Array, rng: np.random.Generator) -> Draws:
    """Draws of one of the specimens that were read: its own amplitudes, and what its curve departs from the material's."""
    count, known = average.count, len(tested.others)
    strata = np.array([(rng.permutation(count) + rng.random(count)) / count for _ in range(5 + 4 * known)])
    numbers = np.clip(strata, 1e-12, 1.0 - 1e-12)
    instant, creep, apart, then, share, steeper, reverting = np.empty((7, count))
    late = np.empty((count, 2))
    for group in average.groups:
        rows = group.rows
        own = tested.curve(
            group.member,
            *group.different,
            (average.instant[rows], average.creep[rows]),
            (average.scatter[rows], average.creep_scatter[rows]),
            average.noise[rows],
            numbers[: 2 + 2 * known, rows].reshape(1 + known, 2, -1),
            np.moveaxis(ndtri(numbers[2 + 2 * known : 2 + 4 * known, rows]).reshape(known, 2, -1), 1, 2),
            numbers[-3, rows],
            ndtri(numbers[-2, rows]),
        )
        instant[rows], creep[rows], apart[rows] = own.instant, own.creep, own.scale * own.difference
        then[rows], share[rows] = own.then, own.share
        reverting[rows] = tested.reverts * (tested.weights @ own.known_share - own.share) * own.growth
        late[rows], steeper[rows] = np.tensordot(tested.weights, own.late, 1), own.steeper
    none = np.zeros(1)
    # further readings are taken on the tested specimen, so the draws know of its own
    own_readings = replace(tested.plain.blocks[0], span=mix.observed.span)
    plain = replace(average, instant=instant, creep=creep, scatter=none, creep_scatter=none, observed=own_readings)
    growth = _growth(plain)
    size = _allowance(mix.priors, plain, growth, student)
    departure = (late[:, 0] + tested.per_difference * np.abs(apart) * ndtri(numbers[-1])) * then
    steep = np.maximum(((1.0 - tested.reverts) * steeper * share + reverting) * then, -growth)
    departure = np.maximum(departure, -growth - steep)
    columns = np.column_stack([departure, late[:, 1] * then, steep])
    size = np.maximum(size, -growth - departure - steep)
    return replace(plain, discrepancy=size, departure=columns, departs_after=tested.last)


def _allowance(priors: Priors, draws: Draws, growth: Array, student: Array, missed: float = 0.0) -> Array:
    """Draws of what no model has, a decade beyond the data, mm, by Student's numbers (N,); see `Priors.discrepancy`.

    What a trial `missed` a decade is no less likely to be missed again: one in twenty draws goes beyond it.
    """
    scale = np.minimum(priors.discrepancy * (draws.instant + draws.creep), priors.discrepancy_of_growth * growth)
    if missed:
        scale = np.hypot(scale, missed / stdtrit(priors.discrepancy_degrees, 0.95))
    return np.asarray(student * scale)


def _growth(draws: Draws) -> Array:
    """Smallest growth in the two decades beyond the data, mm: no discrepancy may make a held part creep back."""
    ends = draws.observed.span.last * np.array([1.0, 10.0, 100.0])
    held = draws.deformation(LoadHistory.held(draws.observed.load), ends)
    return np.asarray(np.maximum(np.diff(held, axis=1).min(axis=1), 0.0))
