"""A run with its best fits and, when asked for, its mixture and draws: what every answer is made from."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Self

import numpy as np

from creepfit.asked import asked_for, asked_for_each
from creepfit.errors import FitError
from creepfit.inference.columns import Observations, observations
from creepfit.inference.components import members_of
from creepfit.inference.freest_curve import Finding, FreestCurve, plain_curves
from creepfit.inference.hindcast import Hindcast, NoHindcast, hindcast, plainly_missed
from creepfit.inference.joint_fit import lowest_shapes
from creepfit.inference.laid_grids import LaidGrids, LaidLikelihood, of_batches
from creepfit.inference.likelihood import Likelihood
from creepfit.inference.mixture import DEFAULT_DRAWS, DEFAULT_SEED, Draws, Mixture, mixture_of
from creepfit.inference.model_fit import RESIDUALS_TELL, ModelFit, fit_models
from creepfit.inference.priors import Priors, priors_for
from creepfit.inference.unknown_steps import steps_seen, with_unknown_steps
from creepfit.inference.warmth import Warming
from creepfit.limits import possible
from creepfit.mechanics.loading import Array
from creepfit.models.model import CreepModel
from creepfit.models.registry import MODELS, models_named
from creepfit.records.run import Run
from creepfit.shown import Shown

if TYPE_CHECKING:
    from pandas import DataFrame

DEFAULT_LEVEL = 0.9

MOST_DIVISIONS = 1e7
"""Movement over the gauge's noise beyond which it is a slip: a good gauge has some 1e5 divisions, and past 1e8 of them
double precision leaves little of what the noise decides."""

FAR, FARTHEST = 10.0, 100.0
"""Lengths of the test: one decade beyond it is preferred, two are the limit up to which times are answered (common
practice, no source)."""


@dataclass(frozen=True, eq=False, repr=False)
class Fit(Shown):
    """A run with its best fits and, made when first asked for, its mixture.

    `warming` is the climate that its draws are for, None for the temperature of the test. `laid` are grids that it has in
    common with fits made beside it.
    """

    run: Run
    observed: Observations
    models: dict[str, ModelFit]
    priors: Priors
    level: float = DEFAULT_LEVEL
    seed: int = DEFAULT_SEED
    warming: Warming | None = None
    laid: LaidGrids | None = None

    @property
    def headline(self) -> str:
        names = ", ".join(self.models) or "no model for a table"
        return f"{self.label}, {len(self.run.used)} readings; {names}"

    @cached_property
    def runs(self) -> tuple[Run, ...]:
        """The runs that it is a fit of."""
        return (self.run,)

    @property
    def specimens(self) -> int:
        """How many specimens it is a fit of."""
        return 1

    @property
    def average(self) -> Fit:
        """The fit whose draws are of the average of its specimens, not of a new one."""
        return self

    def at_level(self, level: float) -> Self:
        """The same fit with intervals of another probability; what is worked out already is not worked out again."""
        again = replace(self, level=level)
        known = ("freest", "steps", "with_steps", "mixture", "likelihood", "draws", "unaged_draws", "average")
        vars(again).update({name: value for name, value in vars(self).items() if name in known})
        return again

    def table(self) -> DataFrame:
        """One row a parameter of each model."""
        from creepfit.whole_table import WholeTable

        columns = ["model", "name", "value", "std_error", "unit", "why"]
        rows = [{"model": m.name, **asdict(p)} for m in self.models.values() for p in m.parameters]
        return WholeTable(rows, columns=columns)

    @cached_property
    def freest(self) -> FreestCurve:
        """The freest curve through the readings: steps are looked for beside it, and doubts ask it again."""
        return FreestCurve(self.observed)

    @cached_property
    def steps(self) -> tuple[Finding, ...]:
        """Jumps and single readings off the curve that the readings show."""
        return steps_seen(self.freest)

    @cached_property
    def with_steps(self) -> Observations:
        """The observations that forecasts are made from: a jump that the readings show is a step of unknown size."""
        return with_unknown_steps(self.observed, self.steps)

    @cached_property
    def mixture(self) -> Mixture:
        """Posterior over the members of the mixture."""
        members = members_of(self.with_steps, self.priors, self.run.age)
        made = mixture_of(members, self.likelihood)
        jumped = max((abs(step.size or 0.0) for step in self.steps if step.kind == "jump"), default=0.0)
        return replace(made, warming=self.warming, missed=plainly_missed(self, self._usual_trial, jumped))

    @cached_property
    def trial(self) -> Hindcast | NoHindcast:
        """How a forecast from the first part of the run would have done, at the fit's own level."""
        return hindcast(self)

    def _usual_trial(self) -> Hindcast | NoHindcast:
        """The same at the usual level: the mixture does not hang on which intervals are asked for."""
        return self.trial if self.level == DEFAULT_LEVEL else hindcast(replace(self, level=DEFAULT_LEVEL))

    @cached_property
    def likelihood(self) -> Likelihood:
        """What the readings say of any member, for members besides the mixture's."""
        return LaidLikelihood(self.with_steps, self.priors, self.laid)

    @cached_property
    def draws(self) -> Draws:
        """The default number of draws with the fit's own seed."""
        return self.mixture.draws(DEFAULT_DRAWS, self.seed)

    @cached_property
    def unaged_draws(self) -> Draws | None:
        """As many draws without the models on an ageing clock; None where there are none of those."""
        plain = self.mixture.without_ageing()
        return None if plain is None else plain.draws(DEFAULT_DRAWS, self.seed)

    @property
    def horizon(self) -> float:
        """100 times the test, s: beyond it nothing is answered without having been asked for."""
        return FARTHEST * self.run.test_length

    def decades_beyond(self, time: float) -> float:
        """How many decades a time [s] goes beyond the test, 0 within it."""
        return max(float(np.log10(time / self.run.test_length)), 0.0)

    @property
    def label(self) -> str:
        """What the fit is of, for a heading."""
        return self.run.label

    @property
    def quantity(self) -> str:
        """What readings measure: "deflection", "deformation", "strain", or "creep increment" without an initial one."""
        if not self.observed.has_initial:
            return "creep increment"
        if self.run.specimen.reading_quantity == "strain":
            return "strain"
        return "deflection" if self.run.specimen.deflects else "deformation"

    @property
    def unit(self) -> str:
        """Unit of the quantity: "mm", or "1" for strain as a fraction."""
        return self.run.unit

    @cached_property
    def noise_draws(self) -> Array:
        """Standard deviation of one reading in each draw, mm (or strain), shape (N,): by all models and the gauge's word.

        It is no finer than the gauge's word where few residuals are left to show that.
        """
        few = self.best.free < RESIDUALS_TELL
        return np.maximum(self.draws.noise, self.observed.noise.stated) if few else self.draws.noise

    @property
    def noise_sd(self) -> float:
        """Median of `noise_draws`."""
        return float(np.median(self.noise_draws))

    @property
    def best(self) -> ModelFit:
        """The model that leaves the smallest residual sum for its number of parameters (AICc, else residual sum)."""
        known = [m for m in self.models.values() if m.aicc is not None]
        if known:
            return min(known, key=lambda m: m.aicc if m.aicc is not None else np.inf)
        return min(self.models.values(), key=lambda m: m.residual_sum)


