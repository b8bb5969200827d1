"""What runs at other temperatures say of the shape of a response: which draws of it go on as those runs went.

A clock that runs faster takes draws of one run far beyond its readings, and a flow in proportion to time multiplies with
it. The runs at other temperatures were there: draws whose shape, on the clock of each, misses their readings are drawn
less often.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from creepfit.inference.columns import Observations
from creepfit.inference.components import Member, UnitCreep, nodes_of
from creepfit.inference.groups import Group
from creepfit.inference.mixture import Draws, Mixture
from creepfit.inference.pool_checks import own_noise
from creepfit.inference.priors import Priors
from creepfit.inference.tested import steeper_mean
from creepfit.mechanics.loading import Array
from creepfit.mechanics.temperature import Climate

FREEDOM = (0.4, 0.3)
"""Scatter of all deformation, and of creep besides, that is left to each run: what warmth makes grow, and what bars differ
by, is said by `temperature.py`, so that here the shape alone counts (judgement)."""

DEPARTURE, DEPARTURE_PER_KELVIN = 0.085, 0.004
"""By how much a run may creep more or less in a decade than draws made at another temperature, as a share of its creep, and
what each K adds: as for known runs (`known.py`)."""

FLOW = "power-flow"

LONGER = 1.5
"""Another run that is this many times as long as the draws' own on their clock sees flow that their own cannot."""


@dataclass(frozen=True, eq=False)
class OtherRun:
    """A run at another temperature: readings, climate, age [s], noise [mm or strain] and the degrees of freedom of that."""

    observed: Observations
    climate: Climate
    age: float | None
    noise: float
    degrees: float

    @classmethod
    def of(cls, observed: Observations, climate: Climate, age: float | None, priors: Priors) -> OtherRun:
        """Prepare one; its noise is what a flexible curve leaves."""
        return cls(observed, climate, age, *own_noise(observed, priors))

    def log_likelihood(self, draws: Draws) -> Array:
        """Of its readings under each draw (N,), but for a constant; sizes of both parts and the zero are its own.

        Student t with the degrees of freedom of its noise: the sizes are random columns, the zero is free.
        """
        assert draws.warmth is not None
        block, warmth = self.observed, replace(draws.warmth, climate=self.climate)
        per_unit = block.factor / draws.observed.factor
        ahead = per_unit * replace(draws, warmth=warmth).deformation(block.history, block.times, self.age)
        instant = per_unit / draws.observed.load * np.outer(draws.instant, block.loads.load())
        creep = ahead - warmth.factors(block.times)[0] * instant
        away = abs(self.climate.mean - warmth.reference)
        departs = np.hypot(DEPARTURE, DEPARTURE_PER_KELVIN * away) * steeper_mean(block, np.median(ahead, axis=0))
        root = np.linalg.cholesky(self.noise**2 * block.noise.correlation + np.outer(departs, departs))
        zeros, _ = np.linalg.qr(np.linalg.solve(root, block.zeros))

        def white(rows: Array) -> Array:
            """Rows (N, T) with unit covariance and no zero in them."""
            plain = np.linalg.solve(root, rows.T).T
            return np.asarray(plain - (plain @ zeros) @ zeros.T)

        columns = np.stack([white(FREEDOM[0] * ahead), white(FREEDOM[1] * creep)], axis=1)
        left = white(block.values - ahead)
        explained, determinant = _by_two(columns, left)
        chi_square = (left * left).sum(axis=1) - explained
        free = block.times.size - zeros.shape[1]
        fits = -0.5 * (self.degrees + free) * np.log1p(np.maximum(chi_square, 0.0) / self.degrees)
        return np.asarray(fits - 0.5 * np.log(determinant))


def _by_two(columns: Array, left: Array) -> tuple[Array, Array]:
    """What two random columns (N, 2, T) of variance 1 explain of squares of rows (N, T), and det(1 + columns columns').

    One after the other, without a difference that loses its digits: draws that contradict the readings have columns so
    large and alike that a general solution finds its matrix singular.
    """
    first, second = columns[:, 0], columns[:, 1]
    size = (first * first).sum(axis=1)
    share = (first * second).sum(axis=1) / np.maximum(size, np.finfo(float).tiny)
    apart = second - share[:, None] * first
    by_first, by_apart = (first * left).sum(axis=1), (apart * left).sum(axis=1)
    of_second = 1.0 + (apart * apart).sum(axis=1) + share**2 * size / (1.0 + size)
    explained = by_first**2 / (1.0 + size) + (share * by_first / (1.0 + size) + by_apart) ** 2 / of_second
    return explained, (1.0 + size) * of_second


