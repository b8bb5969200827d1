"""Power family with flow: D(t) = D0 + c ((1 + t/t0)^n - 1)/n + t/eta1; creep that slows down beside flow that does not."""

from __future__ import annotations

from collections.abc import Sequence

from creepfit.models.coordinate import Coordinate, PriorSettings, exponent, flow_share_or_faint
from creepfit.models.model import Axis, CreepModel, Dashpot, Instant, Parameter, Span, modulus
from creepfit.models.power_family import EXPONENT_MEANING, N_HIGH, N_LOW, PowerFamily, in_first_hour


class PowerFlow(CreepModel):
    """The power family in series with a dashpot.

    After unloading at t1 the set is exactly t1/eta1, as in Burgers' model; the creep beside it may follow a power of
    time, which one Kelvin-Voigt unit cannot.
    """

    name = "power-flow"
    title = "power family with flow"
    formula = "D(t) = D0 + c ((1 + t/t0)^n - 1)/n + t/eta1, t0 = 1 s"
    source = (
        "Findley, Lai & Onaran, Creep and Relaxation of Nonlinear Viscoelastic Materials (1976), from memory: a power "
        "of time with a steady rate added, as Andrade wrote it for metals, Proc. R. Soc. A 84 (1910) 1"
    )
    flows = True
    meanings = {
        "D0": "Compliance at the moment of loading: how far it moves at once.",
        "creep at 1 h": "Compliance that creep, flow aside, has added after 1 h.",
        "n": EXPONENT_MEANING,
        "eta1": "Viscosity of what flows and never comes back: the larger, the less it flows.",
    }
    weight = 0.15
    set_growths = ()
    ages = True
    terms = (Instant(), PowerFamily(), Dashpot())

    def axes(self, span: Span) -> tuple[Axis, ...]:
        return (Axis("n", N_LOW, N_HIGH, 120),)

    def coordinates(self, span: Span, beliefs: PriorSettings) -> tuple[Coordinate, ...]:
        return exponent(beliefs, N_LOW, N_HIGH, 41), flow_share_or_faint(beliefs, 14, 20)

    def parameters(self, shape: Sequence[float], amplitudes: Sequence[float]) -> tuple[Parameter, ...]:
        n = float(shape[0])
        return (
            Parameter("D0", amplitudes[0], "compliance"),
            Parameter("creep at 1 h", amplitudes[1] * in_first_hour(n), "compliance"),
            Parameter("n", n, "1"),
            Parameter("eta1", modulus(amplitudes[2]), "modulus h"),
        )
