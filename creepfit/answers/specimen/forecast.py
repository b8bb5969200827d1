"""Forecast: how far the specimen will have moved at later times, how sure that is, and what the doubt is made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from creepfit.answers.heading import heading
from creepfit.answers.interval import Caution, Interval, IntervalAt, intervals
from creepfit.answers.load_case import LoadCase, load_case
from creepfit.answers.response import (
    discrepancy,
    families,
    reference_times,
    response,
    standing_load,
    unaged_draws,
)
from creepfit.answers.specimen.limit import Limit, limit_answer, read_limit
from creepfit.answers.specimen.modulus import CreepModulus, creep_modulus
from creepfit.answers.specimen.shares import Shares, shares
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit
from creepfit.inference.hindcast import Hindcast, NoHindcast, hindcast
from creepfit.inference.mixture import DEFAULT_DRAWS, Draws
from creepfit.inference.noise import DAY
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.records.history_file import LoadPlan
from creepfit.units import HOUR, quantity

if TYPE_CHECKING:
    from pandas import DataFrame

Kind = Literal["curve", "reading"]
DEFAULT_TIMES = ("30 d", "1 year")


FULLY_ON = 0.999
"""Part of the highest load from which on a load that comes and goes counts as fully on."""


@dataclass(frozen=True)
class ModelLine:
    """What one model alone forecasts, and its weight in the mixture."""

    model: str
    weight: float
    interval: Interval

    def to_dict(self) -> dict[str, Any]:
        return {"model": self.model, "weight": self.weight, **self.interval.to_dict()}


@dataclass(frozen=True)
class ForecastRow:
    """Forecast at one time [s] since first loading, in the forecast's unit.

    `decades_beyond` is log10(time / test length), 0 inside the test. `always_on` stands beside a load that changes: the
    same under its highest load held from the start; None for a load that is held.
    """

    time: float
    interval: Interval
    decades_beyond: float
    share: Shares
    models: tuple[ModelLine, ...]
    always_on: Interval | None = None
    peak: IntervalAt | None = None

    def to_dict(self) -> dict[str, Any]:
        row = {
            "time_h": self.time / HOUR,
            **self.interval.to_dict(),
            "decades_beyond": self.decades_beyond,
            "share": self.share.to_dict(),
            "models": [m.to_dict() for m in self.models],
        }
        if self.always_on is not None:
            row["always_on"] = self.always_on.to_dict()
        if self.peak is not None:
            row["peak"] = self.peak.to_dict()
        return row


@dataclass(frozen=True, eq=False)
class Forecast:
    """Deformation (or strain, or creep increment without an initial reading) at times under a load.

    `unit` is "mm", or "1" for strain as a fraction. `kind` says what the intervals are of: the mean "curve" or the next
    gauge "reading".
    """

    fit: Fit = field(repr=False)
    case: LoadCase
    kind: Kind
    level: float
    rows: tuple[ForecastRow, ...]
    modulus: CreepModulus
    limit: Limit | None
    cautions: tuple[Caution, ...] = ()

    @property
    def quantity(self) -> str:
        return self.fit.quantity

    @property
    def unit(self) -> str:
        return self.fit.unit

    @property
    def assumptions(self) -> tuple[str, ...]:
        """What was believed before the readings, in words."""
        return self.fit.priors.assumptions(self.fit.observed.has_recovery)

    @property
    def load_unit(self) -> str:
        return "MPa" if self.fit.run.specimen.load_quantity == "stress" else "N"

    @cached_property
    def hindcast(self) -> Hindcast | NoHindcast:
        """How a forecast from the first part of the run would have done; worked out when first asked for."""
        return hindcast(self.fit)

    def draws(self, n: int = DEFAULT_DRAWS, seed: int | None = None) -> Array:
        """Draws of the response at the forecast's times, shape (n, T); the same seed gives the same draws.

        Raises
        ------
        InputError
            Where `n` is not above zero.
        """
        if n < 1:
            raise InputError(key="n", found=n, expected="a number of draws above zero")
        seed = self.fit.seed if seed is None else seed
        same = (n, seed) == (self.fit.draws.count, self.fit.seed)
        chosen = self.fit.draws if same else self.fit.mixture.draws(n, seed)
        times = np.array([row.time for row in self.rows])
        out = response(self.fit, chosen, self.case.until(float(times.max())), times)
        return out + _scatter(self.fit, chosen, times, seed) if self.kind == "reading" else out

    def table(self) -> DataFrame:
        """One row a time; the models' lines are in `to_dict`."""
        from pandas import DataFrame

        flat = []
        for row in self.rows:
            entry = {k: v for k, v in row.to_dict().items() if k not in ("share", "models", "always_on")}
            entry |= {f"share_{name}": part for name, part in row.share.to_dict().items()}
            if row.always_on is not None:
                entry |= {f"always_on_{name}": end for name, end in row.always_on.to_dict().items()}
            flat.append({**entry, "unit": self.unit})
        return DataFrame(flat)

    def to_dict(self) -> dict[str, Any]:
        """What --json prints."""
        past = self.hindcast
        return {
            **heading(self.fit, self.level),
            "quantity": self.quantity,
            "unit": self.unit,
            "kind": self.kind,
            "load": {"value": self.case.peak, "unit": self.load_unit, "held": self.case.held},
            "forecast": [row.to_dict() for row in self.rows],
            "creep_modulus": self.modulus.to_dict(),
            "limit": None if self.limit is None else self.limit.to_dict(),
            "hindcast": past.to_dict() if isinstance(past, Hindcast) else None,
            "hindcast_why": past.why if isinstance(past, NoHindcast) else None,
            "cautions": [c.to_dict() for c in self.cautions],
            "assumptions": list(self.assumptions),
        }


