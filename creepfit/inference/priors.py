"""What is believed before the readings: one place, with where each number comes from.

All of it is printed with an answer and can be set by the user (`Priors(...)`, or `[prior]` in a run file).
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class ExponentPrior:
    """Normal prior of the power family's n, cut to its range."""

    mean: float
    sd: float


DEFAULT_EXPONENT = ExponentPrior(0.05, 0.15)

EXPONENT_BY_KIND: dict[str, ExponentPrior] = {}

MODEL_WEIGHTS: dict[str, float] = {
    "power-family": 0.60,
    "zener": 0.10,
    "burgers": 0.20,
    "kelvin-chain": 0.10,
}


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
    discrepancy : float
        Standard deviation of the model discrepancy a decade beyond the data, as a share of the deformation there.
    floor : float
        Smallest weight of a model that the readings do not contradict.
    """

    exponent: ExponentPrior = DEFAULT_EXPONENT
    instant_scale: float = 2.0
    creep_scale: float = 1.0
    flow_mean: float = 0.1
    set_scale: float = 0.3
    set_weight: float = 0.4
    ageing_low: float = 0.5
    ageing_high: float = 0.95
    ageing_weight: float = 0.5
    discrepancy: float = 0.03
    floor: float = 0.02
    weights: dict[str, float] = field(default_factory=lambda: dict(MODEL_WEIGHTS))


def priors_for(kind: str | None) -> Priors:
    """Default priors for a kind of polymer ("glassy", "semicrystalline", "fibre-filled"); the general ones for None."""
    return Priors(exponent=EXPONENT_BY_KIND.get(kind or "", DEFAULT_EXPONENT))
