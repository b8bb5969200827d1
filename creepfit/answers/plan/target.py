"""What a planned test is to answer, as draws from a fit to it; here how far the specimen itself deforms under its load."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from creepfit.inference.mixture import Draws, Mixture
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.units import show_time

DRAWS = 1000


@dataclass(frozen=True, eq=False)
class Answer:
    """What one fit says, N draws.

    Attributes
    ----------
    values : ndarray, shape (N,)
        What is asked for, mm (strain); of a part with all that its interval includes but the scatter from the specimen.
    cool : ndarray, shape (N,)
        The same at the temperature of the test.
    creep : ndarray, shape (N,)
        Share of it that is creep.
    whole_error, creep_error : float
        How far the readings leave the specimen's deformation and its creep in the test open, log units.
    """

    values: Array
    cool: Array
    creep: Array
    whole_error: float
    creep_error: float

    @classmethod
    def of(cls, draws: Draws, by: float, values: Array | None = None, cool: Array | None = None) -> Answer:
        """From the draws of a fit: its specimen's deformation at `by` [s] under the load left on, or `values` instead.

        All but those are at the temperature of the test.
        """
        span, tiny = draws.observed.span, float(np.finfo(float).tiny)
        at = np.array([span.first, span.last, by])
        first, last, held = np.maximum(draws.deformation(LoadHistory.held(draws.observed.load), at).T, tiny)
        share = np.clip(1.0 - draws.instant / held, 0.0, 1.0)
        whole, creep = np.log(last), np.log(np.maximum(last - first, tiny))
        own = held if values is None else values
        return cls(own, own if cool is None else cool, share, _spread(whole), _spread(creep))


def _spread(values: Array) -> float:
    """Standard deviation by the central 68 % of some values (N,): a few draws far off do not count."""
    return float(np.ptp(np.quantile(values, [0.16, 0.84]))) / 2.0


class Target(Protocol):
    """What a test is to answer.

    Attributes
    ----------
    by : float
        Time asked about, s.
    scatter : float
        From the specimen to what is asked about, standard deviation of the logarithm: 0 for the specimen itself.
    warmer : float
        K that what is asked about is warmer than the test; 0 where that is not known, or next to nothing.
    """

    @property
    def by(self) -> float: ...

    @property
    def scatter(self) -> float: ...

    @property
    def warmer(self) -> float: ...

    @property
    def words(self) -> str:
        """What is asked for, to stand in a sentence."""

    def answer(self, mixture: Mixture, seed: int) -> Answer:
        """What a fit says of it."""


@dataclass(frozen=True)
class SpecimenTarget:
    """The deformation of the specimen at `by` [s] with its load left on."""

    by: float
    scatter = warmer = 0.0

    @property
    def words(self) -> str:
        return f"the deformation at {show_time(self.by)}"

    def answer(self, mixture: Mixture, seed: int) -> Answer:
        return Answer.of(mixture.draws(DRAWS, seed), self.by)