def forecast(
    fit: Fit,
    at: Sequence[str | float] | str | float = DEFAULT_TIMES,
    *,
    level: float | None = None,
    load: str | float | None = None,
    history: LoadPlan | LoadHistory | None = None,
    limit: str | float | None = None,
    life: str | float = "1 year",
    kind: Kind = "curve",
    cautions: Sequence[Caution] = (),
) -> Forecast:
    """Forecast the deformation of the specimen.

    Parameters
    ----------
    fit : Fit
    at : times
        Since first loading: texts such as "30 d" or numbers in s.
    level : float, optional
        Probability of the intervals, the fit's own if not given.
    load : str or float, optional
        Held from t = 0: "0.3 kg", "2 N", or a number in N (MPa for a run in strain). By default the run's last load
        that is not zero.
    history : LoadPlan or LoadHistory, optional
        In its place a load that changes, see `records.history_file.read_history`.
    limit : str or float, optional
        Deformation not to be exceeded: "2 mm", "0.5 %", or a number in mm (strain).
    life : str or float
        Service life for the load that keeps the limit; text or s.
    kind : "curve" or "reading"
        Intervals of the mean curve, or of what the gauge would show.
    cautions : sequence of Caution
        Doubts to go with the answer, from `answers.doubts`.

    Raises
    ------
    InputError
        A time, load, level or limit that is none.
    FitError
        A load that changes where the instantaneous response was not read.

    Notes
    -----
    Where members on an ageing clock exist, the upper limit is never below that of the plain clock.
    """
    level = fit.level if level is None else _checked_level(level)
    if kind not in ("curve", "reading"):
        raise InputError(key="kind", found=kind, expected="curve or reading")
    times = _times(at, "at")
    case = load_case(fit, load, history)
    wanted = None if limit is None else read_limit(fit, limit)
    life_s = float(_times(life, "life")[0])
    history = case.until(float(times.max()))
    base = response(fit, fit.draws, history, times, discrepancy=False)
    added = discrepancy(fit, fit.draws, history, times)
    # under a load held since the initial reading, and nothing else, the response is the compliance times the load
    alike = case.held and fit.observed.has_initial and standing_load(fit).change.size == 0
    compliance = (base + added) / (case.peak * fit.observed.factor) if alike else None
    return Forecast(
        fit,
        case,
        kind,
        level,
        _rows(fit, case, times, level, kind, base, added),
        creep_modulus(fit, times.tolist(), level, compliance),
        None if wanted is None else limit_answer(fit, wanted, case, life_s, level),
        tuple(cautions),
    )


def _rows(
    fit: Fit, case: LoadCase, times: Array, level: float, kind: Kind, base: Array, added: Array
) -> tuple[ForecastRow, ...]:
    """Rows from the response without discrepancy and what that adds, both of shape (N, T)."""
    history = case.until(float(times.max()))
    noise = _scatter(fit, fit.draws, times, fit.seed) if kind == "reading" else None
    parts = shares(fit.draws, base, added, noise)
    shown = base + added if noise is None else base + added + noise
    main = _never_below_plain(fit, shown, history, times, level, kind)
    beside: list[Interval | None] = [None] * times.size
    peaks: list[IntervalAt | None] = [None] * times.size
    if not case.held:
        peaks = _peaks(fit, case, times, level)
        always = response(fit, fit.draws, case.always_on, times)
        always = always if noise is None else always + noise
        beside = list(_never_below_plain(fit, always, case.always_on, times, level, kind))
    lines = _model_lines(fit, history, times, level, shown, kind)
    beyond = np.maximum(np.log10(times / fit.run.test_length), 0.0)
    return tuple(
        ForecastRow(float(t), main[i], float(beyond[i]), parts[i], lines[i], beside[i], peaks[i])
        for i, t in enumerate(times)
    )


