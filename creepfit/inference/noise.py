"""What a reading can be wrong by: the gauge, its drift, the temperature, as one covariance with one unknown scale."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import gammaln

from creepfit.errors import FitError
from creepfit.mechanics.loading import Array
from creepfit.records.run import Run
from creepfit.units import DAY

GAUGE_DEGREES = 5.0
"""How much the stated gauge noise is worth, in degrees of freedom, beside repeated readings and in alarms: with 5 the
scale may be 0.6 to 1.7 times the stated one (judgement)."""

SCALE_DEGREES, SCALE_CENTRE, UNSTEADY = 2.0, 0.5, 0.002
"""The prior of the scale has a longer upper tail, as gauges are rather worse than they claim: two degrees of freedom around
the root of the squares of half of what is stated and of 0.002 of the deformation. No gauge's statement has that second
part: 0.4 K of a room, where a plastic gives way by 0.5 % per K, and what published curves are off a smooth line. With it a
statement half as large costs the intervals of three readings one point of their level, without it six."""

DEFAULT_DRIFT = 0.5
"""Random walk assumed where no drift is given, in gauge noise per square root of a day: small, but not absent.
Ignoring a drift of one gauge noise lowers the coverage of a 95 % interval to 0.75 (own simulation)."""

MODULUS_PER_KELVIN = 0.005
"""Standard deviation of the relative change of compliance per K around room temperature (common practice, no source)."""

REPEATS_WORTH_AT_MOST = 10.0
"""Scatter within a row tells the gauge from one day to the next only in part, so its weight is capped."""

UNAVERAGED = 1e-4
"""Of the deformation: what no averaging takes away from a mean of thousands of readings, be it 0.02 K of the room."""

ALONE = 0.9
"""Probability, before the readings, that a logger's readings err alone, so that the scatter within bins is the scale. Where
they do not, be it a room that warms by day, the means are off by more and tell so: 0.5 comes to the same there."""

MOST_WITHIN = 1000.0
"""Degrees of freedom that the scatter within the bins of a logger counts at most: as many as the longest runs have whose
every reading can be fitted, and no more than a grid of scales shows."""

LEAST_SDS = 3.0
"""How many of its own standard errors below the scatter within the bins of a logger the scale may lie. With 1.64 it came
out 3 % higher than from every reading, and upper ends of a year up to a sixth of the interval off."""


@dataclass(frozen=True, eq=False)
class Noise:
    """Covariance of the readings: scale^2 times `correlation`, scale near `stated`.

    Attributes
    ----------
    stated : float
        Standard deviation of a single reading as the gauge data give it, mm (or strain).
    degrees : float
        What is behind `stated`, in degrees of freedom: see `prior_of` for the scale's prior.
    correlation : ndarray, shape (T, T)
        Covariance over scale^2: repeats on the diagonal, drift and temperature off it.
    drift, drift_source : float, str
        Random walk in mm per square root of a day, and where the number comes from.
    least : float
        Lowest scale that is looked at, mm: what a logger's readings scatter by within their bins leaves no doubt of.
    within : tuple of float
        What a logger's readings scatter by within their bins, mm, and its degrees of freedom, without those in `degrees`.
    random : ndarray, shape (T, R), optional
        Columns, over the scale, that come in with a random factor each, normal with variance 1: scatter between specimens.
        They are kept apart from `correlation`, whose root they would spoil where they are a million times the noise.
    """

    stated: float
    degrees: float
    correlation: Array
    drift: float
    drift_source: str
    least: float = 0.0
    within: tuple[float, float] = 0.0, 0.0
    random: Array | None = None

    def prior_of(self, deformation: float) -> tuple[float, float]:
        """Centre [mm or strain] and degrees of freedom of the scaled inverse chi-square prior of the scale.

        `deformation` [mm or strain] is how far the readings moved. What repeated readings showed counts in full beside
        what is said of the gauge.
        """
        seen = max(self.degrees - GAUGE_DEGREES, 0.0)
        degrees = SCALE_DEGREES + seen
        expected = (SCALE_CENTRE * self.stated) ** 2 + (UNSTEADY * deformation) ** 2
        return float(np.sqrt((SCALE_DEGREES * expected + seen * self.stated**2) / degrees)), degrees

    def log_prior(self, scales: Array, deformation: float) -> Array:
        """Log density of the logarithm of the scale, shape (S,).

        Of a logger a mixture: where its readings err alone the scatter within bins counts in full, as it would were they
        not averaged.
        """
        centre, degrees = self.prior_of(deformation)
        apart = _scaled_inverse_chi_square(scales, centre, degrees)
        spread, free = self.within
        if free == 0.0:
            return apart
        both = float(np.sqrt((degrees * centre**2 + free * spread**2) / (degrees + free)))
        alone = _scaled_inverse_chi_square(scales, both, degrees + free)
        return np.asarray(np.logaddexp(np.log(ALONE) + alone, np.log(1.0 - ALONE) + apart))

    def whiten(self, columns: Array) -> Array:
        """Return L^-1 columns with L L' the whole covariance over scale^2; columns of shape (..., T, K) or (T,)."""
        return np.asarray(self._whitener @ columns)

    def coloured(self, white: Array) -> Array:
        """Undo `whiten`."""
        if self._random is not None:
            directions, sizes = self._random
            white = white + directions @ (
                (sizes - 1.0)[:, None] * (directions.T @ white.reshape(white.shape[0], -1))
            ).reshape(-1, *white.shape[1:])
        return np.asarray(self._root @ white)

    @cached_property
    def _root(self) -> Array:
        try:
            return np.asarray(np.linalg.cholesky(self.correlation))
        except np.linalg.LinAlgError:  # a drift, or what warmth does, is a hundred million times the gauge's noise
            raise FitError(
                "what the readings may be wrong by differs among them by more than numbers hold; look at the units of "
                "readings, sizes, drift and temperatures"
            ) from None

    def log_volume(self, zeros: Array) -> float:
        """What log evidence under two covariances over scale^2 differs by that `whiten` does not show, for zeros (T, Z)."""
        by_zero = np.linalg.qr(self.whiten(zeros), mode="r")
        return float(np.linalg.slogdet(self._whitener)[1] - np.linalg.slogdet(by_zero)[1])

    @cached_property
    def _whitener(self) -> Array:
        plain = np.linalg.inv(self._root)
        if self._random is None:
            return np.asarray(plain)
        directions, sizes = self._random
        return np.asarray(plain - directions @ ((1.0 - 1.0 / sizes)[:, None] * (directions.T @ plain)))

    @cached_property
    def _random(self) -> tuple[Array, Array] | None:
        """Directions, among whitened readings, of the random columns, and the standard deviation along each."""
        if self.random is None:
            return None
        white = np.linalg.solve(self._root, self.random)
        directions, sizes, _ = np.linalg.svd(white, full_matrices=False)
        return directions, np.sqrt(1.0 + sizes**2)


