"""The models by name, in the order in which tables show them; of models with one name the best fit is shown."""

from __future__ import annotations

from difflib import get_close_matches

from creepfit.errors import InputError
from creepfit.models.burgers import Burgers
from creepfit.models.findley import Findley
from creepfit.models.kelvin_chain import KelvinChain
from creepfit.models.logarithmic import Logarithmic
from creepfit.models.model import CreepModel
from creepfit.models.power import Power
from creepfit.models.power_family import PowerFamilyModel
from creepfit.models.stretched import STRETCHES, StretchedExponential
from creepfit.models.zener import Zener

MODELS: tuple[CreepModel, ...] = (
    PowerFamilyModel(),
    Findley(),
    Burgers(),
    Zener(),
    KelvinChain(2),
    *(StretchedExponential(beta) for beta in STRETCHES),
    Power(),
    Logarithmic(),
)


def models_named(name: str) -> tuple[CreepModel, ...]:
    """The models of that name; InputError with the nearest right one where there is none."""
    found = tuple(candidate for candidate in MODELS if candidate.name == name)
    if not found:
        names = list(dict.fromkeys(m.name for m in MODELS))
        near = get_close_matches(name, names, n=1)
        hint = f"{near[0]!r}" if near else "one of " + ", ".join(names)
        raise InputError(key="model", found=name, expected=hint)
    return found
