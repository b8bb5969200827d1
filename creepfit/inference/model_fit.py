"""`fit_model`: the best fit of one model to a run's readings, with named parameters and their errors."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from creepfit.inference.best_fit import BestFit, best_fit_of
from creepfit.inference.columns import Observations
from creepfit.inference.joint_fit import lowest_shapes
from creepfit.inference.projection import ProjectedData, ProjectedProblem
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.mechanics.long_history import Superposition
from creepfit.models.model import Axis, CreepModel
from creepfit.records.run import Run

NO_ZERO = "no reading was taken before loading: what came at once cannot be told from the gauge's zero"
FLOW_NOT_SEEN = "not seen in these readings: its compliance came out as zero"


RESIDUALS_TELL = 8
"""Residuals to spare from which on they may say that a gauge is better than its word."""


@dataclass(frozen=True)
class FittedParameter:
    """A named parameter; `value` and `std_error` are None where unknown, and `why` says why."""

    name: str
    value: float | None
    std_error: float | None
    unit: str
    why: str | None = None


@dataclass(frozen=True)
class Status:
    """How the search ended: three separate facts, because one word for all of them misleads.

    `converged`: the search stopped by its own tolerance. `at_bound`: names of what ended at an end of its range.
    `determined`: the readings fix every parameter in play.
    """

    converged: bool
    at_bound: tuple[str, ...]
    determined: bool


@dataclass(frozen=True, eq=False)
class ModelFit:
    """Best fit of one model to one run.

    `amplitudes` are in 1/MPa (mm/N without geometry); `set_compliance` is that of the set that comes with the load,
    None where the run cannot show one. `residuals` and `noise_sd` are in mm (or strain); `noise_from` is "gauge" or
    "residuals". `aicc` is None where it is not defined.
    """

    model: CreepModel
    shape: tuple[float, ...]
    amplitudes: tuple[float, ...]
    set_compliance: float | None
    parameters: tuple[FittedParameter, ...]
    noise_sd: float
    noise_from: str
    readings: int
    free: int
    residual_sum: float
    aicc: float | None
    status: Status
    residuals: Array
    observed: Observations = field(repr=False)

    @property
    def name(self) -> str:
        return self.model.name

    def deformation(self, history: LoadHistory, times: Array) -> Array:
        """Best-fit deformation, mm (or strain), at times of shape (T,) under a load history."""
        loads = Superposition(history, times)
        total = np.zeros(loads.times.size)
        for term, amplitude in zip(self.model.terms, self.amplitudes, strict=True):
            if term.axis is None:
                total += amplitude * loads.column(term)
            else:
                total += amplitude * loads.column(term, np.array([self.shape[term.axis]]))[0]
        if self.set_compliance:
            total += self.set_compliance * loads.peak()
        return np.asarray(self.observed.factor * total)


def fit_models(
    models: Sequence[CreepModel], observed: Observations, run: Run | None, lowest_of: Sequence[Array | None] | None = None
) -> dict[str, ModelFit]:
    """Best fit of each model by name; where several have one name, the one that leaves the smallest residual sum.

    `lowest_of` are the shapes of each where they were found before, as `lowest_shapes` does for several runs.
    """
    found: dict[str, tuple[CreepModel, BestFit]] = {}
    shapes = lowest_shapes(models, [observed])[0] if lowest_of is None else lowest_of
    data = _projected(observed)
    for creep, lowest in zip(models, shapes, strict=True):
        best = _best_at(creep, observed, data, lowest)
        if creep.name not in found or best.residual_sum < found[creep.name][1].residual_sum:
            found[creep.name] = creep, best
    return {name: _fitted(creep, best, observed, run) for name, (creep, best) in found.items()}


def fit_model(creep: CreepModel, observed: Observations, run: Run | None = None) -> ModelFit:
    """Best fit of one model to a run's observations."""
    best = _best_at(creep, observed, _projected(observed), lowest_shapes([creep], [observed])[0][0])
    return _fitted(creep, best, observed, run)


