"""Draws of the response at another temperature than the test's: growth of both parts, and the clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from creepfit.mechanics.loading import Array
from creepfit.mechanics.temperature import ARRHENIUS, Climate, ShiftLaw, WarmClock
from creepfit.units import YEAR, show_number

LOW, MIDDLE, HIGH = 0.98, 1.10, 1.30
"""Factor on the deformation by 10 K: 5 %, 50 % and 95 % of what is usual; see `UsualGrowth`."""

APART = 0.010
"""Standard deviation of how much faster per K the creep part may grow than the instantaneous one; in the same pairs the
creep from 1 to 10 000 h grew by 0.79 to 1.39 (10th to 90th percentile)."""

RATE, RATE_SPREAD = 0.0105, 0.0085
"""Growth of compliance per K, mean and standard deviation of its normal prior. 142 pairs of published creep curves of one
moulded thermoplastic at one stress and two temperatures (Lobato et al., Int. J. Solids Struct. (2024) 113014) grew by a
factor of 1.11 and 1.08 per 10 K at 100 h, 10th to 90th percentile 1.00 to 1.24."""

PRIOR, SPREAD = np.array([RATE, 0.0]), np.array([RATE_SPREAD, APART])
"""Of all deformation, and of how much faster the creep part grows."""

NINETY = 1.6449
"""Standard deviations from the middle of a normal to the ends of its central 90 %."""

OWN_SEED = 104729
"""Growths are drawn with a seed of their own, or they would go hand in hand with the amplitudes."""

HOTTEST = 3.0
"""K below the highest temperature of a climate that still count as its hottest."""

MOST = 100.0
"""Logarithm of a factor beyond which it is cut off: of runs that contradict each other some draws overflowed."""

CLOCKS = 5
"""Strengths of a clock, equally probable, that stand for a posterior's: each takes a superposition of its own."""


@dataclass(frozen=True, eq=False)
class Growth:
    """Draws of what a rise of temperature does.

    Attributes
    ----------
    instant, creep : ndarray, shape (N,)
        Growth of the logarithm of the instantaneous deformation and of the creep per K.
    strength : ndarray, shape (N,)
        Of the clock's dependence on temperature, in the units of `law`; 0 for a clock that shows plain time.
    law : ShiftLaw
    """

    instant: Array
    creep: Array
    strength: Array
    law: ShiftLaw = ARRHENIUS

    @classmethod
    def joined(cls, parts: Sequence[Growth]) -> Growth:
        """All draws of several, by one law."""
        instant, creep, strength = (
            np.concatenate([getattr(p, name) for p in parts]) for name in ("instant", "creep", "strength")
        )
        return cls(instant, creep, strength, parts[0].law)

    def take(self, index: NDArray[np.intp]) -> Growth:
        """A selection of draws."""
        return Growth(self.instant[index], self.creep[index], self.strength[index], self.law)


class GrowthSource(Protocol):
    """Where draws of a growth come from: runs at two temperatures or more, or what is usual."""

    def growth(self, count: int, seed: int) -> Growth: ...


@dataclass(frozen=True)
class UsualGrowth:
    """Growth of both parts by what is usual of plastics, where no run at another temperature exists.

    Per 10 K a factor of 1.10, 0.98 to 1.30 (90 %), with a doubt of its own for the creep part; `widened` multiplies the
    spread, for a temperature further away than those that this was seen between. There is no clock: in published curves
    a shift along the time axis forecast worse than none.

    Notes
    -----
    142 pairs of published creep curves of one moulded thermoplastic at one stress and two temperatures (suppliers' creep
    moduli collected by Lobato et al., Int. J. Solids Struct. (2024) 113014): factor 1.11 and 1.08 per 10 K at 100 h, 10th
    to 90th percentile 1.00 to 1.24. One prior serves all polymers: of most there are curves of a material or two only.
    """

    widened: float = 1.0

    def growth(self, count: int, seed: int) -> Growth:
        """Draws of it."""
        first, second = np.random.default_rng(seed).standard_normal((2, count))
        slope = np.asarray(np.where(first < 0.0, np.log(MIDDLE / LOW), np.log(HIGH / MIDDLE))) / NINETY / 10.0
        both = np.log(MIDDLE) / 10.0 + self.widened * slope * first
        return Growth(both, both + self.widened * APART * second, np.zeros(count))


