"""How creep depends on temperature: growth of the instantaneous and of the creep part, against a shift of the clock.

Temperature is a warp before the columns like any other: a factor on the instantaneous column, one on the creep columns,
and a clock. For given numbers of these the runs are a pooled linear problem, whose evidence decides. Two laws of as many
numbers compete: *rise*, where both parts grow log-linearly at rates of their own and time stays plain, and *shift*, where
both grow at one rate and the clock runs faster (Arrhenius, or WLF where all of it lies above a glass transition).
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np
from scipy.special import expit, logsumexp

from creepfit.errors import FitError
from creepfit.inference.columns import Observations, observations
from creepfit.inference.components import members_of
from creepfit.inference.covariance_scatter import covariance_mixture, mean_deformation, mean_of, scattered, without_zeros
from creepfit.inference.likelihood import Likelihood
from creepfit.inference.mixture import Mixture
from creepfit.inference.model_fit import fit_model
from creepfit.inference.noise import noise_of
from creepfit.inference.posterior import posteriors_of
from creepfit.inference.priors import Priors
from creepfit.inference.scatter import SCATTER, Pool
from creepfit.inference.stacking import StackedObservations, specimen_names, stack
from creepfit.inference.stress_law import GridPosterior
from creepfit.inference.tested_temperature import new_zero_at_steps, reading_temperatures, tested_climate, transition_of
from creepfit.inference.warmth import CLOCKS, PRIOR, SPREAD, Growth
from creepfit.mechanics.loading import Array
from creepfit.mechanics.temperature import ARRHENIUS, WLF_REACH, Climate, ShiftLaw, WarmClock
from creepfit.models.model import CreepModel, Instant
from creepfit.models.power_family import PowerFamilyModel
from creepfit.records.run import Run

ACTIVATION, ACTIVATION_SPREAD = 100.0, 0.6
"""Apparent activation energy, kJ/mol: median of its prior and standard deviation of its logarithm. The published curves
that overlap at all when shifted gave 24 to 181 kJ/mol."""

MeanParts = tuple[Array, Array]
"""Instantaneous and creep part of the mean deformation at each reading, shape (T,) each."""

ACTIVATIONS = (15.0, 500.0)
"""Range of activation energies that is searched, kJ/mol."""

C1_FACTOR, C1_SPREAD, C1_FACTORS = 1.0, 0.6, (0.15, 5.0)
"""The same for what the universal c1 of Williams, Landel and Ferry is multiplied by: constants that were fitted to one
polymer each have a c1 of 11 to 34 (Ferry, Viscoelastic Properties of Polymers, from memory)."""

RECENTRED = 2
"""How often the growth is made linear anew around what the readings say of it: exp(x) is not 1 + x over 20 K."""

MOST_RISE = 12.0
"""Logarithm of how much more either part can be at one temperature than at another: nobody's plastic is near it."""

COARSE, HALVINGS, SMOOTH, FINEST, PER_CELL = 9, 5, 1.5, 0.15, 12
"""Points over the whole range, times that cells are halved, what a cell may rise by before it is, the width to which those
beside the top are, and points in a cell between which a posterior counts as linear."""

NEGLIGIBLE = 5.0
"""Cells less probable than the top by exp(-NEGLIGIBLE) are not looked into."""

FEW = 400
"""Draws that are enough for a mean to be linear around."""


@dataclass(frozen=True, eq=False)
class WarmedObservations(StackedObservations):
    """Stacked observations with what temperature does to each reading: factors of both parts, shape (T,)."""

    instant_factor: Array
    creep_factor: Array

    def instant_column(self) -> Array:
        return self.instant_factor * super().instant_column()

    def by_run(self) -> Sequence[tuple[Observations, float | None, float | Array]]:
        return [
            (b, age, unit * self.creep_factor[s]) for (b, age, unit), s in zip(super().by_run(), self.slices, strict=True)
        ]

    def response(self, model: CreepModel, shapes: Array, clock: Callable[[Array], Array] | None = None) -> Array:
        out = super().response(model, shapes, clock)
        for k, term in enumerate(model.terms):
            out[:, :, k] *= self.instant_factor if isinstance(term, Instant) else self.creep_factor
        return out


