"""`Outlook`: what every answer is made from: a fit, a load over time, and the probability of its intervals.

An answer is made in three steps. Ask for the outlook, `outlook(fit, load=..., history=..., level=...)`. Take draws from
it: `response(times)`, `compliance(times)`, `first_reached(limit)`, `largest_factor(limit, life)`, each a `Predicted`, which
holds the draws with ageing and without; `.map(...)` makes other quantities of them. Turn them into intervals or
probabilities last, by `.intervals(level)`, `.interval(level)` or `.least(event)`: these hold the rules that ageing makes no
answer safer, and that what is promised (`first_reached`, `largest_factor`) does not lean on how likely flow is. Times,
levels and limits are read by `creepfit.asked` only; `fit.horizon` is the cap at 100 times the data; `cautions(times)` are
the doubts, which a result hands out when asked for them.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from creepfit.answers.doubts.collected import about_forecast
from creepfit.answers.interval import Caution
from creepfit.asked import asked_level
from creepfit.errors import FitError, InputError
from creepfit.inference.fitting import Fit
from creepfit.inference.response import Predicted, predicted, promised, standing_load
from creepfit.inference.run_fit import asked_fit
from creepfit.mechanics.load_plan import LoadPlan
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.records.history_file import read_load, unit_of_load
from creepfit.records.load_unit import LoadUnit
from creepfit.units import show_time


@dataclass(frozen=True, eq=False)
class Outlook:
    """What a fit says under a load; the response is in mm or strain, counted as the gauge counts.

    `level` is the probability of intervals, `asked_in` the unit of a load that was asked for in words.
    """

    fit: Fit = field(repr=False)
    load: LoadPlan
    level: float
    asked_in: LoadUnit | None = None

    @property
    def load_unit(self) -> LoadUnit:
        """What its loads are to be shown in: as they were typed."""
        return self.asked_in or self.fit.run.load_unit

    @property
    def always_on(self) -> Outlook:
        """The same under the highest load, held from the start."""
        return replace(self, load=LoadPlan.held(self.load.peak))

    @property
    def proportional(self) -> bool:
        """Whether the response is the compliance times the load: one that is held since the initial reading, no other."""
        return self.load.is_held and self.fit.observed.has_initial and standing_load(self.fit).change.size == 0

    @property
    def toward(self) -> float:
        """Direction in which a limit lies: under a load below zero the specimen goes the other way."""
        return -1.0 if self.load.peak < 0.0 else 1.0

    def history(self, times: Array) -> LoadHistory:
        """The load, complete up to the last of some times [s]."""
        return self.load.until(float(np.max(times)))

    def response(self, times: Array) -> Predicted:
        """Change since the reference at times (T,) in s, draws of shape (N, T)."""
        return predicted(self.fit, self.history(times), times)

    def compliance(self, times: Array, known: Predicted | None = None) -> Predicted:
        """Compliance in 1/MPa (mm/N without sizes) at times (T,), draws of shape (N, T), with the doubt about the sizes.

        Parameters
        ----------
        times : ndarray, shape (T,)
            Since loading, s.
        known : Predicted, optional
            The response at these times, where a caller has it already.
        """
        spread = self.fit.run.relative_sd

        def sized(compliance: Array) -> Array:
            factor = np.exp(spread * _normal(compliance.shape[0], self.fit.seed))
            # discrepancy far beyond the data can take a draw below any compliance there is; a modulus needs one above zero
            return np.asarray(np.maximum(compliance * factor[:, None], 1e-12))

        if self.proportional:
            whole = self.response(times) if known is None else known
            return whole.map(lambda draws: sized(draws / (self.load.peak * self.fit.observed.factor)))
        plain = self.fit.unaged_draws
        unaged = None if plain is None else plain.compliance(times)
        return Predicted(self.fit.draws.compliance(times), unaged).map(sized)

    def first_reached(self, limit: float) -> Predicted:
        """Time [s] at which each draw first reaches a limit in mm (strain), as far as the horizon; see `first_passage`."""
        times = self.load.follow(self.fit.horizon)
        along = self.response(times).map(lambda draws: first_passage(self.toward * draws, times, limit))
        return promised(self.fit, along).as_drawn()

    def largest_factor(self, limit: float, life: float) -> Predicted:
        """By what each draw's load could be multiplied before a limit is reached within a life [s], shape (N,); or inf.

        Raises
        ------
        InputError
            A life beyond the horizon.
        """
        if life > self.fit.horizon:
            expected = f"at most 100 times the data ({show_time(self.fit.horizon)})"
            raise InputError(key="life", found=show_time(life), expected=expected)
        # under one load that is held the end of the life decides
        times = np.array([life]) if self.load.is_held else self.load.follow(life)
        nothing = predicted(self.fit, LoadHistory.from_steps([]), times).map(lambda draws: self.toward * draws)
        whole = self.response(times).map(lambda draws: self.toward * draws)
        pairs = zip(nothing.both, whole.both, strict=True)
        return promised(self.fit, Predicted.of(_factor(limit, standing, both) for standing, both in pairs))

    def cautions(self, times: Array) -> tuple[Caution, ...]:
        """What is doubtful about the response at these times, with the doubts about run and fit."""
        return about_forecast(self.fit, times, self.load.peak, self._flowing(float(np.max(times))))

    def _flowing(self, end: float) -> float:
        """The load over time up to an end [s], over the run's largest load held that long: as flow goes."""
        load = self.history(np.array([end]))
        since = np.clip(end - 0.5 * (load.start + load.end), 0.0, None)
        return abs(float(load.change @ since) / (self.fit.observed.load * end))


