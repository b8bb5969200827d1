"""Laws of stress with what is doubtful about them: how much more than in proportion a stress makes a plastic creep."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from creepfit.answers.interval import Interval
from creepfit.asked import tails
from creepfit.errors import InputError
from creepfit.inference.mixture import Draws
from creepfit.inference.response import Predicted
from creepfit.inference.stress_law import GridPosterior, StressData, ratio_map
from creepfit.mechanics.loading import Array
from creepfit.mechanics.stress_law import LoadMap, sinh_map, squared_map
from creepfit.records.run import Run

DRAWS = 4000
LAWS = 5
"""How many values of a law's number, equally probable, stand for its posterior in draws."""

FEWEST = 100
"""Draws under one value of a law's number for which a fit of its own is worth while."""


@dataclass(frozen=True, eq=False)
class LawMember:
    """Draws of the compliance of a small stress under one value of a law's number.

    `factor` is what the law multiplies strain by, of stress in MPa; `plain` are draws without an ageing clock, None where
    there is none.
    """

    factor: Callable[[float], float]
    draws: Draws
    plain: Draws | None


@dataclass(frozen=True, eq=False)
class StressLaw(ABC):
    """A law fitted to runs; `highest` is the highest stress tested, MPa: nothing is said above it."""

    highest: float
    data: StressData = field(repr=False)
    posterior: GridPosterior = field(repr=False)
    seed: int

    @abstractmethod
    def _values(self) -> list[tuple[float, int]]:
        """Values of the law's number, and how many draws each gets."""

    @abstractmethod
    def _map(self, value: float) -> Callable[[Run], LoadMap]:
        """The law as a map of a run's loads."""

    @abstractmethod
    def _factor(self, value: float, stress: float) -> float:
        """What the law multiplies the strain under a stress by."""

    @cached_property
    def members(self) -> tuple[LawMember, ...]:
        """Draws under a few values of the law's number, as many of each as it is probable."""
        members = []
        for value, count in self._values():
            mixture = self.data.mixture(self._map(value))
            plain = mixture.without_ageing()
            members.append(
                LawMember(
                    lambda stress, value=value: self._factor(value, stress),  # type: ignore[misc]
                    mixture.draws(count, self.seed),
                    None if plain is None else plain.draws(count, self.seed),
                )
            )
        return tuple(members)

    def strain(self, stress: float, times: Array) -> Predicted:
        """Draws of the strain under a stress held.

        Parameters
        ----------
        stress : float
            MPa.
        times : ndarray, shape (T,)
            Since loading, s.

        Returns
        -------
        Predicted, shape (N, T)
            As a fraction, with the doubt about the specimens' sizes.

        Raises
        ------
        InputError
            Above the highest stress tested.
        """
        if stress > self.highest * (1.0 + 1e-9):
            expected = f"no more than the highest tested, {self.highest:.3g} MPa"
            raise InputError(key="stress", found=f"{stress:g} MPa", expected=expected)
        ages = any(member.plain is not None for member in self.members)
        drawn = Predicted(self._strain(stress, times, [m.draws for m in self.members]))
        if not ages:
            return drawn
        plain = [m.draws if m.plain is None else m.plain for m in self.members]
        return Predicted(drawn.draws, self._strain(stress, times, plain))

    def _strain(self, stress: float, times: Array, sets: Sequence[Draws]) -> Array:
        pairs = zip(self.members, sets, strict=True)
        strain = np.concatenate([stress * member.factor(stress) * draws.compliance(times) for member, draws in pairs])
        sizes = np.random.default_rng(self.seed).standard_normal(strain.shape[0])
        return np.asarray(strain * np.exp(self.data.relative_sd * sizes)[:, None])