@dataclass(frozen=True, eq=False)
class TemperatureData:
    """Runs of one material at two temperatures or more, with their observations.

    `degrees` holds the temperature of each run's readings in degC, one array a run.
    """

    runs: tuple[Run, ...]
    observed: tuple[Observations, ...]
    degrees: tuple[Array, ...]
    climates: tuple[Climate, ...]
    priors: Priors
    reference: float
    law: ShiftLaw

    @classmethod
    def of(cls, runs: Sequence[Run], priors: Priors, reference: float) -> TemperatureData:
        """Prepare runs; all of them have a temperature.

        Parameters
        ----------
        runs : sequence of Run
        priors : Priors
        reference : float
            degC at which amplitudes are quoted and the clock shows plain time.
        """
        observed, degrees, climates = [], [], []
        for run in runs:
            at = reading_temperatures(run)
            one = observations(run)
            one = replace(one, noise=noise_of(run, one.deformation, temperature=False))
            observed.append(new_zero_at_steps(one, at))
            degrees.append(at)
            climates.append(tested_climate(run, at))
        law = shift_law(runs, np.concatenate(degrees))
        return cls(tuple(runs), tuple(observed), tuple(degrees), tuple(climates), priors, reference, law)

    def stacked(self, centre: Array, strength: float) -> StackedObservations:
        """All runs as one problem, with both parts growing at given rates per K on a given clock."""
        blocks = self.observed
        if strength > 0.0:
            clocks = [WarmClock(c, self.reference, strength, self.law) for c in self.climates]
            blocks = tuple(
                replace(o, times=clock(o.times), history=o.history.warped(clock))
                for o, clock in zip(blocks, clocks, strict=True)
            )
        whole = stack(blocks, specimen_names(self.runs), [r.age for r in self.runs])
        above = np.concatenate(self.degrees) - self.reference
        given = {f.name: getattr(whole, f.name) for f in fields(whole)}
        return WarmedObservations(
            **given, instant_factor=np.exp(centre[0] * above), creep_factor=np.exp((centre[0] + centre[1]) * above)
        )

    def under(self, centre: Array, strength: float, mean: MeanParts | None = None) -> LawFit:
        """Both growths free around a centre, on one clock: their evidence and, from it, their draws.

        Parameters
        ----------
        centre : ndarray, shape (2,)
            Growth per K of both parts, and how much faster the creep part grows, around which they are linear.
        strength : float
            Of the clock, in the units of the law; with one above zero both parts grow alike.
        mean : MeanParts, optional
            Mean deformation at each reading, where a caller has it: it is the readings' own, by whatever law.
        """
        stacked = self.stacked(centre, strength)
        instant, creep = mean = _mean_parts(stacked) if mean is None else mean
        above = np.concatenate(self.degrees) - self.reference
        columns = np.stack([above * (instant + creep), above * creep], axis=1)[:, : 1 if strength > 0.0 else 2]
        prior, spread = PRIOR[: columns.shape[1]], SPREAD[: columns.shape[1]]
        away = prior - centre[: columns.shape[1]]
        noise = stacked.noise
        random = columns * (spread / noise.stated)
        noise = replace(noise, correlation=noise.correlation + random @ random.T)
        free = replace(stacked, noise=noise, values=stacked.values - columns @ away)
        return LawFit(self, free, columns, centre[: columns.shape[1]] + away, strength, mean)

    def rise(self) -> LawFit:
        """Growth of both parts on plain time; what the readings say of it is where it is linear around.

        Raises
        ------
        FitError
            Where nothing that grows with temperature is like the readings.
        """
        centre, apart = PRIOR, float(np.ptp(np.concatenate(self.degrees)))
        for _ in range(RECENTRED):
            centre = self.under(centre, 0.0).mean()
            if float(np.abs(centre).max()) * apart > MOST_RISE:
                raise FitError(
                    f"between runs {apart:.3g} K apart the deformation would grow by more than exp({MOST_RISE:g}), as no "
                    "plastic's does; look at sizes, loads and units of each run"
                )
        return self.under(centre, 0.0)

    def shift(self, mean: MeanParts) -> ShiftPosterior:
        """Strength of a clock, with one growth of both parts besides; `mean` as a fit of growth alone has it."""
        usual, spread, searched = (
            (ACTIVATION, ACTIVATION_SPREAD, ACTIVATIONS) if self.law == ARRHENIUS else (C1_FACTOR, C1_SPREAD, C1_FACTORS)
        )
        centres: dict[float, Array] = {}

        def evidence(log_strength: float) -> float:
            return self._at(log_strength, centres, mean).log_evidence

        def prior(x: Array) -> Array:
            off = (x - np.log(usual)) / spread
            return np.asarray(-0.5 * off**2 - np.log(spread * np.sqrt(2.0 * np.pi)))

        strength = _peaked_posterior(evidence, np.log(np.geomspace(*searched, COARSE)), prior)
        shares = [strength.quantile((k + 0.5) / CLOCKS) for k in range(CLOCKS)]
        return ShiftPosterior(strength, tuple(self._at(x, centres, mean) for x in shares))

    def _at(self, log_strength: float, centres: dict[float, Array], parts: MeanParts) -> LawFit:
        """Growth under a clock, linear around where it was for the nearest clock looked at."""
        near = min(centres, key=lambda x: abs(x - log_strength), default=None)
        fit = self.under(PRIOR * [1.0, 0.0] if near is None else centres[near], float(np.exp(log_strength)), parts)
        mean = np.append(fit.mean(), 0.0)
        centres[log_strength] = mean
        return self.under(mean, float(np.exp(log_strength)), parts) if near is None else fit


