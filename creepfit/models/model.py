"""The contract of a creep model, and the functions of time that several models share.

A model is D(t) = sum_k c_k phi_k(t; shape) with amplitudes c_k >= 0 in 1/MPa (1/(N/mm) where no geometry is known).
Everything nonlinear about it is its shape, at most one value a function.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar, NamedTuple

import numpy as np

from creepfit.mechanics.loading import Array
from creepfit.models.coordinate import Coordinate, PriorSettings, even, even_share
from creepfit.units import HOUR


@dataclass(frozen=True)
class Modes:
    """A creep function as spring + dashpot + exponentials: phi(t) = a + b t + sum_j w_j (1 - exp(-rate_j t)).

    `weights` has shape (S, R) over shapes and rates; `spring` and `dashpot` have shape (S,), the dashpot per s.
    """

    spring: Array
    dashpot: Array
    weights: Array


class Term(ABC):
    """One function of time phi(t; p), t >= 0 in s, with at most one shape value p.

    `axis` says which of the model's shape values it takes, None for none. Arrays broadcast: with shape values
    of shape (S, 1, 1) and times of shape (T, J) the result is (S, T, J).
    """

    axis: int | None = None

    @abstractmethod
    def value(self, t: Array, shape: Array | None = None) -> Array:
        """phi(t)."""

    @abstractmethod
    def integral(self, t: Array, shape: Array | None = None) -> Array:
        """Integral of phi from 0 to t, in s."""

    @abstractmethod
    def modes(self, rates: Array, step: float, shape: Array | None = None) -> Modes:
        """The function on the exponential grid of `rates` [1/s], neighbours e^step apart, rates ascending."""

    def own_rates(self, shape: Array | None = None) -> Array:
        """Rates [1/s] that must be on the grid exactly for this function."""
        return np.empty(0)


@dataclass(frozen=True)
class Instant(Term):
    """phi = 1: the instantaneous response."""

    axis: int | None = None

    def value(self, t: Array, shape: Array | None = None) -> Array:
        return np.ones_like(t)

    def integral(self, t: Array, shape: Array | None = None) -> Array:
        return np.array(t, dtype=float)

    def modes(self, rates: Array, step: float, shape: Array | None = None) -> Modes:
        return Modes(np.ones(1), np.zeros(1), np.zeros((1, rates.size)))


@dataclass(frozen=True)
class Dashpot(Term):
    """phi = t / 1 h: viscous flow, never recovered."""

    axis: int | None = None

    def value(self, t: Array, shape: Array | None = None) -> Array:
        return t / HOUR

    def integral(self, t: Array, shape: Array | None = None) -> Array:
        return t * t / (2.0 * HOUR)

    def modes(self, rates: Array, step: float, shape: Array | None = None) -> Modes:
        return Modes(np.zeros(1), np.full(1, 1.0 / HOUR), np.zeros((1, rates.size)))


@dataclass(frozen=True)
class Kelvin(Term):
    """phi = 1 - exp(-t/tau): a Kelvin-Voigt unit with retardation time tau in s as its shape value."""

    axis: int | None = 0

    def value(self, t: Array, shape: Array | None = None) -> Array:
        return -np.expm1(-t / needed(shape))

    def integral(self, t: Array, shape: Array | None = None) -> Array:
        tau = needed(shape)
        x = t / tau
        # t - tau(1 - exp(-x)) loses its digits for small x; there it is tau x^2/2 (1 - x/3 + ...)
        return tau * np.where(x < 1e-4, x * x / 2.0 * (1.0 - x / 3.0), x + np.expm1(-x))

    def modes(self, rates: Array, step: float, shape: Array | None = None) -> Modes:
        own = self.own_rates(shape)
        weights = np.zeros((own.size, rates.size))
        weights[np.arange(own.size), np.searchsorted(rates, own)] = 1.0
        return Modes(np.zeros(own.size), np.zeros(own.size), weights)

    def own_rates(self, shape: Array | None = None) -> Array:
        return 1.0 / np.ravel(needed(shape))


@dataclass(frozen=True)
class Axis:
    """One shape value: its name, range and grid for the best fit.

    `log` says that the grid and the search run on the logarithm; `scale` converts to the unit shown to the user.
    """

    name: str
    low: float
    high: float
    count: int
    log: bool = False

    def grid(self, count: int | None = None) -> Array:
        """Values from low to high, ascending."""
        number = self.count if count is None else count
        if self.log:
            return np.geomspace(self.low, self.high, number)
        return np.linspace(self.low, self.high, number)

    def to_search(self, value: Array) -> Array:
        """The coordinate the search runs on."""
        return np.log(value) if self.log else np.asarray(value)

    def from_search(self, coordinate: Array) -> Array:
        """Inverse of `to_search`."""
        return np.exp(coordinate) if self.log else np.asarray(coordinate)


def are_twins(axes: Sequence[Axis]) -> bool:
    """Whether the axes are of one kind, so that exchanging them gives the same model again."""
    return len(axes) > 1 and len({(a.low, a.high) for a in axes}) == 1


@dataclass(frozen=True)
class Span:
    """What the data span, in s under load: first and last elapsed time of a reading."""

    first: float
    last: float


class Parameter(NamedTuple):
    """A named parameter: `unit` may contain "compliance", replaced by the run's own compliance unit.

    An infinite value (a spring or dashpot that was not seen) is kept as inf here and shown as unknown with a reason. A
    tuple, as errors of parameters make hundreds of them, which took longer than their numbers.
    """

    name: str
    value: float
    unit: str


SET_WITH_LOAD = 0.0
"""Growth exponent 0: the set comes with the load itself and follows its highest value so far."""


class CreepModel(ABC):
    """A creep model, which says everything about itself in its own file.

    Attributes
    ----------
    name, title, formula, source : str
        Name in files and JSON, name in words, D(t), and where it is from.
    terms : tuple of Term
        Its functions of time.
    meanings : mapping of str to str
        What each parameter means, in a sentence.
    flows : bool
        Whether part of its creep never comes back and never ends.
    weight : float
        Prior weight in the mixture that forecasts are made from; several models of one name add theirs up.
    no_weight : str
        Where the weight is 0, why: printed beside it.
    set_growths : tuple of float
        Exponents of time by which a set beside it may grow; none where its own flow is the set.
    flow_beside : float
        Prior weight of the same with a flow beside it, over its own; 0 for none.
    ages : bool
        Whether it also goes by the ageing clock where the age is known.
    leads : bool
        Whether it alone is taken where one flexible model is enough: within the data, not beyond.
    """

    name: ClassVar[str]
    title: ClassVar[str]
    source: ClassVar[str]
    formula: ClassVar[str]
    meanings: ClassVar[Mapping[str, str]] = {}
    flows: ClassVar[bool] = False
    no_weight: ClassVar[str] = "it has no weight of its own"
    set_growths: ClassVar[tuple[float, ...]] = (SET_WITH_LOAD,)
    flow_beside: ClassVar[float] = 0.0
    ages: ClassVar[bool] = False
    leads: ClassVar[bool] = False
    weight: float = 0.0
    terms: tuple[Term, ...]

    @abstractmethod
    def axes(self, span: Span) -> tuple[Axis, ...]:
        """Shape ranges from what the data span; a caller may override them."""

    @abstractmethod
    def parameters(self, shape: Sequence[float], amplitudes: Sequence[float]) -> tuple[Parameter, ...]:
        """Named parameters from shape values and amplitudes [1/MPa]."""

    def coordinates(self, span: Span, beliefs: PriorSettings) -> tuple[Coordinate, ...]:
        """Axes of its grid in the mixture with their priors; by default its shape axes and its last share, evenly.

        The creep in the test and what comes at once are the two amplitudes; of K functions that creep the last has a
        share of the creep and the first has the rest.
        """
        shapes = tuple(even(a.low, a.high, 16, 25, i, a.log) for i, a in enumerate(self.axes(span)))
        creeping = sum(not isinstance(term, Instant) for term in self.terms)
        return (*shapes, even_share(5, 8)) if creeping > 1 else shapes

    def compliance(self, t: Array, shape: Sequence[float], amplitudes: Sequence[float]) -> Array:
        """D(t) in 1/MPa at times t >= 0 [s], any shape of t; finite and non-negative everywhere."""
        t = np.asarray(t, dtype=float)
        total = np.zeros_like(t)
        for term, amplitude in zip(self.terms, amplitudes, strict=True):
            p = None if term.axis is None else np.asarray(shape[term.axis], dtype=float)
            total = total + amplitude * term.value(t, p)
        return total

    @property
    def instant(self) -> int | None:
        """Position of the instantaneous term, None for a model without one."""
        return next((k for k, term in enumerate(self.terms) if isinstance(term, Instant)), None)


def modulus(compliance: float) -> float:
    """Inverse of a compliance; infinite where the amplitude is zero."""
    return 1.0 / compliance if compliance > 0.0 else np.inf


def retardation_axis(name: str, span: Span, count: int, beyond: float = 3.0) -> Axis:
    """Retardation times a test can see: from a third of its first reading to `beyond` times its length.

    Shorter ones look instantaneous and longer ones look like flow (common practice, no source). Readings before the first
    second count as taken then, but for a test that was over by that time.
    """
    last = max(span.last, 3.0 * span.first)
    return Axis(name, min(max(span.first, 1.0), last) / 3.0, beyond * last, count, log=True)


def needed(shape: Array | None) -> Array:
    if shape is None:
        raise TypeError("this function of time needs its shape value")
    return shape
