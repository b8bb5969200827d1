"""Pure power law: D(t) = m t^n, t in hours, with no instantaneous term."""

from __future__ import annotations

from collections.abc import Sequence

from creepfit.models.findley import PurePower
from creepfit.models.model import Axis, CreepModel, Parameter, Span


class Power(CreepModel):
    """Total strain as a power of time, as data sheets and design books often give it."""

    name = "power"
    title = "pure power law"
    formula = "D(t) = m t^n, t in h"
    source = "Crawford, Plastics Engineering, 3rd ed., example 2.16 (pp. 107-109)"
    terms = (PurePower(),)
    meanings = {
        "m": "Whole compliance after 1 h.",
        "n": "How fast creep slows down: a tenfold time multiplies the creep by 10 to the n.",
    }
    no_weight = "nothing comes at once in it, so it is shown for comparison with data sheets and not forecast with"

    def axes(self, span: Span) -> tuple[Axis, ...]:
        return (Axis("n", 0.002, 0.95, 120),)

    def parameters(self, shape: Sequence[float], amplitudes: Sequence[float]) -> tuple[Parameter, ...]:
        return Parameter("m", amplitudes[0], "compliance"), Parameter("n", float(shape[0]), "1")