@dataclass(frozen=True, eq=False)
class LawFit:
    """Growth of both parts under one clock, as random columns of the pooled problem.

    Attributes
    ----------
    observed : StackedObservations
        With the columns in its covariance.
    columns : ndarray, shape (T, K)
        What a growth of 1 per K adds to each reading; the second, where there is one, to the creep part alone.
    prior : ndarray, shape (K,)
        Mean of their prior.
    strength : float
        Of the clock, 0 for plain time.
    parts : MeanParts
        Mean deformation at each reading.
    """

    data: TemperatureData
    observed: StackedObservations
    columns: Array
    prior: Array
    strength: float
    parts: MeanParts

    @cached_property
    def pool(self) -> Pool:
        """Posterior of the power family; it is flexible enough within the data, and quick."""
        alone = self.data.priors.with_one_model()
        if self.observed.count > 1:
            return covariance_mixture(self.observed, self._level, alone, ageing=False)
        shared = Likelihood(self.observed, alone)
        members = members_of(self.observed, alone, None)
        posteriors = tuple(posteriors_of([(m, shared) for m in members]))
        weights = np.array([p.member.weight * np.exp(p.log_evidence - posteriors[0].log_evidence) for p in posteriors])
        logs = [np.log(p.member.weight) + p.log_evidence for p in posteriors]
        return Pool(Mixture(posteriors, weights / weights.sum(), self.observed, alone), float(logsumexp(logs)))

    @property
    def log_evidence(self) -> float:
        return self.pool.log_evidence

    @property
    def _level(self) -> Array:
        """Mean deformation at each reading, for the scatter between specimens."""
        return self.parts[0] + self.parts[1]

    def mean(self) -> Array:
        """Posterior mean of the growths per K, shape (K,)."""
        return np.asarray(self.growths(FEW, 0).mean(axis=0))

    def growths(self, count: int, seed: int) -> Array:
        """Draws of the growths per K, shape (N, K).

        Given a draw of everything else they are normal: the best linear unbiased prediction of mixed models (Robinson,
        Stat. Sci. 6 (1991) 15, from memory) with its covariance.
        """
        draws = replace(self.pool.mixture, average=True).draws(count, seed)
        rest = self.observed.values - mean_of(draws, self.observed)
        size = (SPREAD[: self.columns.shape[1]] / self.observed.noise.stated) ** 2
        normal = np.random.default_rng(seed).standard_normal((draws.count, size.size))
        ratio = np.round(draws.scatter / draws.noise * self.observed.noise.stated, 12)
        out = np.empty((draws.count, size.size))
        for r in np.unique(ratio):
            rows = np.flatnonzero(ratio == r)
            spread = scattered(self.observed, self._level, float(r)) if r > 0.0 else self.observed
            gain = size[:, None] * (self.columns.T @ without_zeros(spread))
            left = np.diag(size) - gain @ self.columns * size
            sizes, axes = np.linalg.eigh(0.5 * (left + left.T))
            root = axes * np.sqrt(np.maximum(sizes, 0.0))
            out[rows] = rest[rows] @ gain.T + draws.noise[rows, None] * (normal[rows] @ root.T)
        return np.asarray(self.prior + out)

    def draws(self, count: int, seed: int) -> Growth:
        """Draws of what a rise of temperature does."""
        growths = self.growths(count, seed)
        both = growths[:, 0]
        creep = both + growths[:, 1] if growths.shape[1] > 1 else both
        return Growth(both, creep, np.full(count, self.strength), self.data.law)


