"""Forecast: how far the specimen will have moved at later times, how sure that is, and what the doubt is made of."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal

import numpy as np

from creepfit.answers.doubts.breaks import break_doubts
from creepfit.answers.doubts.load import times_the_tested
from creepfit.answers.doubts.mistyped import limit_doubts
from creepfit.answers.doubts.withheld import MayWithhold, Withheld, of_modulus, unpromised, withheld_in_part, withheld_under
from creepfit.answers.heading import heading
from creepfit.answers.interval import Caution, Interval, IntervalAt
from creepfit.answers.outlook import Outlook, outlook
from creepfit.answers.specimen.limit import Limit, limit_answer
from creepfit.answers.specimen.modulus import CreepModulus, modulus_of
from creepfit.answers.specimen.shares import Shares, shares
from creepfit.answers.specimen.with_known import WithKnown, with_known_runs
from creepfit.answers.wording import size_with_range
from creepfit.asked import asked_count, asked_size, asked_time, asked_times
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit
from creepfit.inference.hindcast import Hindcast, NoHindcast
from creepfit.inference.mixture import DEFAULT_DRAWS, Draws
from creepfit.inference.pooling import PooledFit
from creepfit.inference.response import Predicted, discrepancy, families, reference_times, response
from creepfit.inference.run_fit import asked_fit
from creepfit.mechanics.load_plan import LoadPlan
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.records.asked_dates import since_loading
from creepfit.records.run import Run
from creepfit.shown import Tabled
from creepfit.units import DAY, HOUR, show_time

ForecastKind = Literal["curve", "reading"]
DEFAULT_TIMES = ("30 d", "1 year")


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


@dataclass(frozen=True, eq=False, repr=False)
class Forecast(MayWithhold, Tabled):
    """Deformation (or strain, or creep increment without an initial reading) at times under a load.

    `unit` is "mm", or "1" for strain as a fraction. `kind` says what the intervals are of: the mean "curve" or the next
    gauge "reading". `as_modelled` is the limit as the models have it, whether or not anything can be promised; `service`
    the life that it is to be kept for, s.
    """

    outlook: Outlook = field(repr=False)
    kind: ForecastKind
    rows: tuple[ForecastRow, ...]
    modulus: CreepModulus
    as_modelled: Limit | None = field(repr=False)
    service: float
    breaks: tuple[Run, ...] = ()

    @property
    def headline(self) -> str:
        if self.withheld is not None:
            return f"{self.fit.label}, {self.quantity}: no number is given. {self.withheld}"
        sizes = [f"{size_with_range(row.interval, self.unit)} at {show_time(row.time)}" for row in self.rows[:3]]
        more = f", and {len(self.rows) - 3} more times" if len(self.rows) > 3 else ""
        return f"{self.fit.label}, {self.quantity} {', '.join(sizes)}{more}, level {self.level:g}"

    @property
    def fit(self) -> Fit:
        return self.outlook.fit

    @property
    def level(self) -> float:
        """Probability of the intervals."""
        return self.outlook.level

    @property
    def case(self) -> LoadPlan:
        """The load it is for."""
        return self.outlook.load

    @cached_property
    def cautions(self) -> tuple[Caution, ...]:
        """What is doubtful about it; worked out when first asked for."""
        times = np.array([row.time for row in self.rows])
        per_load = self.fit.run.specimen.geometry.stress_per_load
        stress = None if per_load is None else abs(self.case.peak * per_load)
        runs = (*self.fit.runs, *self.breaks)
        asked: Iterable[Caution] = ()
        if self.limit is not None:
            largest = float(np.max(np.abs(self.fit.observed.deformation)))
            asked = limit_doubts(self.fit.run, self.limit.value, largest, self.fit.quantity)
        broke = tuple(break_doubts(runs, stress, float(times.max()), "this bar"))
        others = (c for c in self.outlook.cautions(times) if not broke or c.code != "specimen-broke")
        return (*broke, *asked, *others)

    @cached_property
    def instead(self) -> Withheld | None:
        """What stands in place of the number for the latest time: a slip to be settled, or why no model reaches so far."""
        row = max(self.rows, key=lambda row: row.time)
        largest = row.interval if row.peak is None else row.peak.interval
        per_reading = self.fit.run.specimen.geometry.strain_per_reading or 0.0
        strain = max(abs(largest.low), abs(largest.high)) * per_reading
        tested = any(math.isclose(abs(step.value), abs(self.case.peak)) for step in self.fit.run.steps)
        under = withheld_under if tested else withheld_in_part  # to another load it is carried by the modulus
        return under(self.fit, row.time, times_the_tested(self.fit, self.case.peak), strain)

    @cached_property
    def unpromised(self) -> Withheld | None:
        """Why no load and no life are named; None where they can be."""
        latest = max(row.time for row in self.rows)
        asked = 0.0 if self.as_modelled is None else self.service
        return unpromised(self.fit, max(latest, asked), self.instead)

    @cached_property
    def limit(self) -> Limit | None:
        """Both answers about the limit, as far as they can be promised; None where no limit was asked about."""
        limit, doubted = self.as_far_as_promised(self.as_modelled), of_modulus(self.fit)
        return limit if limit is None or doubted is None or self.unpromised else limit.without_load(doubted.because)

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
        return self.fit.run.specimen.load_unit

    @cached_property
    def hindcast(self) -> Hindcast | NoHindcast:
        """How a forecast from the first part of the run would have done; worked out when first asked for."""
        return self.fit.trial

    @cached_property
    def with_known(self) -> WithKnown | None:
        """The same by the specimen's own readings alone, and with known runs; None where no run is known."""
        return with_known_runs(self.outlook, np.array([row.time for row in self.rows]))

    def draws(self, n: int = DEFAULT_DRAWS, seed: int | None = None) -> Array:
        """Draws of the response at the forecast's times, shape (n, T); the same seed gives the same draws.

        Raises
        ------
        InputError
            Where `n` is not above zero.
        """
        n = asked_count(n, "n", "draws")
        seed = self.fit.seed if seed is None else seed
        same = (n, seed) == (self.fit.draws.count, self.fit.seed)
        chosen = self.fit.draws if same else self.fit.mixture.draws(n, seed)
        times = np.array([row.time for row in self.rows])
        out = response(self.fit, chosen, self.outlook.history(times), times)
        return out + _scatter(self.fit, chosen, times, seed) if self.kind == "reading" else out

    def _rows(self) -> list[dict[str, Any]]:
        """One row a time; the models' lines are in `to_dict`."""
        rows = [{**row.to_dict(), "unit": self.unit} for row in self.rows]
        return [{key: value for key, value in row.items() if key != "models"} for row in rows]

    def to_dict(self) -> dict[str, Any]:
        """What --json prints."""
        past = self.hindcast
        return {
            **heading(self.fit, self.level),
            "quantity": self.quantity,
            "unit": self.unit,
            "kind": self.kind,
            "load": {"value": self.case.peak, "unit": self.load_unit, "held": self.case.is_held},
            "withheld": self.withheld,
            "nothing_promised": self.nothing_promised,
            "forecast": [row.to_dict() for row in self.rows],
            "creep_modulus": self.modulus.contents(),
            "limit": None if self.limit is None else self.limit.to_dict(),
            "hindcast": past.to_dict() if isinstance(past, Hindcast) else None,
            "hindcast_why": past.why if isinstance(past, NoHindcast) else None,
            **({} if self.with_known is None else {"known": self.with_known.to_dict()}),
            "cautions": [c.to_dict() for c in self.cautions],
            "assumptions": list(self.assumptions),
        }


