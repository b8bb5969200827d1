"""What one run says, put together: models, increments, creep modulus, creep stop, doubts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from creepfit.answers.doubts.collected import about_fit
from creepfit.answers.doubts.withheld import withheld_at
from creepfit.answers.heading import heading
from creepfit.answers.interval import Caution
from creepfit.answers.specimen.creep_stop import FURTHEST, CreepStop, creep_stop
from creepfit.answers.specimen.increments import Increments, increments
from creepfit.answers.specimen.modulus import CreepModulus, creep_modulus
from creepfit.inference.fitting import FARTHEST, Fit
from creepfit.inference.model_fit import ModelFit
from creepfit.inference.run_fit import asked_fit
from creepfit.shown import Tabled
from creepfit.units import DAY, HOUR, MINUTE, YEAR

SPOKEN_OF = 20.0
"""Lengths of the test that a window of creep stop may have at most."""


@dataclass(frozen=True, eq=False, repr=False)
class Summary(Tabled):
    """The answers that need nothing but a fit."""

    fit: Fit
    increments: Increments
    modulus: CreepModulus
    stop: CreepStop
    cautions: tuple[Caution, ...]

    @property
    def headline(self) -> str:
        return f"{self.fit.label}, {', '.join(self.fit.models)}. {self.stop.sentence}"

    def weight(self, model: str) -> float | None:
        """Weight of a model in forecasts, None where it is not one of the mixture's."""
        mixture = self.fit.mixture
        known = any(p.member.model.name == model for p in mixture.posteriors)
        return mixture.weight_of(model) if known else None

    def _rows(self) -> list[dict[str, Any]]:
        """One row a parameter of each model."""
        return [{"model": m["model"], "weight": m["weight"], **p} for m in self._models() for p in m["parameters"]]

    def to_dict(self) -> dict[str, Any]:
        """What ``fit --json`` prints."""
        instead = withheld_at(self.fit, self.fit.run.test_length)
        return {
            **heading(self.fit),
            "quantity": self.fit.quantity,
            "withheld": None if instead is None else instead.text,
            "models": self._models(),
            "increments": [row.to_dict() for row in self.increments],
            "creep_modulus": self.modulus.contents(),
            "creep_stop": self.stop.contents(),
            "cautions": [c.to_dict() for c in self.cautions],
        }

    def _models(self) -> list[dict[str, Any]]:
        return [_model(m, self.weight(name), self.fit.unit) for name, m in self.fit.models.items()]


def summarise(fit: Fit) -> Summary:
    """Put together what a fit says without further questions."""
    fit = asked_fit(fit)
    test = fit.run.test_length
    stop = creep_stop(fit, window=_window(test), by=_by(test))
    return Summary(fit, increments(fit), creep_modulus(fit), stop, about_fit(fit))


def _window(test: float) -> float:
    """Over what time creep is to have come to rest, s: a week, or what a test of minutes can speak of."""
    return next((w for w in (7.0 * DAY, DAY, HOUR, 10.0 * MINUTE) if w <= SPOKEN_OF * test), MINUTE)


def _by(test: float) -> float:
    """Until when to say what is still to come, s: a year, unless the test is too short for that or itself that long."""
    if test > YEAR / 2.0:
        return max(YEAR, FURTHEST * test)
    return next((time for time in (YEAR, 30.0 * DAY, DAY, HOUR) if time <= FARTHEST * test), FARTHEST * test)


def _model(model: ModelFit, weight: float | None, unit: str) -> dict[str, Any]:
    status = model.status
    return {
        "model": model.name,
        "weight": weight,
        **({} if weight is not None else {"weight_why": model.model.no_weight}),
        "parameters": [
            {"name": p.name, "value": p.value, "std_error": p.std_error, "unit": p.unit, "why": p.why}
            for p in model.parameters
        ],
        "noise_sd": model.noise_sd,
        "noise_unit": unit,
        "noise_from": model.noise_from,
        "readings": model.readings,
        "free": model.free,
        "aicc": model.aicc,
        "status": {
            "converged": status.converged,
            "at_bound": list(status.at_bound),
            "determined": status.determined,
        },
    }