@dataclass(frozen=True, eq=False)
class OtherRuns:
    """All runs of a material at other temperatures than one that is asked about.

    Attributes
    ----------
    runs : tuple of OtherRun
    own : tuple of OtherRun
        Those that the draws are of.
    flow : Member or None
        The leading model with a flow beside it, as the mixture has it; None where it has none.
    flowing : float
        Prior probability of it beside the leading model.
    """

    runs: tuple[OtherRun, ...]
    own: tuple[OtherRun, ...]
    flow: Member | None
    flowing: float

    @classmethod
    def of(cls, runs: Sequence[OtherRun], own: Sequence[OtherRun], mixture: Mixture) -> OtherRuns:
        """Of runs, and of those that a mixture is of."""
        members = [p.member for p in mixture.posteriors]
        flow = next((m for m in members if m.model.name == FLOW and _is_plain(m)), None)
        leads = sum(m.weight for m in members if m.model.leads)
        flows = sum(m.weight for m in members if m.model.name == FLOW)
        return cls(tuple(runs), tuple(own), flow, flows / (leads + flows) if flow else 0.0)

    def among(self, draws: Draws, count: int, seed: int) -> Draws:
        """As many of the draws, each as often as the runs' readings are probable under it.

        Plain time and each clock keep the part that they have: how probable they are the readings of all have said.
        """
        assert draws.warmth is not None
        rng = np.random.default_rng(seed)
        given, draws = draws, self._with_faint_flow(draws, rng)
        log_weight = np.sum([run.log_likelihood(draws) for run in self.runs], axis=0)
        if draws is not given:
            log_weight += np.sum([run.log_likelihood(draws) - run.log_likelihood(given) for run in self.own], axis=0)
        weight = np.zeros(draws.count)
        for _, rows in given.warmth.clocks():  # type: ignore[union-attr]
            own = np.exp(log_weight[rows] - log_weight[rows].max())
            weight[rows] = own / own.sum() * rows.sum()
        edges = np.cumsum(weight) / weight.sum()
        places = (np.arange(count) + rng.random()) / count
        return draws.take(np.minimum(np.searchsorted(edges, places), draws.count - 1))

    def _with_faint_flow(self, draws: Draws, rng: np.random.Generator) -> Draws:
        """Draws of the leading model, some with a flow that its own run is too cool to show and another one too warm to.

        A flow's share is one of the creep in a test, whichever: a test that is as long on its clock as another's hundred
        leaves a hundredth open of what the other does, and the mixture's grid has nothing as faint.
        """
        assert draws.warmth is not None
        if self.flow is None:
            return draws
        prior = nodes_of(self.flow).every
        span, creep, groups = draws.observed.span, draws.creep.copy(), []
        lasts = [(run.climate, np.array([run.observed.span.last])) for run in self.runs]
        felt = np.hstack([replace(draws.warmth, climate=climate).felt(last) for climate, last in lasts]).max(axis=1)
        for group in draws.groups:
            rows = group.rows
            flows = (felt[rows] > LONGER * span.last) & (rng.random(rows.size) < self.flowing)
            if not (group.member.model.leads and _is_plain(group.member) and flows.any()):
                groups.append(group)
                continue
            nodes, to = group.nodes.take(np.flatnonzero(flows)), felt[rows[flows]]
            grown = np.empty(to.size)
            for last in np.unique(to):
                there = UnitCreep(group.member, replace(span, last=float(last)))
                grown[to == last] = UnitCreep(group.member, span).over(there, nodes)[1][to == last]
            share = rng.choice(prior.shares[:, -1], to.size, p=np.exp(prior.log_prior) / np.exp(prior.log_prior).sum())
            added = share / (1.0 - share) * grown * (span.last - span.first) / (to - span.first)
            creep[rows[flows]] *= 1.0 + added
            shares = np.column_stack([np.ones_like(added), added]) / (1.0 + added)[:, None]
            groups.append(Group(self.flow, rows[flows], nodes.with_shares(shares)))
            if not flows.all():
                groups.append(Group(group.member, rows[~flows], group.nodes.take(np.flatnonzero(~flows))))
        return replace(draws, groups=tuple(groups), creep=creep)


def _is_plain(member: Member) -> bool:
    return member.set_growth is None and member.rate is None