def forecast(
    fit: Fit,
    at: Sequence[str | float] | str | float = DEFAULT_TIMES,
    *,
    level: str | float | None = None,
    load: str | float | None = None,
    history: LoadPlan | LoadHistory | None = None,
    limit: str | float | None = None,
    life: str | float = "1 year",
    kind: ForecastKind = "curve",
    breaks: Sequence[Run] = (),
) -> Forecast:
    """Forecast the deformation of the specimen.

    Parameters
    ----------
    fit : Fit
    at : times
        Since first loading: texts such as "30 d" or numbers in s; dates such as "2031-06-04" where the run has them.
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
    breaks : sequence of Run
        Further runs of the same material, broken or not, that are not fitted: for what broke, see `inference.life`.

    Raises
    ------
    InputError
        A time, load, level or limit that is none.
    FitError
        A load that changes where the instantaneous response was not read.
    """
    fit = asked_fit(fit)
    ahead = outlook(fit, load, history, level)
    if kind not in ("curve", "reading"):
        raise InputError(key="kind", found=kind, expected="curve or reading")
    began = None if isinstance(fit, PooledFit) else fit.run.began
    times, service = asked_times(since_loading(at, began), "at"), asked_time(life, "life")
    wanted = None if limit is None else asked_size(limit, "length" if fit.unit == "mm" else "strain", "limit")
    base = response(fit, fit.draws, ahead.history(times), times, discrepancy=False)
    added = discrepancy(fit, fit.draws, ahead.history(times), times)
    plain = fit.unaged_draws
    curve = Predicted(base + added, None if plain is None else response(fit, plain, ahead.history(times), times))
    return Forecast(
        ahead,
        kind,
        _rows(ahead, times, kind, curve, shares(fit.draws, base, added, times, _noise(ahead, times, kind))),
        modulus_of(ahead, times, curve),
        None if wanted is None else limit_answer(ahead, wanted, service),
        service,
        tuple(breaks),
    )