@dataclass(frozen=True, eq=False)
class ShiftPosterior:
    """Posterior of the logarithm of a clock's strength, and growths under a few equally probable ones."""

    strength: GridPosterior
    fits: tuple[LawFit, ...]

    @property
    def log_evidence(self) -> float:
        return self.strength.log_evidence

    def draws(self, count: int, seed: int) -> Growth:
        """Draws of what a rise of temperature does, in equal parts from each strength."""
        counts = [count // CLOCKS + (k < count % CLOCKS) for k in range(CLOCKS)]
        parts = [f.draws(n, seed + k) for k, (f, n) in enumerate(zip(self.fits, counts, strict=True)) if n]
        return Growth.joined(parts)


@dataclass(frozen=True, eq=False)
class TemperaturePosterior:
    """Both laws, each as likely as the other before."""

    rise: LawFit
    shift: ShiftPosterior

    @property
    def probability_shift(self) -> float:
        """Of a shift of the clock against growth alone."""
        return float(expit(self.shift.log_evidence - self.rise.log_evidence))

    def draws(self, count: int, seed: int) -> Growth:
        """Draws of both laws, of each as many as it is probable, in an order of their own."""
        shifted = round(count * self.probability_shift)
        parts = [law.draws(n, seed) for law, n in ((self.rise, count - shifted), (self.shift, shifted)) if n]
        return Growth.joined(parts).take(np.random.default_rng(seed + 1).permutation(count))


def temperature_posterior(data: TemperatureData) -> TemperaturePosterior:
    """Fit both laws."""
    rise = data.rise()
    return TemperaturePosterior(rise, data.shift(rise.parts))


def shift_law(runs: Sequence[Run], degrees: Array) -> ShiftLaw:
    """Williams, Landel and Ferry's where all temperatures (T,) lie in its reach above a given glass transition, else
    Arrhenius's."""
    transition = transition_of(runs)
    if transition is None or degrees.min() < transition or degrees.max() > transition + WLF_REACH:
        return ARRHENIUS
    return ShiftLaw(transition)


def _mean_parts(observed: StackedObservations) -> MeanParts:
    """Instantaneous and creep part of the mean deformation at each reading, shape (T,) each."""
    model = fit_model(PowerFamilyModel(), scattered(observed, mean_deformation(observed), SCATTER))
    response = observed.response(model.model, np.array([model.shape]))[0] * np.array(model.amplitudes)
    instant = [isinstance(term, Instant) for term in model.model.terms]
    return response[:, instant].sum(axis=1), response[:, np.logical_not(instant)].sum(axis=1)


def _peaked_posterior(
    log_evidence: Callable[[float], float], grid: Array, log_prior: Callable[[Array], Array]
) -> GridPosterior:
    """Posterior of one number whose evidence is a narrow peak on wide slopes: cells beside the top and on it are halved."""
    from scipy.interpolate import PchipInterpolator  # slow to import, and few commands need it

    points = {float(x): log_evidence(float(x)) for x in grid}
    for _ in range(HALVINGS):
        x = np.array(sorted(points))
        joint = log_prior(x) + np.array([points[p] for p in x])
        high = np.maximum(joint[1:], joint[:-1]) > joint.max() - NEGLIGIBLE
        steep = np.abs(np.diff(joint)) > SMOOTH
        beside = np.zeros(x.size - 1, dtype=bool)
        top = int(np.argmax(joint))
        beside[max(top - 1, 0) : top + 1] = True
        wide = np.diff(x) > 1e-3
        chosen = np.flatnonzero(high & (steep | (beside & (np.diff(x) > FINEST))) & wide)
        if not chosen.size:
            break
        for k in chosen:
            middle = float(0.5 * (x[k] + x[k + 1]))
            points[middle] = log_evidence(middle)
    x = np.array(sorted(points))
    joint = log_prior(x) + np.array([points[p] for p in x])
    # finer where the points are: a narrow peak keeps its shape
    shown = np.unique(np.concatenate([np.linspace(a, b, PER_CELL + 1) for a, b in itertools.pairwise(x)]))
    smooth = PchipInterpolator(x, joint)(shown)
    density = np.exp(smooth - smooth.max())
    whole = float(np.trapezoid(density, shown))
    return GridPosterior(shown, density / whole, float(np.log(whole) + smooth.max()), points[float(x[0])])
