"""Temperature over time, and what it does to the speed of a material's clock.

A clock of temperature is a warp before the columns, as ageing is: creep functions are superposed on it exactly as on
plain time. Speeds multiply what the clock on the wall shows; a shift factor a_T of the literature is 1/speed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import exprel

from creepfit.mechanics.loading import Array
from creepfit.units import DAY, HOUR, YEAR

GAS_CONSTANT = 8.314
"""J/(mol K), to the digits with which the published shifts were worked out."""

KELVIN = 273.15

UNIVERSAL = (17.44, 51.6)
"""Williams, Landel and Ferry's constants c1 and c2 [K] referred to the glass transition (Rosen, Fundamental Principles of
Polymeric Materials, 1993, p. 339, as quoted)."""

WLF_REACH = 50.0
"""K above the glass transition up to which Williams, Landel and Ferry's law is taken (IUPAC Gold Book)."""

PIECES = 32
"""Pieces of a stretch between two temperatures. Within each the speed is taken to grow exponentially, which it nearly does
while the temperature grows linearly: over 20 K at 200 kJ/mol the clock is then right to 1e-4."""


def arrhenius_shift(temperature: Array, reference: float, activation: float) -> Array:
    """Speed of the material's clock at `temperature` relative to `reference` (both degC).

    exp(-(Ea/R)(1/T - 1/Tref)) with `activation` Ea in kJ/mol, R = 8.314 J/(mol K).
    Ea = 100 kJ/mol makes 30 degC run 2.55 times as fast as 23 degC (own arithmetic).
    """
    kelvin = np.asarray(temperature, dtype=float) + KELVIN
    return np.asarray(np.exp(-(activation * 1000.0 / GAS_CONSTANT) * (1.0 / kelvin - 1.0 / (reference + KELVIN))))


def wlf_shift(temperature: Array, reference: float, constants: tuple[float, float] = UNIVERSAL) -> Array:
    """Speed of the clock by Williams, Landel and Ferry: 10 to the c1 (T - Tr)/(c2 + T - Tr).

    Parameters
    ----------
    temperature : ndarray
        degC, from the glass transition to some 50 K above it (range: IUPAC Gold Book); see `WLF_REACH`.
    reference : float
        degC to which `constants` belong; the glass transition for the universal ones.
    constants : (float, float)
        c1 and c2 [K].

    Notes
    -----
    J. Am. Chem. Soc. 77 (1955) 3701, from memory; Crawford, Plastics Engineering, 3rd ed., eq. 2.77.
    """
    c1, c2 = constants
    above = np.asarray(temperature, dtype=float) - reference
    return np.asarray(10.0 ** (c1 * above / (c2 + above)))


@dataclass(frozen=True, eq=False)
class Climate:
    """Temperature over time: linear between knots, repeating where it has a period, else staying at its ends.

    Attributes
    ----------
    times : ndarray, shape (K,)
        Ascending, s since first loading (since the start of a cycle); two alike make a step.
    degrees : ndarray, shape (K,)
        degC.
    period : float or None
        Length of the cycle in s.
    """

    times: Array
    degrees: Array
    period: float | None = None

    @classmethod
    def constant(cls, temperature: float) -> Climate:
        """One temperature [degC] for good."""
        return cls(np.array([0.0]), np.array([float(temperature)]))

    @classmethod
    def daily(cls, low: float, high: float) -> Climate:
        """A swing over each day between two temperatures [degC], a straight line up and down; it begins at the lower."""
        return cls(np.array([0.0, 43200.0, DAY]), np.array([low, high, low], dtype=float), DAY)

    @classmethod
    def of_hours(cls, hours: Sequence[tuple[float, float]]) -> Climate:
        """Hours a year at each temperature, as (degC, hours) rows; what is missing to a year is at the lowest.

        The rows say nothing of when: the year is laid out from the coldest up to the hottest in its middle and back.
        """
        rows = sorted(hours)
        left = YEAR / HOUR - sum(h for _, h in rows)
        rows[0] = (rows[0][0], rows[0][1] + max(left, 0.0))
        half = [(t, 0.5 * h * HOUR) for t, h in rows]
        times, degrees, now = [], [], 0.0
        for temperature, length in [*half, *reversed(half)]:
            times += [now, now + length]
            degrees += [temperature, temperature]
            now += length
        return cls(np.array(times), np.array(degrees, dtype=float), now)

    @property
    def is_constant(self) -> bool:
        return bool(np.ptp(self.degrees) == 0.0)

    @property
    def highest(self) -> float:
        return float(self.degrees.max())

    @property
    def lowest(self) -> float:
        return float(self.degrees.min())

    @property
    def mean(self) -> float:
        """Mean over the cycle or over the knots, degC."""
        length = self.times[-1] - self.times[0]
        return float(np.trapezoid(self.degrees, self.times) / length) if length > 0.0 else float(self.degrees.mean())

    def at(self, times: Array) -> Array:
        """Temperature [degC] at times [s] of any shape."""
        t = np.asarray(times, dtype=float)
        return np.asarray(np.interp(t if self.period is None else np.mod(t, self.period), self.times, self.degrees))

    def hours_above(self, temperature: float) -> float:
        """Hours above a temperature [degC], in a cycle or between the first and the last knot."""
        d = self.degrees
        low, high = np.minimum(d[1:], d[:-1]), np.maximum(d[1:], d[:-1])
        rise = high - low
        share = np.where(rise > 0.0, (high - temperature) / np.where(rise > 0.0, rise, 1.0), high > temperature)
        return float(np.diff(self.times) @ np.clip(share, 0.0, 1.0) / HOUR)

    def highest_until(self, times: Array) -> Array:
        """Highest temperature [degC] from first loading up to times [s] of any shape."""
        t = np.asarray(times, dtype=float)
        if self.is_constant:
            return np.full(t.shape, self.degrees[0])
        within = np.clip(t, 0.0, None) if self.period is None else np.clip(t, 0.0, self.period)
        knots, degrees = self.times, self.degrees
        seen = (knots >= 0.0) & (knots <= (within.max() if within.size else 0.0))
        running = np.maximum.accumulate(np.concatenate([[float(self.at(np.zeros(1))[0])], degrees[seen]]))
        last = running[np.searchsorted(knots[seen], within, side="right")]
        whole = self.highest if self.period is not None else -np.inf
        now = np.maximum(last, self.at(np.clip(t, 0.0, None)))
        return np.where((self.period is not None) & (t >= (self.period or 0.0)), whole, now)

    @cached_property
    def _fine(self) -> tuple[Array, Array]:
        """Knots with further ones between them, so that a speed integrates well."""
        parts = np.arange(PIECES) / PIECES
        gaps, rises = np.diff(self.times), np.diff(self.degrees)
        t = (self.times[:-1, None] + gaps[:, None] * parts).ravel()
        d = (self.degrees[:-1, None] + rises[:, None] * parts).ravel()
        return np.append(t, self.times[-1]), np.append(d, self.degrees[-1])


