"""The models by name, in the order in which tables show them; of models with one name the best fit is shown.

A model of one's own joins by `register`: it is then fitted, weighted and shown like the others.
"""

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
from creepfit.models.power_flow import PowerFlow
from creepfit.models.stretched import STRETCHES, StretchedExponential
from creepfit.models.zener import Zener

MODELS: list[CreepModel] = [
    PowerFamilyModel(),
    Findley(),
    PowerFlow(),
    Burgers(),
    Zener(),
    KelvinChain(2),
    *(StretchedExponential(beta) for beta in STRETCHES),
    Power(),
    Logarithmic(),
]


def register(model: CreepModel) -> None:
    """Add a model; ValueError where its name stands for another one already."""
    if any(type(m) is not type(model) for m in MODELS if m.name == model.name):
        raise ValueError(f"there is another model by the name of {model.name!r}")
    MODELS.append(model)


def forget(name: str) -> None:
    """Take the models of a name out again."""
    MODELS[:] = [m for m in MODELS if m.name != name]


def leading() -> CreepModel:
    """The one model that is taken where one is enough."""
    return next(m for m in MODELS if m.leads)


def prior_weights() -> dict[str, float]:
    """Prior weight of each model in the mixture by name, those with none left out."""
    weights: dict[str, float] = {}
    for model in MODELS:
        if model.weight > 0.0:
            weights[model.name] = weights.get(model.name, 0.0) + model.weight
    return weights


def models_named(name: str) -> tuple[CreepModel, ...]:
    """The models of that name; InputError with the nearest right one where there is none."""
    named = tuple(candidate for candidate in MODELS if candidate.name == name)
    if not named:
        names = list(dict.fromkeys(m.name for m in MODELS))
        near = get_close_matches(name, names, n=1)
        hint = f"{near[0]!r}" if near else "one of " + ", ".join(names)
        raise InputError(key="model", found=name, expected=hint)
    return named
