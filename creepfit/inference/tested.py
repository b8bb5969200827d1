"""One specimen among several: its own amplitudes, and where its curve goes after its own last reading."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from creepfit.inference.columns import Observations
from creepfit.inference.components import Member, UnitCreep
from creepfit.inference.likelihood import Likelihood
from creepfit.inference.nodes import Nodes
from creepfit.inference.specimen_amplitudes import SpecimensLikelihood
from creepfit.inference.stacking import StackedObservations
from creepfit.mechanics.loading import Array, Indices, LoadHistory
from creepfit.mechanics.long_history import Superposition
from creepfit.models.logarithmic import Logarithm
from creepfit.models.model import Dashpot, Kelvin
from creepfit.models.power_family import T0, PowerFamily
from creepfit.units import HOUR

EXPONENTS = (0.15, 0.17)
"""Exponents whose difference is the way in which two curves of a material differ; plastics have 0.05 to 0.3."""

DECADE_BEYOND = float(np.log1p(20.0) + np.expm1(-20.0))

LATE = ((0.01, 1e-4), (0.05, 0.05))
"""Scales of what the models may miss of a known run a decade after the tested specimen's last reading, in either way of
`late_columns`, as a share of its deformation: next to nothing and no flow, which models have of their own, or four times
the discrepancy of a forecast without known runs, as likely beforehand; its readings tell. With the large one alone what two
curves of a model differ by was in part taken for what the models miss, and three years were forecast 1.6 % too high."""


def beyond(loads: Superposition, last: float) -> Array:
    """log10(1 + x) - (1 - exp(-x))/ln 10 at x = 2 t/t_last, scaled to 1 at ten times t_last, superposed; shape (T,).

    It is x^3/14 for small x, so next to nothing within the data, and grows with the logarithm beyond; being made of
    a logarithm and a Kelvin unit it superposes like any other creep function.
    """
    t0 = last / 2.0
    column = loads.column(Logarithm(t0), shortest=t0) - loads.column(Kelvin(), np.array([t0]))[0]
    return np.asarray(column / DECADE_BEYOND)


def late_columns(loads: Superposition, last: float) -> Array:
    """Two ways to grow after `last` [s]: `beyond`, and flow; each 1 at ten times that, superposed; shape (2, T)."""
    t0 = last / 2.0
    flow = loads.column(Dashpot()) * (HOUR / t0) - loads.column(Kelvin(), np.array([t0]))[0]
    return np.array([beyond(loads, last), flow / (20.0 + np.expm1(-20.0))])


def steeper_column(loads: Superposition, last: float) -> Array:
    """What a larger exponent takes from a curve before `last` [s] and adds after, 1 in a decade; superposed, shape (T,)."""
    shapes = np.array(EXPONENTS)
    grown = loads.column(PowerFamily(), shapes, shortest=T0)
    whole = PowerFamily().value(last * np.array([1.0, 10.0]), shapes[:, None])
    unit = grown / whole[:, :1]
    return np.asarray((unit[1] - unit[0]) / float(np.diff(whole[:, 1] / whole[:, 0])[0]))


def steeper_mean(block: Observations, mean: Array) -> Array:
    """What a larger exponent changes of a mean deformation (T,) at the readings: by its creep so far in the next decade."""
    under = np.flatnonzero(block.loads.load() != 0.0)
    crept = abs(float(mean[under[-1]] - mean[under[0]]))
    last = float(np.maximum(block.times[under[-1]], 1e-3))
    return np.asarray(crept * steeper_column(block.loads, last) / block.load)


def departure_columns(loads: Superposition, last: float) -> Array:
    """All ways in which a specimen departs: `late_columns` and `steeper_column`, shape (3, T)."""
    return np.vstack([late_columns(loads, last), steeper_column(loads, last)])


@dataclass(frozen=True, eq=False)
class OwnCurve:
    """Of n draws: amplitudes, ln compliance over the known specimens' at its last reading, and what these go on with.

    `late` is by how much more than the models each known specimen grew in the decade after that time, as a share of its
    deformation then, in either way of `late_columns`: shape (known, n, 2). `then` is its own deformation at that time in mm
    under the reference load, `share` that of creep in it and `known_share` (known, n) in theirs, `growth` by how much of
    itself the common curve's creep grows in the next decade, `steeper` by how much more than the common curve it creeps in
    the next decade by its readings, as a share of its creep, and `scale` how large a departure is by them, over the stated.
    """

    instant: Array
    creep: Array
    difference: Array
    then: Array
    share: Array
    known_share: Array
    growth: Array
    steeper: Array
    scale: Array
    late: Array


@dataclass(frozen=True, eq=False)
class TestedSpecimen:
    """One of the specimens that a mixture is of, whose own curve is asked for.

    Attributes
    ----------
    likelihood : SpecimensLikelihood
        With what the models may miss of the known runs in its covariance.
    plain : StackedObservations
        The same readings without that.
    last : float
        Its last reading, s: from there on its curve may depart from that of its material.
    departures, log_prior : ndarray, shape (S,)
        Standard deviations that may be of that, a decade later, as a share of its creep so far, and the log probability of
        each by the known runs: most specimens of a material go on alike, a few do not. It is an exponent of its own, of
        which, and of its size, its own readings tell too.
    stated : float
        The one that the likelihood has.
    per_difference : float
        The same for the stated one as a share of its deformation, for each unit of ln compliance by which it differs from
        the other specimens at its last reading; larger or smaller as the departure is.
    weights : ndarray, shape (known,)
        Of the known specimens, together 1.
    reverts : float
        By how much of the way what its readings show of its own, a share of creep or an exponent that differs from theirs,
        goes back to them in what follows, 0 to 1.
    late : tuple of float
        See `LATE`.
    number : int
        Of the specimen.
    """

    likelihood: SpecimensLikelihood
    plain: StackedObservations
    last: float
    departures: Array
    log_prior: Array
    stated: float
    per_difference: float
    weights: Array
    reverts: float = 0.0
    late: tuple[float, float] = LATE[-1]
    number: int = 0

    @property
    def departure(self) -> float:
        """The middle one of what may be, by their logarithms and by the known runs."""
        return float(np.exp(np.average(np.log(self.departures), weights=np.exp(self.log_prior))))

    @property
    def others(self) -> list[int]:
        """Numbers of the known specimens."""
        return [i for i in range(self.plain.count) if i != self.number]

    @cached_property
    def _without_zeros(self) -> Likelihood:
        return Likelihood(self.plain, self.likelihood.priors)

    @cached_property
    def _beyond(self) -> Array:
        """What late growth of 1 mm in a decade under the first run's reference load adds to each reading, shape (T, 2)."""
        runs = [unit * late_columns(run.loads, self.last) / run.load for run, _, unit in self.plain.by_run()]
        return np.concatenate(runs, axis=1).T

    @cached_property
    def _steeper(self) -> Array:
        """What a decade's further creep of 1 mm by a larger exponent adds to each of its own readings, shape (own T,)."""
        rows = self.plain.rows_of(self.number)
        runs = [unit * steeper_column(run.loads, self.last) / run.load for run, _, unit in self.plain.by_run()]
        return np.concatenate(runs)[rows]

    def curve(
        self,
        member: Member,
        nodes: Nodes,
        where: Indices,
        average: tuple[Array, Array],
        scatters: tuple[Array, Array],
        noise: Array,
        uniform: Array,
        normal: Array,
        chosen: Array,
        own_normal: Array,
    ) -> OwnCurve:
        """Its curve in n draws of one member.

        Parameters
        ----------
        member : Member
        nodes, where : Nodes, ndarray of int (n,)
            The different nodes among the draws', and which of them each draw has.
        average, scatters : pairs of ndarray (n,)
            The average specimen's amplitudes; scatter of all deformation, and of creep besides.
        noise : ndarray, shape (n,)
        uniform : ndarray, shape (1 + known, 2, n)
            Uniform numbers, for its own amplitudes first.
        normal : ndarray, shape (known, n, 2)
        chosen, own_normal : ndarray, shape (n,)
            Uniform numbers for the size of its departure, normal ones for the departure.
        """
        unit = UnitCreep(member, self.plain.span)
        projected = self.likelihood.projected(unit, nodes).take(where)
        columns = unit.columns_at(self.plain, nodes)
        crept, later_on = unit.columns(nodes, LoadHistory.held(1.0), self.last * np.array([1.0, 10.0]))[where].T

        def drawn(specimen: int, numbers: Array) -> tuple[Array, Array]:
            return projected.own(specimen, *average, scatters, noise**-2.0).draw(numbers[0], numbers[1])

        instant, creep = drawn(self.number, uniform[0])
        rows = self.plain.rows_of(self.number)
        white = self._without_zeros.transform[rows]
        left = self._without_zeros.values[rows] - np.outer(instant, self._without_zeros.instant[rows])
        left -= creep[:, None] * (columns @ white.T)[where]
        steep = white[:, rows] @ self._steeper
        so_far = creep * crept / noise
        tells, along = so_far**2 * float(steep @ steep), so_far * (left @ steep) / noise
        size = self._size(tells, along, chosen)
        tightness = tells + size**-2.0
        steeper = along / tightness + own_normal / np.sqrt(tightness)
        known, shares, late, before = [], [], [], np.diag(np.square(self.late) ** -1.0)
        for k, i in enumerate(self.others):
            at_once, later = drawn(i, uniform[1 + k])
            then = np.maximum(at_once + later * crept, 1e-300)
            known.append(np.log(then))
            shares.append(later * crept / then)
            rows = self.plain.rows_of(i)
            white = self._without_zeros.transform[rows]
            shown = np.outer(at_once, self._without_zeros.instant[rows]) + later[:, None] * (columns @ white.T)[where]
            columns_late = white @ self._beyond
            # random columns about the specimen's own curve: normal, given the readings that are left
            precision = np.multiply.outer((then / noise) ** 2, columns_late.T @ columns_late) + before
            along = (self._without_zeros.values[rows] - shown) @ columns_late * (then / noise**2)[:, None]
            covariance = np.linalg.inv(precision)
            mean = np.einsum("nij,nj->ni", covariance, along)
            grew = mean + np.einsum("nij,nj->ni", np.linalg.cholesky(covariance), normal[k])
            # nothing flows back; the two ways stand in for each other, so one without flow grows as the readings then say
            back = np.minimum(grew[:, 1], 0.0)
            grew[:, 0] -= covariance[:, 0, 1] / covariance[:, 1, 1] * back
            grew[:, 1] -= back
            late.append(grew)
        own = np.maximum(instant + creep * crept, 1e-300)
        difference = np.log(own) - np.mean(known, axis=0)
        growth = later_on / crept - 1.0
        share = creep * crept / own
        scale = size / self.stated
        return OwnCurve(instant, creep, difference, own, share, np.array(shares), growth, steeper, scale, np.array(late))

    def _size(self, tells: Array, along: Array, chosen: Array) -> Array:
        """Size of its departure in draws (n,), from uniform numbers, its readings' precision and that times their mean."""
        variance = self.departures[:, None] ** 2
        logs = self.log_prior[:, None] - 0.5 * np.log1p(variance * tells) + 0.5 * along**2 / (tells + 1.0 / variance)
        below = np.cumsum(np.exp(logs - logs.max(axis=0)), axis=0)
        return np.asarray(self.departures[(below < chosen * below[-1]).sum(axis=0)])


