"""What is believed about a model before the readings: coordinates of its grid with their priors."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import lru_cache, partial
from typing import TYPE_CHECKING, Protocol

import numpy as np
from scipy.special import betaln

from creepfit.errors import InputError
from creepfit.mechanics.loading import Array

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


LogDensity = Callable[[Array], Array]


@dataclass(frozen=True)
class ExponentPrior:
    """Student t prior of the power family's n, cut to the family's range."""

    location: float
    scale: float
    degrees: float = 4.0

    def __post_init__(self) -> None:
        check_numbers(self, ("location",))


def check_numbers(of: DataclassInstance, may_be_zero: tuple[str, ...]) -> None:
    """Raise InputError where a field that is a number holds anything else, or one that must be above zero is not."""
    for field in fields(of):
        if field.type != "float":
            continue
        value = getattr(of, field.name)
        known = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
        if not known or (value <= 0.0 and field.name not in may_be_zero) or (value < 0.0 and field.name != "location"):
            expected = "a number" + ("" if field.name in may_be_zero else " above zero")
            raise InputError("no such prior", key=field.name, found=value, expected=expected)


class PriorSettings(Protocol):
    """What a user may set of the models' priors; see `creepfit.inference.priors.Priors`."""

    @property
    def exponent(self) -> ExponentPrior:
        """Of the power family's n."""

    @property
    def flow_mean(self) -> float:
        """Mean share of flow in the creep of the test."""

    @property
    def faint_flow(self) -> float:
        """Probability that a flow beside creep is so faint that a test like this one does not show it."""

    @property
    def faint_flow_mean(self) -> float:
        """Mean share of such a flow."""


@dataclass(frozen=True)
class Coordinate:
    """One axis of a model's grid: `role` is "shape", "share" (of the last function in the creep), "flow" (share
    of a flow beside the model's own functions) or "set".

    `log_density` is the prior's logarithm on the axis itself (on its logarithm where `log`); it needs no constant,
    since every grid is normalised. `coarse` and `fine` are the cells of the first and of the later passes.
    """

    role: str
    index: int
    low: float
    high: float
    coarse: int
    fine: int
    log_density: LogDensity
    log: bool = False

    def grid(self, low: float, high: float, count: int) -> Array:
        """Cell midpoints between two ends, shape (count,)."""
        first, last = (math.log(low), math.log(high)) if self.log else (low, high)
        edges = _numbers(count) * ((last - first) / count) + first
        edges[-1] = last
        middle = 0.5 * (edges[1:] + edges[:-1])
        return np.asarray(np.exp(middle) if self.log else middle)

    def length(self, low: float, high: float) -> float:
        """Length of a range on the axis that the density lives on."""
        return float(np.log(high / low)) if self.log else high - low

    def log_prior(self, values: Array) -> Array:
        """Logarithm of the prior's density at values of the coordinate, per unit of it."""
        on_axis = self.log_density(values) - self.log_total
        return np.asarray(on_axis - np.log(values) if self.log else on_axis)

    @property
    def log_total(self) -> float:
        """Logarithm of the integral of the density over the whole axis."""
        return _log_total(self)


@lru_cache(maxsize=64)
def _numbers(count: int) -> Array:
    """From 0 to a count, shape (count + 1,): what `np.linspace` makes anew each time, which took longer than the rest."""
    return np.arange(count + 1.0)


@lru_cache(maxsize=256)
def _log_total(axis: Coordinate) -> float:
    whole = axis.grid(axis.low, axis.high, 400)
    return float(np.log(np.exp(axis.log_density(whole)).mean() * axis.length(axis.low, axis.high)))


FLOW_SHAPE = 1.5
"""First number of the flow share's Beta prior: none at all has no density of its own, as a model without flow has it."""

FAINT_SHAPE = 4.0
"""The same of a faint flow. Narrow, as one broad prior for all flow cost steep powers of time an upper end half as high
again for the same; shares between the two kinds still go by (`tests/benchmarks/README.md`)."""