def _with_set(creep: CreepModel, observed: Observations) -> bool:
    """Whether a set that comes with the load is fitted beside the model."""
    return observed.has_initial and observed.has_recovery and not creep.flows


def _projected(observed: Observations) -> ProjectedData:
    """The whitened readings with their zeros projected out."""
    return ProjectedData(observed.noise.whiten(observed.values), observed.noise.whiten(observed.zeros))


def _best_at(creep: CreepModel, observed: Observations, data: ProjectedData, lowest: Array | None) -> BestFit:
    """The best fit at the shapes that are known to be best, or by a search of its own where they are not."""
    with_set = _with_set(creep, observed)
    peak = observed.peak_column()[None, :, None]

    def basis(shapes: Array) -> Array:
        columns = observed.response(creep, shapes)
        if with_set:
            columns = np.concatenate([columns, np.broadcast_to(peak, (*columns.shape[:2], 1))], axis=2)
        return observed.noise.whiten(columns)

    return best_fit_of(ProjectedProblem(basis, data, nonnegative=True), creep.axes(observed.span), lowest)


def _fitted(creep: CreepModel, best: BestFit, observed: Observations, run: Run | None) -> ModelFit:
    """A best fit with named parameters and their errors."""
    axes, with_set = creep.axes(observed.span), _with_set(creep, observed)
    count = len(creep.terms)
    noise_sd, noise_from = _noise(best, observed)
    compliance_unit = "mm/N" if run is not None and run.specimen.geometry.stress_per_load is None else "1/MPa"
    parameters = _parameters(creep, best, axes, noise_sd, compliance_unit, with_set)
    names = _bound_names(best, creep, axes)
    rest = observed.noise.coloured(best.residuals)
    return ModelFit(
        creep,
        tuple(float(s) for s in best.shape),
        tuple(float(a) for a in best.amplitudes[:count]),
        float(best.amplitudes[count]) if with_set else None,
        parameters,
        noise_sd,
        noise_from,
        observed.times.size,
        max(best.free, 0),
        best.residual_sum,
        _aicc(best),
        Status(best.converged, names, best.determined),
        rest,
        observed,
    )


def _noise(best: BestFit, observed: Observations) -> tuple[float, str]:
    """Noise behind the standard errors: the residuals' where they are many or larger than the gauge's, else the gauge's."""
    stated = observed.noise.stated
    if best.free < 1:
        return stated, "gauge"
    seen = float(np.sqrt(best.residual_sum / best.free))
    return (seen, "residuals") if best.free >= RESIDUALS_TELL or seen > stated else (stated, "gauge")


def _aicc(best: BestFit) -> float | None:
    """Akaike's criterion for small samples; undefined with N - k - 1 <= 0 and meaningless for a perfect fit."""
    readings = best.residuals.size
    k = readings - best.free + 1
    if readings - k - 1 <= 0 or best.residual_sum <= 0.0:
        return None
    return float(readings * np.log(best.residual_sum / readings) + 2 * k + 2 * k * (k + 1) / (readings - k - 1))


def _bound_names(best: BestFit, creep: CreepModel, axes: Sequence[Axis]) -> tuple[str, ...]:
    names = []
    for item in best.at_bound:
        kind, number = item.split()
        if kind == "shape":
            names.append(axes[int(number)].name)
        elif int(number) >= len(creep.terms):
            names.append("set")
        else:
            names.append(type(creep.terms[int(number)]).__name__.lower())
    return tuple(names)


