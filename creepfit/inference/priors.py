"""What is believed before the readings: one place, with where each number comes from.

All of it is printed with an answer and can be set by the user (`Priors(...)`, or `[prior]` in a run file).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace

from creepfit.errors import InputError


@dataclass(frozen=True)
class ExponentPrior:
    """Student t prior of the power family's n, cut to the family's range."""

    location: float
    scale: float
    degrees: float = 4.0

    def __post_init__(self) -> None:
        _check_numbers(self, ("location",))


def _check_numbers(of: ExponentPrior | Priors, may_be_zero: tuple[str, ...]) -> None:
    """Raise InputError where a field that is a number holds anything else, or one that must be above zero is not."""
    for field in fields(of):
        if field.type != "float":
            continue
        value = getattr(of, field.name)
        known = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
        if not known or (value <= 0.0 and field.name not in may_be_zero) or (value < 0.0 and field.name != "location"):
            expected = "a number" + ("" if field.name in may_be_zero else " above zero")
            raise InputError("no such prior", key=field.name, found=value, expected=expected)


def _check_weights(weights: Mapping[str, float]) -> None:
    expected = "a weight for each model by its name, not below zero, one of them above"
    if not isinstance(weights, Mapping):
        raise InputError("no such prior", key="weights", found=weights, expected=expected)
    for weight in weights.values():
        if not isinstance(weight, int | float) or not math.isfinite(weight) or weight < 0.0:
            raise InputError("no such prior", key="weights", found=weight, expected=expected)


DEFAULT_EXPONENT = ExponentPrior(0.10, 0.08)
"""From 303 published tensile creep curves of 37 moulded thermoplastics (suppliers' creep moduli to ISO 899-1, collected by
Lobato et al., Int. J. Solids Struct. (2024) 113014): fitted to 1, 10 and 100 h and scored at 1000 and 10 000 h. Locations
of 0.06 to 0.12 and scales of 0.065 to 0.10 score alike. Four degrees of freedom, not a normal, so that n = 0.35 keeps 5 %
of the peak density: printed bars may differ from moulded ones."""

GLASSY_EXPONENT = ExponentPrior(0.13, 0.09)
"""Judgement: unfilled glassy bars, printed and read daily, sit higher than the average of those curves; forced on all of
them a location of 0.14 costs a tenth of the accuracy."""

EXPONENT_BY_KIND: dict[str, ExponentPrior] = {"glassy": GLASSY_EXPONENT}

WEIGHTS_LOADED: dict[str, float] = {
    "power-family": 0.95,
    "stretched-exponential": 0.03,
    "zener": 0.01,
    "kelvin-chain": 0.01,
}
"""Prior weights where no reading after an unloading exists, from the same curves: creep that comes to rest within the
next two decades is rare there, and readings under load alone do not tell it, or flow, from a power of time."""

WEIGHTS_RECOVERED: dict[str, float] = {
    "power-family": 0.30,
    "stretched-exponential": 0.14,
    "zener": 0.28,
    "kelvin-chain": 0.03,
    "burgers": 0.25,
}
"""Prior weights where readings after an unloading can tell recovered from lasting deformation, from simulated five-day
runs of a dozen truths: no truth of a member is lost at a gauge noise of 6 % of the creep."""


@dataclass(frozen=True)
class Priors:
    """Every prior and allowance of the forecast.

    Attributes
    ----------
    exponent : ExponentPrior
        Of the power family's n.
    instant_scale, creep_scale : float
        Scales of the half-normal priors of the instantaneous deformation and of the creep between the first and the
        last reading under load, in units of the run's own deformation. Evidence between models depends on them.
    flow_mean : float
        Mean share of flow in the creep of the test, Beta(1, 1/mean - 1): most mass at little flow.
    set_scale : float
        Scale of the half-normal prior of the set, as a share of the creep in the test.
    set_weight : float
        Prior probability that there is a set besides flow, where readings after unloading can show it.
    ageing_low, ageing_high : float
        Range of the shift rate of the ageing clock, uniform (from memory: 0.7 to 1 for glassy polymers well below Tg).
    ageing_weight : float
        Share of the power family's weight that goes to the ageing clock where the age is known.
    discrepancy, discrepancy_degrees : float
        Scale and degrees of freedom (Student t) of the model discrepancy a decade beyond the data, as a share of the
        deformation at the end of the test. From the same curves: a share of the total scores better than a share of
        the creep per decade, and Student t better than normal.
    floor : float
        Smallest weight of a model that the readings do not contradict.
    weights : mapping, optional
        Prior weight of each model by name; by default one table for runs with readings after an unloading and one
        for runs without.
    """

    exponent: ExponentPrior = DEFAULT_EXPONENT
    instant_scale: float = 2.0
    creep_scale: float = 1.0
    flow_mean: float = 0.22
    set_scale: float = 0.3
    set_weight: float = 0.3
    ageing_low: float = 0.5
    ageing_high: float = 0.95
    ageing_weight: float = 0.5
    discrepancy: float = 0.025
    discrepancy_degrees: float = 4.0
    floor: float = 0.01
    weights: Mapping[str, float] | None = None

    def __post_init__(self) -> None:
        _check_numbers(self, ("ageing_low", "set_weight", "ageing_weight", "discrepancy", "floor"))
        if self.weights is not None:
            _check_weights(self.weights)

    def weights_for(self, recovered: bool) -> Mapping[str, float]:
        """Prior weight of each model, for a run with or without readings after an unloading."""
        if self.weights is not None:
            return self.weights
        return WEIGHTS_RECOVERED if recovered else WEIGHTS_LOADED

    def assumptions(self, recovered: bool) -> tuple[str, ...]:
        """Every one of them in words, as they are printed with an answer."""
        share = ", ".join(f"{name} {100.0 * w:.0f} %" for name, w in self.weights_for(recovered).items())
        after = "with" if recovered else "without"
        lasting = (
            f"share of flow in the creep of the test: {100.0 * self.flow_mean:g} % on average; a set besides flow: "
            f"probability {self.set_weight:g}, of {100.0 * self.set_scale:g} % of that creep"
        )
        return (
            f"exponent n of the power family: Student t around {self.exponent.location:g}, scale {self.exponent.scale:g}, "
            f"{self.exponent.degrees:g} degrees of freedom",
            f"models before any reading, {after} readings after an unloading: {share}; floor {100.0 * self.floor:g} %",
            lasting if recovered else "flow and set: none, as no reading was taken after an unloading that could show them",
            f"what no model has: {100.0 * self.discrepancy:g} % of the deformation for each decade beyond the test "
            f"(Student t, {self.discrepancy_degrees:g} degrees of freedom)",
            f"instantaneous deformation and creep: half-normal, {self.instant_scale:g} and {self.creep_scale:g} times "
            "what the readings span",
        )

    def with_given(self, given: Iterable[tuple[str, float]]) -> Priors:
        """The same with what a run file's [prior] sets: n, n_scale, or an attribute by its name."""
        values = dict(given)
        exponent = ExponentPrior(
            values.pop("n", self.exponent.location), values.pop("n_scale", self.exponent.scale), self.exponent.degrees
        )
        return replace(self, exponent=exponent, **values)  # type: ignore[arg-type]


def priors_for(kind: str | None, given: Iterable[tuple[str, float]] = ()) -> Priors:
    """Priors for a kind of polymer ("glassy", "semicrystalline", "fibre-filled"; None for any) and what was given."""
    return Priors(exponent=EXPONENT_BY_KIND.get(kind or "", DEFAULT_EXPONENT)).with_given(given)
