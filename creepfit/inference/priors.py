"""What is believed before the readings: one place, with where each number comes from.

All of it is printed with an answer and can be set by the user (`Priors(...)`, or `[prior]` in a run file).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from creepfit.errors import InputError
from creepfit.models.coordinate import ExponentPrior, check_numbers
from creepfit.models.model import CreepModel
from creepfit.models.registry import leading, models_named, prior_weights


def _check_weights(weights: Mapping[str, float]) -> None:
    expected = "a weight for each model by its name, not below zero, one of them above"
    if not isinstance(weights, Mapping):
        raise InputError("no such prior", key="weights", found=weights, expected=expected)
    for weight in weights.values():
        if not isinstance(weight, int | float) or not math.isfinite(weight) or weight < 0.0:
            raise InputError("no such prior", key="weights", found=weight, expected=expected)


DEFAULT_EXPONENT = ExponentPrior(0.07, 0.06)
"""From 303 published tensile creep curves of 37 moulded thermoplastics (suppliers' creep moduli to ISO 899-1, collected by
Lobato et al., Int. J. Solids Struct. (2024) 113014): fitted to 1, 10 and 100 h and scored at 1000 and 10 000 h. Locations
of 0.06 to 0.12 and scales of 0.06 to 0.10 score alike; with models that level off beside it the lower ones centre better.
Four degrees of freedom, not a normal, so that n = 0.3 keeps 2 % of the peak density: printed bars may differ from moulded
ones."""

GLASSY_EXPONENT = ExponentPrior(0.13, 0.09)
"""Judgement: unfilled glassy bars, printed and read daily, sit higher than the average of those curves; forced on all of
them a location of 0.14 costs a tenth of the accuracy."""

EXPONENT_BY_KIND: dict[str, ExponentPrior] = {"glassy": GLASSY_EXPONENT}

FLOW_COUNTED = 2.0
"""How many times as likely as in a forecast a material flows where a limit is to be kept, and as likely again by a share
between faint and plain. Without those shares half of the loads called safe broke with a flow of 0.06; more of either calls
unlikely what is kept (`tests/benchmarks/README.md`)."""

BETWEEN_SHAPE, BETWEEN_MEAN = 2.0, 0.1
"""That share's Beta prior by its first number and its mean: shares of about a tenth went by most in simulated truths."""


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
        Mean share of flow in the creep of the test, a Beta prior whose first number is 1.5.
    faint_flow, faint_flow_mean : float
        Probability that the power family's flow is so faint that such a test does not show it, and its mean share, a Beta
        prior whose first number is 4. Without it intervals had either no flow or one that would be seen: where the
        probability of flow passed that of the upper tail, the upper end doubled.
    flow_untested : float
        What the weight of models that flow is multiplied by where two decades or more were read without a reading to
        spare, so that nothing can speak for or against flow. Readings of tables, three to a curve, are such, and next to
        none of these curves flows. With readings to spare, or less time read, it is nearer to 1 (`weights.flow_counts`).
    set_scale : float
        Scale of the half-normal prior of the set, as a share of the creep in the test.
    set_weight : float
        Prior probability that there is a set besides flow, where readings after unloading can show it.
    set_in_proportion : float
        Share of that which goes to models that flow: a set that grows in proportion to time is flow.
    ageing_low, ageing_high : float
        Range of the shift rate of the ageing clock, uniform (from memory: 0.7 to 1 for glassy polymers well below Tg).
    ageing_weight : float
        Share of the power family's weight that goes to the ageing clock where the age is known.
    discrepancy, discrepancy_degrees : float
        Scale and degrees of freedom (Student t) of the model discrepancy a decade beyond the data, as a share of the
        deformation at the end of the test. From the same curves: a share of the total scores better than a share of
        the creep per decade, and Student t better than normal.
    discrepancy_of_growth : float
        Most that this scale may be, as a share of the growth a decade beyond the data by the model itself: a short run
        whose whole creep is small, or one at rest, is not allowed what long curves need.
    floor : float
        Smallest weight of a model that the readings do not contradict.
    weights : mapping, optional
        Prior weight of each model by name; by default what each model says of itself, the same for every run.
    """

    exponent: ExponentPrior = DEFAULT_EXPONENT
    instant_scale: float = 2.0
    creep_scale: float = 1.0
    flow_mean: float = 0.2
    faint_flow: float = 0.55
    faint_flow_mean: float = 0.025
    flow_untested: float = 0.05
    set_scale: float = 0.3
    set_weight: float = 0.3
    set_in_proportion: float = 0.3
    ageing_low: float = 0.5
    ageing_high: float = 0.95
    ageing_weight: float = 0.5
    discrepancy: float = 0.014
    discrepancy_degrees: float = 4.0
    discrepancy_of_growth: float = 0.2
    floor: float = 0.01
    weights: Mapping[str, float] | None = None

    def __post_init__(self) -> None:
        check_numbers(self, ("ageing_low", "set_weight", "set_in_proportion", "ageing_weight", "discrepancy", "floor"))
        for name in ("flow_mean", "faint_flow", "faint_flow_mean"):
            if getattr(self, name) >= 1.0:
                raise InputError("no such prior", key=name, found=getattr(self, name), expected="a share below 1")
        if self.weights is not None:
            _check_weights(self.weights)

    def weights_by_name(self) -> Mapping[str, float]:
        """Prior weight of each model by name; they need not add up to 1."""
        return prior_weights() if self.weights is None else self.weights

    def weighted_models(self) -> list[tuple[CreepModel, float]]:
        """The models of the mixture, each with its weight: a name's is shared out as its models say of themselves."""
        weighted = []
        for name, weight in self.weights_by_name().items():
            models = [m for m in models_named(name) if m.instant is not None]
            own = sum(m.weight for m in models)
            shares = [m.weight / own if own > 0.0 else 1.0 / len(models) for m in models]
            weighted += [(m, weight * s) for m, s in zip(models, shares, strict=True) if weight * s > 0.0]
        return weighted

    def with_one_model(self) -> Priors:
        """The same for the leading model alone: flexible enough within the data, and quick."""
        return replace(self, weights={leading().name: 1.0})

    def assumptions(self, recovered: bool) -> tuple[str, ...]:
        """Every one of them in words, as they are printed with an answer."""
        share = ", ".join(f"{name} {100.0 * w:.0f} %" for name, w in self.weights_by_name().items())
        beside = {m.name: m.flow_beside for m, _ in self.weighted_models() if m.flow_beside > 0.0}
        also = "".join(
            f"{name} with a flow beside it {times:g} times as often as without; " for name, times in beside.items()
        )
        set_aside = (
            f"probability {self.set_weight:g}, of {100.0 * self.set_scale:g} % of that creep, "
            f"{self.set_in_proportion:g} of it as flow"
            if recovered
            else "none, as no reading was taken after an unloading that could show it"
        )
        return (
            f"exponent n of the power family: Student t around {self.exponent.location:g}, scale {self.exponent.scale:g}, "
            f"{self.exponent.degrees:g} degrees of freedom",
            f"models before any reading: {share}; floor {100.0 * self.floor:g} %; {also}those that flow "
            f"{self.flow_untested:g} of it where two decades or more were read without a reading to spare",
            f"share of flow in the creep of the test, where it flows: {100.0 * self.flow_mean:g} % on average, beside a "
            f"power of time with probability {self.faint_flow:g} a faint {100.0 * self.faint_flow_mean:g} %; a set "
            f"besides flow: {set_aside}",
            f"where a limit is to be kept: flow {FLOW_COUNTED:g} times as likely, and as likely again by a share around "
            f"{100.0 * BETWEEN_MEAN:g} %, so that no promise leans on what a test could not see of it",
            f"what no model has: {100.0 * self.discrepancy:g} % of the deformation for each decade beyond the test "
            f"(Student t, {self.discrepancy_degrees:g} degrees of freedom), at most "
            f"{100.0 * self.discrepancy_of_growth:g} % of what the model itself adds",
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