def _rows(
    ahead: Outlook, times: Array, kind: ForecastKind, curve: Predicted, share: Sequence[Shares]
) -> tuple[ForecastRow, ...]:
    """Rows from the response at the times, draws of shape (N, T)."""
    fit, level = ahead.fit, ahead.level
    shown = _shown(ahead, curve, times, kind)
    main = shown.intervals(level)
    beside: list[Interval | None] = [None] * times.size
    peaks: list[IntervalAt | None] = [None] * times.size
    if not ahead.load.is_held:
        peaks = list(_peaks(ahead, times))
        beside = list(_shown(ahead, ahead.always_on.response(times), times, kind).intervals(level))
    lines = _model_lines(ahead, times, shown.draws, kind)
    return tuple(
        ForecastRow(float(t), main[i], fit.decades_beyond(t), share[i], lines[i], beside[i], peaks[i])
        for i, t in enumerate(times)
    )


def _noise(ahead: Outlook, times: Array, kind: ForecastKind) -> Array | None:
    """What the gauge adds to each draw where its next reading is asked about, shape (N, T)."""
    return _scatter(ahead.fit, ahead.fit.draws, times, ahead.fit.seed) if kind == "reading" else None


def _shown(ahead: Outlook, curve: Predicted, times: Array, kind: ForecastKind) -> Predicted:
    """The curve, or what the gauge would show of it."""
    if kind == "curve":
        return curve
    fit, plain = ahead.fit, ahead.fit.unaged_draws
    read = curve.draws + _scatter(fit, fit.draws, times, fit.seed)
    if plain is None or curve.unaged is None:
        return Predicted(read)
    return Predicted(read, curve.unaged + _scatter(fit, plain, times, fit.seed))


def _peaks(ahead: Outlook, times: Array) -> list[IntervalAt]:
    """At each time, the largest deformation up to then and when its median comes: by then the load may be off."""
    cycles = [np.array(ahead.load.changes(float(t))) for t in times]
    moments = np.unique(np.concatenate([ahead.load.follow(float(times.max())), times, *cycles]))
    moments = moments[(moments > 0.0) & (moments <= times.max())]
    along = ahead.response(moments).map(lambda draws: ahead.toward * draws)
    peaks = []
    for t in times:
        count = int(np.searchsorted(moments, t, side="right"))
        largest = Predicted.of(ahead.toward * draws[:, :count].max(axis=1, keepdims=True) for draws in along.both)
        middle = np.median(along.draws[:, :count], axis=0)
        peaks.append(IntervalAt(float(moments[np.argmax(middle)]), largest.intervals(ahead.level)[0]))
    return peaks


def _model_lines(ahead: Outlook, times: Array, shown: Array, kind: ForecastKind) -> list[tuple[ModelLine, ...]]:
    """Lines of the models at each time."""
    fit = ahead.fit
    lines: list[list[ModelLine]] = [[] for _ in times]
    for family in families(fit):
        if family.draws is fit.draws:
            own = shown[family.rows]
        else:
            own = response(fit, family.draws, ahead.history(times), times)
            if kind == "reading":
                own = own + _scatter(fit, family.draws, times, fit.seed)
        for line, size in zip(lines, Predicted(own).intervals(ahead.level), strict=True):
            line.append(ModelLine(family.label, family.weight, size))
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