def _parameters(
    creep: CreepModel, best: BestFit, axes: Sequence[Axis], noise_sd: float, compliance_unit: str, with_set: bool
) -> tuple[FittedParameter, ...]:
    """Named parameters with errors by the delta method through the model's own naming."""
    d, k = len(axes), len(creep.terms)
    vector = np.concatenate([best.shape, best.amplitudes[:k]])
    unknown = _why_unknown(best, axes)
    rows = []
    values = creep.parameters(vector[:d].tolist(), vector[d:].tolist())
    gradients = _gradients(creep, vector, d) if unknown is None else np.zeros((len(values), vector.size))
    if not np.isfinite(gradients).all():
        gradients = np.nan_to_num(gradients)
    without = _without_zero(creep, vector, d, best.hidden) if best.hidden else [False] * len(values)
    for value, gradient, unseen in zip(values, gradients, without, strict=True):
        unit = _unit(value.unit, compliance_unit)
        if unseen:
            rows.append(FittedParameter(value.name, None, None, unit, NO_ZERO))
            continue
        if not np.isfinite(value.value):
            rows.append(FittedParameter(value.name, None, None, unit, FLOW_NOT_SEEN))
            continue
        error, why = _error(gradient, best, noise_sd, unknown)
        rows.append(FittedParameter(value.name, value.value, error, unit, why))
    if with_set:
        gradient = np.zeros(vector.size + 1)
        gradient[-1] = 1.0
        error, why = _error(gradient, best, noise_sd, unknown)
        rows.append(FittedParameter("set", float(best.amplitudes[k]), error, compliance_unit, why))
    return tuple(rows)


def _without_zero(creep: CreepModel, vector: Array, d: int, hidden: tuple[int, ...]) -> list[bool]:
    """Which named parameters hang on amplitudes that cannot be told from the zero: those that another size would change."""
    tried = []
    for size in (1.0, 2.0):
        other = vector.copy()
        other[[d + k for k in hidden if d + k < vector.size]] = size
        tried.append(creep.parameters(other[:d].tolist(), other[d:].tolist()))
    return [a.value != b.value for a, b in zip(*tried, strict=True)]


def _gradients(creep: CreepModel, vector: Array, d: int) -> Array:
    """Derivatives of the named parameters by shape and amplitudes, by central differences, shape (P, d+K)."""
    step = 1e-6 * np.abs(vector)
    step[step == 0.0] = 1e-12
    beside, each = np.repeat(vector[None, :], 2 * vector.size, axis=0), np.arange(vector.size)
    beside[each, each] += step
    beside[vector.size + each, each] -= step
    values = np.array([[p.value for p in creep.parameters(row[:d], row[d:])] for row in beside.tolist()])
    with np.errstate(invalid="ignore"):
        return np.asarray((values[: vector.size] - values[vector.size :]).T / (2.0 * step))


def _why_unknown(best: BestFit, axes: Sequence[Axis]) -> str | None:
    """The reason for which no parameter has an error, None where they have."""
    if best.free < 1:
        return "as many parameters as readings: the fit passes through them whatever the noise"
    if not best.determined:
        return "these readings do not determine the parameters separately"
    at_end = [axes[int(item.split()[1])] for item in best.at_bound if item.startswith("shape")]
    if at_end:
        return f"{at_end[0].name} ended at the end of its range; an error beside it would be too small"
    return None


def _error(gradient: Array, best: BestFit, noise_sd: float, unknown: str | None) -> tuple[float | None, str | None]:
    if unknown is not None or best.covariance is None:
        return None, unknown
    touched = gradient.nonzero()[0]
    if not touched.size:
        return None, "taken from a few values, not fitted"
    used = gradient[touched]
    variance = used @ best.covariance[touched[:, None], touched] @ used
    if math.isnan(variance):  # as rows out of play are
        return None, "its amplitude came out as zero, so it has no error of the usual kind"
    return noise_sd * math.sqrt(variance), None


def _unit(unit: str, compliance_unit: str) -> str:
    if unit == "compliance":
        return compliance_unit
    stiffness = "MPa" if compliance_unit == "1/MPa" else "N/mm"
    return unit.replace("modulus", stiffness).replace("MPa h", "MPa·h").replace("N/mm h", "N·h/mm")