LEAST_FLOW = 0.003
"""Smallest share of flow on a grid: within 100 times the test it adds a third of the test's creep."""

RARE_FROM, RARE_WIDTH = 0.3, 0.2
"""Exponents from 0.3 on are rarer than Student's t has them, by a normal with a standard deviation of 0.2: with three
readings that speed up n ran to its bound, and a strain of 2.6 % was forecast as 10 %. A higher location moves it along."""


def exponent(beliefs: PriorSettings, low: float, high: float, fine: int) -> Coordinate:
    """The power family's n with its Student t prior."""
    return Coordinate("shape", 0, low, high, 36, fine, _student(beliefs.exponent))


def even(low: float, high: float, coarse: int, fine: int, index: int = 0, log: bool = False) -> Coordinate:
    """A shape value without preference between two ends; on its logarithm where `log`."""
    return Coordinate("shape", index, low, high, coarse, fine, np.zeros_like, log)


def flow_share(beliefs: PriorSettings, coarse: int, fine: int) -> Coordinate:
    """Share of flow in the creep of the test: Beta with the mean believed."""
    return Coordinate("share", 0, 0.0, 1.0, coarse, fine, beta_log_density(FLOW_SHAPE, beliefs.flow_mean))


def flow_share_or_faint(beliefs: PriorSettings, coarse: int, fine: int) -> Coordinate:
    """The same, or a faint one: on a logarithmic axis, so that both are resolved."""
    density = _plain_or_faint(beliefs.flow_mean, beliefs.faint_flow_mean, beliefs.faint_flow)
    return Coordinate("share", 0, LEAST_FLOW, 1.0, coarse, fine, density, True)


def even_share(coarse: int, fine: int) -> Coordinate:
    """Share of the last function in the creep of the test, without preference."""
    return Coordinate("share", 0, 0.0, 1.0, coarse, fine, np.zeros_like)


def half_normal_share(scale: float, coarse: int, fine: int) -> Coordinate:
    """Set as a share of the creep in the test: half-normal, to four times its scale."""
    return Coordinate("set", 0, 0.0, 4.0 * scale, coarse, fine, _half_normal(scale))


# densities of the same numbers are one object, so that coordinates, and grids over them, can be told to be the same; they
# are functions of this module with some numbers given, so that a fit can be sent to another process


@lru_cache
def _student(prior: ExponentPrior) -> LogDensity:
    return partial(_student_at, prior)


def _student_at(prior: ExponentPrior, n: Array) -> Array:
    student = -0.5 * (prior.degrees + 1.0) * np.log1p(((n - prior.location) / prior.scale) ** 2 / prior.degrees)
    rare_from = max(RARE_FROM, prior.location)
    return np.asarray(student - 0.5 * (np.maximum(n - rare_from, 0.0) / RARE_WIDTH) ** 2)


@lru_cache
def beta_log_density(first: float, mean: float) -> LogDensity:
    """Log density of a Beta distribution by its first number and its mean."""
    second = first * (1.0 / mean - 1.0)
    return partial(_beta_at, first, second, float(betaln(first, second)))


def _beta_at(first: float, second: float, constant: float, share: Array) -> Array:
    return np.asarray((first - 1.0) * np.log(share) + (second - 1.0) * np.log1p(-share) - constant)


@lru_cache
def _plain_or_faint(plain_mean: float, faint_mean: float, faint_probability: float) -> LogDensity:
    plain, faint = beta_log_density(FLOW_SHAPE, plain_mean), beta_log_density(FAINT_SHAPE, faint_mean)
    return partial(_either_at, plain, faint, faint_probability)


def _either_at(plain: LogDensity, faint: LogDensity, faint_probability: float, share: Array) -> Array:
    either = np.logaddexp(plain(share) + math.log1p(-faint_probability), faint(share) + math.log(faint_probability))
    return np.asarray(either + np.log(share))


@lru_cache
def _half_normal(scale: float) -> LogDensity:
    return partial(_half_normal_at, scale)


def _half_normal_at(scale: float, share: Array) -> Array:
    return np.asarray(-0.5 * (share / scale) ** 2)