@dataclass(frozen=True, eq=False)
class SinhLaw(StressLaw):
    """Findley's law: strain = D(t) sigma0 sinh(stress / sigma0), the same at all times.

    Attributes
    ----------
    probability_linear : float
        Of the linear law, where it and the other were as likely before. All intervals count with it.
    at_end : bool
        Whether the stress over sigma0 ended at the steepest that is searched, so that sigma0 may be smaller.
    level : float
        Probability of the intervals.

    Notes
    -----
    `posterior` is that of the highest stress over sigma0 where the law is not linear.
    """

    probability_linear: float
    at_end: bool
    level: float

    def sigma0_at(self, probability: float) -> float:
        """Quantile of sigma0 in MPa, counted from the top: infinite, for the linear law, up to its probability."""
        x = self._steepness(probability)
        return self.highest / x if x > 0.0 else np.inf

    def _steepness(self, probability: float) -> float:
        """Quantile of the highest stress over sigma0; 0 is the linear law."""
        linear = self.probability_linear
        return 0.0 if probability <= linear else self.posterior.quantile((probability - linear) / (1.0 - linear))

    @property
    def sigma0(self) -> Interval:
        """In MPa; an end that the linear law reaches is infinite."""
        low, median, high = (self.sigma0_at(p) for p in tails(self.level)[::-1])
        return Interval(low, median, high)

    @property
    def sigma0_if_not_linear(self) -> Interval:
        """The same where the linear law is ruled out beforehand."""
        return Interval(*(self.highest / self.posterior.quantile(p) for p in tails(self.level)[::-1]))

    @property
    def factor(self) -> Interval:
        """Strain at the highest stress over that of a linear material, in tension."""
        return Interval(*(_sinh_over(self._steepness(p)) for p in tails(self.level)))

    @property
    def factor_if_not_linear(self) -> Interval:
        """The same where the linear law is ruled out beforehand: how large a departure the readings leave room for."""
        return Interval(*(_sinh_over(self.posterior.quantile(p)) for p in tails(self.level)))

    def to_dict(self) -> dict[str, Any]:
        quantiles = {name: None if np.isinf(value) else value for name, value in self.sigma0.to_dict().items()}
        why = (
            "the readings do not rule out the linear law, which is sigma0 without end"
            if None in quantiles.values()
            else None
        )
        return {
            "sigma0": {**quantiles, "unit": "MPa", "why": why},
            "sigma0_if_not_linear": {**self.sigma0_if_not_linear.to_dict(), "unit": "MPa"},
            "highest_stress_MPa": self.highest,
            "factor_at_highest": self.factor.to_dict(),
            "factor_if_not_linear": self.factor_if_not_linear.to_dict(),
            "probability_linear": self.probability_linear,
            "at_end_of_range": self.at_end,
        }

    def _values(self) -> list[tuple[float, int]]:
        linear = round(DRAWS * self.probability_linear)
        laws = min(LAWS, int(np.ceil((DRAWS - linear) / FEWEST)))
        values = [(np.inf, linear)] if linear else []
        for i in range(laws):
            x = self.posterior.quantile((i + 0.5) / laws)
            values.append((self.highest / x, (DRAWS - linear) // laws))
        return [(value, count) for value, count in values if count]

    def _map(self, value: float) -> Callable[[Run], LoadMap]:
        return lambda run: sinh_map(run.specimen, value)

    def _factor(self, value: float, stress: float) -> float:
        return _sinh_over(stress / value)


def _sinh_over(x: float) -> float:
    return float(np.sinh(x) / x) if x > 0.0 else 1.0


@dataclass(frozen=True, eq=False)
class RatioLaw(StressLaw):
    """Compliance at the highest stress over that at the lowest one, as the specimens themselves show it.

    Between them it changes with the square of stress. It can be below 1 and supposes no other law, so it serves two
    stresses, and shapes that the hyperbolic sine is not worked out for. `posterior` is that of its logarithm.
    """

    lowest: float

    def interval(self, level: float) -> Interval:
        """The ratio."""
        return Interval(*(float(np.exp(self.posterior.quantile(p))) for p in tails(level)))

    @property
    def probability_softer(self) -> float:
        """Probability of a ratio above 1."""
        return self.posterior.probability_above(0.0)

    def _values(self) -> list[tuple[float, int]]:
        return [(float(np.exp(self.posterior.quantile((i + 0.5) / LAWS))), DRAWS // LAWS) for i in range(LAWS)]

    def _map(self, value: float) -> Callable[[Run], LoadMap]:
        return ratio_map(self.lowest, self.highest, value)

    def _factor(self, value: float, stress: float) -> float:
        return float(squared_map(self.lowest, self.highest, value)(np.array(stress))) / stress