def with_departures(
    stacked: StackedObservations, mean: Array, last: float, departure: float, late: tuple[float, float]
) -> StackedObservations:
    """The same readings, with what the models may miss of all specimens but the first in their covariance, and the first's
    own exponent.

    Parameters
    ----------
    stacked : StackedObservations
    mean : ndarray, shape (T,)
        Mean deformation at each reading.
    last : float
        Time from which on models may miss, s.
    departure, late : float, tuple of float
        See `TestedSpecimen.stated` and `LATE`.
    """
    columns = np.zeros((stacked.times.size, stacked.count, 2))
    for block, rows, number in zip(stacked.blocks, stacked.slices, stacked.specimens, strict=True):
        loaded = block.loads.load() != 0.0
        apart = np.where(loaded, np.abs(np.log(np.maximum(block.times, 1e-3) / last)), np.inf)
        then = abs(float(mean[rows][int(np.argmin(apart))]))
        columns[rows, number] = then * late_columns(block.loads, last).T * late / block.load
    others = np.delete(columns, int(stacked.specimens[0]), axis=1).reshape(stacked.times.size, -1)
    own = np.zeros((stacked.times.size, 1))
    for block, rows, number in zip(stacked.blocks, stacked.slices, stacked.specimens, strict=True):
        if number == stacked.specimens[0]:
            own[rows, 0] = departure * steeper_mean(block, mean[rows])
    random = np.hstack([others, own]) / stacked.noise.stated
    return replace(stacked, noise=replace(stacked.noise, random=random))