class ShapeEvidence(Protocol):
    """What else tells how draws of a response go on in another climate: as many of them as are asked for."""

    def among(self, draws: Any, count: int, seed: int) -> Any: ...


@dataclass(frozen=True)
class Warming:
    """A climate that an answer is for, where the test was made at `reference` [degC].

    `others` is what runs at other temperatures say of the shape, None where there are none.
    """

    climate: Climate
    reference: float
    source: GrowthSource
    others: ShapeEvidence | None = None

    @property
    def text(self) -> str:
        """In words, to stand behind what is said of."""
        low, high = self.climate.lowest, self.climate.highest
        tested = f"tested at {self.reference:.3g} °C"
        if low == high:
            return f"at {low:.3g} °C ({tested})"
        return f"between {low:.3g} and {high:.3g} °C, at its hottest ({self._hours}{tested})"

    @property
    def _hours(self) -> str:
        """How long the hottest lasts: of a climate that repeats, in its cycle."""
        climate = self.climate
        near = climate.highest - min(HOTTEST, 0.25 * (climate.highest - climate.lowest))
        hours = climate.hours_above(near)
        if hours <= 0.0:
            return ""
        each = {86400.0: " a day", YEAR: " a year"}.get(climate.period or 0.0, "")
        return f"{show_number(hours, digits=2)} h{each} above {near:.3g} °C; "

    def draws(self, count: int, seed: int) -> Warmth:
        """What it does to as many draws of a response, independent of them."""
        return Warmth(self.climate, self.reference, self.source.growth(count, seed + OWN_SEED))


@dataclass(frozen=True, eq=False)
class Warmth:
    """What a climate does to N draws of a response that were made at `reference` [degC]."""

    climate: Climate
    reference: float
    growth: Growth

    def factors(self, times: Array) -> tuple[Array, Array]:
        """Factors on the instantaneous part and on the creep at times (T,) [s], each of shape (N, T).

        They are those of the hottest moment so far: what is asked is how far a thing will have given way, and the hour of
        the day at a time asked about is an accident.
        """
        above = self.climate.highest_until(times) - self.reference
        instant, creep = (np.clip(np.outer(g, above), -MOST, MOST) for g in (self.growth.instant, self.growth.creep))
        return np.exp(instant), np.exp(creep)

    def felt(self, times: Array) -> Array:
        """Times (T,) [s] on the clock of each draw, shape (N, T)."""
        out = np.tile(np.asarray(times, dtype=float), (self.growth.strength.size, 1))
        for clock, chosen in self.clocks():
            if clock is not None:
                out[chosen] = clock(times)
        return out

    def clocks(self) -> list[tuple[WarmClock | None, NDArray[np.bool_]]]:
        """Clocks with the draws (N,) that run on each; None is plain time."""
        strength = self.growth.strength
        groups = [np.flatnonzero(strength == 0.0)]
        shifted = np.flatnonzero(strength > 0.0)
        groups += np.array_split(shifted[np.argsort(strength[shifted], kind="stable")], CLOCKS)
        clocks: list[tuple[WarmClock | None, NDArray[np.bool_]]] = []
        for rows in (g for g in groups if g.size):
            chosen = np.zeros(strength.size, dtype=bool)
            chosen[rows] = True
            middle = float(np.median(strength[rows]))
            clock = WarmClock(self.climate, self.reference, middle, self.growth.law) if middle > 0.0 else None
            clocks.append((clock, chosen))
        return clocks