def _never_below_plain(
    fit: Fit, draws: Array, loads: LoadHistory, times: Array, level: float, kind: Kind
) -> list[Interval]:
    """Intervals of draws (N, T) whose far end is not nearer than without ageing: it may not make an answer safer."""
    found, plain = intervals(draws, level), unaged_draws(fit)
    if plain is None:
        return found
    slower = response(fit, plain, loads, times)
    if kind == "reading":
        slower = slower + _scatter(fit, plain, times, fit.seed)
    if fit.observed.direction < 0.0:  # under a load below zero the far end is the low one
        lowest = np.quantile(slower, 0.5 - level / 2.0, axis=0)
        return [Interval(min(i.low, float(h)), i.median, i.high) for i, h in zip(found, lowest, strict=True)]
    highest = np.quantile(slower, 0.5 + level / 2.0, axis=0)
    return [Interval(i.low, i.median, max(i.high, float(h))) for i, h in zip(found, highest, strict=True)]


def _peaks(fit: Fit, case: LoadCase, times: Array, level: float) -> list[IntervalAt | None]:
    """At each time, the deformation when the load was last fully on: at the time itself it may just be off."""
    found: list[IntervalAt | None] = []
    for t in times:
        history, moments = case.until(float(t)), case.times(float(t))
        last = moments[np.abs(history.at(moments)) >= FULLY_ON * abs(case.peak)][-1:]
        if not last.size:
            found.append(None)
            continue
        draws = response(fit, fit.draws, history, last)
        found.append(IntervalAt(float(last[0]), _never_below_plain(fit, draws, history, last, level, "curve")[0]))
    return found


def _model_lines(
    fit: Fit, history: LoadHistory, times: Array, level: float, shown: Array, kind: Kind
) -> list[tuple[ModelLine, ...]]:
    """Lines of the models at each time."""
    lines: list[list[ModelLine]] = [[] for _ in times]
    for family in families(fit):
        if family.draws is fit.draws:
            own = shown[family.rows]
        else:
            own = response(fit, family.draws, history, times)
            if kind == "reading":
                own = own + _scatter(fit, family.draws, times, fit.seed)
        for line, found in zip(lines, intervals(own, level), strict=True):
            line.append(ModelLine(family.label, family.weight, found))
    return [tuple(sorted(line, key=lambda m: -m.weight)) for line in lines]


def _scatter(fit: Fit, draws: Draws, times: Array, seed: int) -> Array:
    """What the gauge adds to the curve, shape (N, T): drift since the reference, and the scatter of one reading."""
    rng = np.random.default_rng(seed + 1)
    ratio = fit.observed.noise.drift / fit.observed.noise.stated
    order = np.argsort(times)
    since = np.maximum(times[order] - reference_times(fit)[0], 0.0) / DAY
    steps = rng.standard_normal((draws.count, times.size)) * np.sqrt(np.diff(since, prepend=0.0))
    walk = np.empty_like(steps)
    walk[:, order] = np.cumsum(steps, axis=1)
    return np.asarray(draws.noise[:, None] * (ratio * walk + rng.standard_normal(walk.shape)))


def _times(at: Sequence[str | float] | str | float, key: str) -> Array:
    """Times in s from texts and numbers, shape (T,)."""
    listed = [at] if isinstance(at, str | int | float) else list(at)
    if not listed:
        raise InputError(key=key, found="no time", expected='times such as "30 d"')
    out = []
    for value in listed:
        number = isinstance(value, int | float) and not isinstance(value, bool)
        seconds = float(value) if number else quantity(value, "time", key=key)
        if not 0.0 < seconds < np.inf:
            raise InputError(key=key, found=value, expected='a time after loading, such as "30 d"')
        out.append(seconds)
    return np.array(out)


def _checked_level(level: float) -> float:
    if isinstance(level, bool) or not isinstance(level, int | float) or not 0.0 < level < 1.0:
        raise InputError(key="level", found=level, expected="a probability between 0 and 1, such as 0.9")
    return float(level)