@dataclass(frozen=True)
class ShiftLaw:
    """How the speed of a clock depends on temperature: one number, its strength, is left for the readings.

    Arrhenius, with the apparent activation energy in kJ/mol as strength; or, for a material that is above its glass
    `transition` [degC] throughout, Williams, Landel and Ferry from there with the universal constants, with what c1 is
    multiplied by as strength.
    """

    transition: float | None = None

    def speed(self, temperature: Array, reference: float, strength: float) -> Array:
        """Speed at temperatures [degC] against that at a reference [degC]."""
        g = self.transition
        if g is None:
            return arrhenius_shift(temperature, reference, strength)
        return np.asarray((wlf_shift(temperature, g) / wlf_shift(np.array(reference), g)) ** strength)


ARRHENIUS = ShiftLaw()


@dataclass(frozen=True, eq=False)
class WarmClock:
    """The time a material feels in a climate, in s at the reference temperature: the integral of its clock's speed.

    Parameters
    ----------
    climate : Climate
    reference : float
        degC at which the clock shows plain time.
    strength : float
        In the units of the law: kJ/mol by Arrhenius.
    law : ShiftLaw
    """

    climate: Climate
    reference: float
    strength: float
    law: ShiftLaw = ARRHENIUS

    def speed(self, temperature: Array) -> Array:
        """Speed at temperatures [degC]."""
        return self.law.speed(temperature, self.reference, self.strength)

    def __call__(self, t: Array) -> Array:
        """Felt time in s; times before t = 0 run on the plain clock."""
        t = np.asarray(t, dtype=float)
        forward = np.maximum(t, 0.0)
        felt = self._felt(forward) - self._felt(np.zeros(1))[0]
        return np.where(t > 0.0, felt, t)

    def _felt(self, t: Array) -> Array:
        climate = self.climate
        if climate.is_constant:
            return np.asarray(t * self.speed(climate.degrees[:1])[0])
        knots, speeds, total = self._integral
        if climate.period is None:
            before, after = np.minimum(t - knots[0], 0.0), np.maximum(t - knots[-1], 0.0)
            within = np.clip(t, knots[0], knots[-1])
            return np.asarray(self._within(within) + speeds[0] * before + speeds[-1] * after)
        cycles = np.floor(t / climate.period)
        return np.asarray(cycles * total[-1] + self._within(t - cycles * climate.period))

    def _within(self, t: Array) -> Array:
        """Integral from the first knot to times between the knots."""
        knots, speeds, total = self._integral
        k = np.clip(np.searchsorted(knots, t, side="right") - 1, 0, knots.size - 2)
        gap = knots[k + 1] - knots[k]
        part = (t - knots[k]) / np.where(gap > 0.0, gap, 1.0)
        growth = part * np.log(speeds[k + 1] / speeds[k])
        return np.asarray(total[k] + speeds[k] * (t - knots[k]) * exprel(growth))

    @cached_property
    def _integral(self) -> tuple[Array, Array, Array]:
        """Knots, speeds there, and the integral up to them; between knots the speed is taken to grow exponentially."""
        knots, degrees = self.climate._fine
        if self.climate.period is not None:
            knots = np.concatenate([[0.0], knots, [self.climate.period]])
            degrees = np.concatenate([degrees[:1], degrees, degrees[-1:]])
        speeds = self.speed(degrees)
        steps = speeds[:-1] * np.diff(knots) * exprel(np.log(speeds[1:] / speeds[:-1]))
        return knots, speeds, np.concatenate([[0.0], np.cumsum(steps)])