@lru_cache(maxsize=4)  # of one seed in a batch
def _normal(count: int, seed: int) -> Array:
    """Standard normal numbers, shape (N,): the error of a specimen's sizes in each draw."""
    normal = np.random.default_rng(seed).standard_normal(count)
    normal.setflags(write=False)
    return normal


def outlook(
    fit: Fit,
    load: str | float | None = None,
    history: LoadPlan | LoadHistory | None = None,
    level: str | float | None = None,
) -> Outlook:
    """Make an outlook.

    Parameters
    ----------
    fit : Fit
    load : str or float, optional
        Held from t = 0: "0.3 kg", "2 N", or a number in N (MPa for a run in strain). By default the run's last load that is
        not zero.
    history : LoadPlan or LoadHistory, optional
        In its place a load that changes, see `records.history_file.read_history`.
    level : str or float, optional
        Probability of intervals, the fit's own if not given.

    Raises
    ------
    InputError
        A load or level that is none.
    FitError
        A load that changes where the instantaneous response was not read.
    """
    fit = asked_fit(fit)
    asked = _asked_load(fit, load, history)
    unit = unit_of_load(load, fit.run) if isinstance(load, str) else None
    return Outlook(fit, asked, fit.level if level is None else asked_level(level), unit)


def outlook_under(fit: Fit, history: LoadHistory, level: str | float | None = None) -> Outlook:
    """Make an outlook under a history of added loads as it is, such as the run's own."""
    fit = asked_fit(fit)
    return Outlook(fit, LoadPlan.of(history), fit.level if level is None else asked_level(level))


def _asked_load(fit: Fit, load: object, history: LoadPlan | LoadHistory | None) -> LoadPlan:
    """The load of a question, in the run's direction: a specimen tested one way says nothing of the other."""
    if history is None:
        value = fit.run.working_load if load is None else read_load(load, fit.run)
        if value * fit.run.working_load < 0.0:
            side = "above zero" if value < 0.0 else "below zero"
            raise InputError(key="load", found=load, expected=f"a load {side}, as the run's")
        return LoadPlan.held(value)
    if load is not None:
        raise InputError(key="load", found="a load and a history", expected="one of them")
    if not (fit.observed.has_initial or fit.observed.has_recovery):
        raise FitError(
            "under a load that changes the instantaneous response counts, and it was not read: "
            "take a reading before loading, or some after unloading"
        )
    if not isinstance(history, LoadPlan | LoadHistory):
        given = type(history).__name__
        raise InputError(key="history", found=given, expected="a LoadPlan, as read_history returns it, or a LoadHistory")
    plan = history if isinstance(history, LoadPlan) else LoadPlan.of(history)
    if plan.peak == 0.0:
        raise InputError("no load", key="history", expected="a load above zero")
    return plan


def first_passage(deformation: Array, times: Array, limit: float) -> Array:
    """Time at which each draw first reaches a limit.

    Parameters
    ----------
    deformation : ndarray, shape (N, T)
    times : ndarray, shape (T,)
        Ascending, s; between them the highest deformation so far grows linearly in log time.
    limit : float

    Returns
    -------
    ndarray, shape (N,)
        s; 0 where the limit is reached at the first time already (on loading), inf where it never is.
    """
    return np.asarray(np.exp(first_crossing(deformation, np.log(times), limit)))


def first_crossing(curves: Array, along: Array, limit: float) -> Array:
    """Where each curve (N, T) over ascending places (T,) first reaches a limit, shape (N,).

    Between the places the highest value so far is a straight line; -inf where the limit is reached at the first one
    already, inf where it never is.
    """
    highest = np.maximum.accumulate(curves, axis=1)
    index = (highest < limit).sum(axis=1)
    inner = np.clip(index, 1, along.size - 1)
    rows = np.arange(highest.shape[0])
    before, after = highest[rows, inner - 1], highest[rows, inner]
    gap = np.where(after > before, after - before, 1.0)
    part = np.clip((limit - before) / gap, 0.0, 1.0)
    crossed = along[inner - 1] + part * (along[inner] - along[inner - 1])
    return np.where(index == 0, -np.inf, np.where(index == along.size, np.inf, crossed))


def _factor(limit: float, standing: Array, whole: Array) -> Array:
    """Least factor over the times, shape (N,): what acts in any case takes its part of the limit first."""
    added = whole - standing
    with np.errstate(divide="ignore"):
        factor = np.where(added > 0.0, (limit - standing) / np.where(added > 0.0, added, 1.0), np.inf)
    return np.asarray(factor.min(axis=1))