@dataclass(frozen=True, eq=False)
class Begun:
    """A run that can be fitted, and of each model the shapes where its residual sum is lowest; see `lowest_shapes`.

    `laid` are the grids of it and those beside it, `freest` its freest curve, None where it is looked for alone.
    """

    observed: Observations
    lowest: Sequence[Array | None]
    laid: LaidGrids
    freest: FreestCurve | None


def begin(runs: Sequence[Run], models: Sequence[str] | None = None) -> list[Begun | None]:
    """What several runs take less time for together, whatever they come to; None where `fit_run` says what is wrong."""
    known: dict[int, Observations] = {}
    for i, run in enumerate(runs):
        with suppress(Exception):  # `fit_run` meets it again, and costs one run its answer and not all of them
            known[i] = _observed(run)
    out: list[Begun | None] = [None] * len(runs)
    laid = of_batches()
    with suppress(np.linalg.LinAlgError, MemoryError):  # of many at once: then each begins by itself
        each = list(known.values())
        curves: Sequence[FreestCurve | None] = [None] * len(each)
        with suppress(Exception):  # the run whose curve it is meets it again
            curves = plain_curves(each)
        for i, lowest, freest in zip(known, lowest_shapes(_chosen(models), each), curves, strict=True):
            out[i] = Begun(known[i], lowest, laid, freest)
    return out


def fit_run(
    run: Run,
    models: Sequence[str] | None = None,
    priors: Priors | None = None,
    level: float = DEFAULT_LEVEL,
    seed: int = DEFAULT_SEED,
    begun: Begun | None = None,
) -> Fit:
    """Fit one run; parameters and errors as in `fitting.fit`, `begun` with others where it was."""
    observed, lowest = (_observed(run), None) if begun is None else (begun.observed, begun.lowest)
    best = fit_models(_chosen(models), observed, run, lowest)
    priors = priors or priors_for(run.kind, run.prior)
    if begun is None:
        return Fit(run, observed, best, priors, level, seed)
    made = Fit(run, observed, best, priors, level, seed, laid=begun.laid)
    if begun.freest is not None:
        vars(made)["freest"] = begun.freest
    return made


def _chosen(models: Sequence[str] | None) -> tuple[CreepModel, ...]:
    return tuple(MODELS) if models is None else tuple(m for name in models for m in models_named(name))


def _observed(run: Run) -> Observations:
    observed = observations(run)
    check_readings(run, observed)
    return observed


def check_readings(run: Run, observed: Observations) -> None:
    """Raise FitError where readings were not taken at two times or more under load, or tell of no gauge or solid."""
    under_load = observed.times[(observed.times > 0.0) & (observed.history.added(observed.times) != 0.0)]
    if under_load.size < 2:
        raise FitError("one reading under load cannot show creep; take a second one, best ten times later")
    if np.ptp(under_load) == 0.0:
        raise FitError("all readings under load were taken at one time; take another one, best ten times later")
    if observed.scale > MOST_DIVISIONS * observed.noise.stated:
        raise FitError(
            f"the readings move by {observed.scale / observed.noise.stated:.2g} times the scatter of the gauge as stated, "
            "which no gauge can show; look at the units of readings and gauge"
        )
    modulus = observed.load * observed.factor / observed.scale
    solid = possible("modulus")
    if run.specimen.geometry.stress_per_load is not None and not solid.smallest <= modulus <= solid.largest:
        raise FitError(
            f"readings, load and sizes come to a modulus of {modulus:.2g} MPa, which nothing solid has; look at their units"
        )


def asked_fit(given: object) -> Fit:
    """Return a fit where one was given; InputError with how to come to one for anything else."""
    return asked_for(given, Fit, "fit", HOW_TO_FIT)


def asked_fits(given: object) -> tuple[Fit, ...]:
    """Return fits where a list of them was given; InputError with how to come to one for anything else."""
    return asked_for_each(given, Fit, "fits", HOW_TO_FIT)


HOW_TO_FIT = "what cf.fit(run) returns, and run is what cf.read_run(file) returns"