def noise_of(run: Run, deformation: Array, temperature: bool = True) -> Noise:
    """Noise of a run's readings.

    Parameters
    ----------
    run : Run
        The run.
    deformation : ndarray, shape (T,)
        Rough deformation at each used reading, mm; a temperature swing acts in proportion to it.
    temperature : bool
        Whether a temperature swing is noise; not where it is part of what is fitted.
    """
    gauge = run.gauge
    rounding = gauge.resolution**2 / 12.0
    single = gauge.repeatability**2 + rounding
    repeats = np.array([r.repeats for r in run.used], dtype=float)
    spread = np.array([r.spread or 0.0 for r in run.used])
    worth = min(float(np.sum(repeats - 1.0)), REPEATS_WORTH_AT_MOST)
    seen = float(np.sum((repeats - 1.0) * spread**2)) / max(float(np.sum(repeats - 1.0)), 1.0)
    variance = (GAUGE_DEGREES * single + worth * (seen + rounding)) / (GAUGE_DEGREES + worth)
    stated = float(np.sqrt(variance))

    times = np.array([r.time for r in run.used])
    repeatable = max(variance - rounding, 0.0)
    shared = rounding
    if run.logger is not None:
        shared = min(rounding, _shared_rounding(gauge.resolution, seen) + (UNAVERAGED * float(np.ptp(deformation))) ** 2)
    correlation = np.diag((repeatable / repeats + np.maximum(shared, rounding / repeats)) / variance)
    drift = DEFAULT_DRIFT * stated if gauge.drift is None else gauge.drift
    since = (times - times[0]) / DAY
    walk = np.minimum(since[:, None], since[None, :])
    walk -= np.diag([r.over / (6.0 * DAY) for r in run.used])  # the mean of a walk strays less than the walk at mean time
    correlation = correlation + (drift / stated) ** 2 * walk
    swing = temperature_swing(run)
    if temperature and swing is not None:
        column = MODULUS_PER_KELVIN * swing * deformation / stated
        correlation = correlation + np.outer(column, column)
    source = "given" if gauge.drift is not None else f"default, {DEFAULT_DRIFT:g} of the gauge noise"
    if run.logger is None:
        return Noise(stated, GAUGE_DEGREES + worth, correlation, drift, source)
    within = float(np.sqrt(seen)), min(float(np.sum(repeats - 1.0)) - worth, MOST_WITHIN)
    return Noise(stated, GAUGE_DEGREES + worth, correlation, drift, source, _least(repeats, seen), within)


def _scaled_inverse_chi_square(scales: Array, centre: float, degrees: float) -> Array:
    """Log density of the logarithm of scales whose squares have that distribution."""
    half, ratio = 0.5 * degrees, scales / centre
    density = -degrees * np.log(ratio) - half / ratio**2 + half * np.log(half) - gammaln(half) + np.log(2.0)
    return np.asarray(density)


def _shared_rounding(step: float, seen: float) -> float:
    """Variance of rounding to a step that averages keep, where readings vary by `seen` about a line, rounding and all.

    The error is a sawtooth of the reading; noise of standard deviation s leaves exp(-2 pi^2 k^2 s^2/step^2) of its k-th
    harmonic (Widrow's theory of quantization, from memory).
    """
    k = np.arange(1, 20)
    steps = max(seen - step**2 / 12.0, 0.0) / step**2 if step > 0.0 else 0.0
    return float(step**2 * np.sum(np.exp(-4.0 * np.pi**2 * steps * k**2) / (2.0 * np.pi**2 * k**2)))


def _least(repeats: Array, seen: float) -> float:
    """Lower end of the standard deviation that readings scatter by within their bins, `seen` their variance.

    The scale that means leave would be lower wherever the drift that is allowed for does not come: it is one scale for all.
    More it may well be, from one day to the next.
    """
    free = float(np.sum(repeats - 1.0))
    return float(np.sqrt(seen) * max(1.0 - LEAST_SDS / np.sqrt(2.0 * free), 0.0)) if free > 0.0 else 0.0


def temperature_swing(run: Run) -> Array | None:
    """Temperature at each used reading less their mean, K, shape (T,); None where fewer than two were taken down."""
    degrees = np.array([np.nan if r.temperature is None else r.temperature for r in run.used])
    known = np.isfinite(degrees)
    if known.sum() < 2:
        return None
    return np.where(known, degrees - degrees[known].mean(), 0.0)
