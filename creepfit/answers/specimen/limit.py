"""When a deformation limit is reached, and which load keeps below it for a given life."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from creepfit.answers.load_case import LoadCase
from creepfit.answers.response import response, unaged_draws
from creepfit.answers.specimen.modulus import FARTHEST
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit
from creepfit.inference.mixture import Draws
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.units import HOUR, quantity, show_time

CAP = "the highest load tested: more was not tested; rupture unchecked"
UNCHECKED = "rupture unchecked"


@dataclass(frozen=True)
class Life:
    """Time until the limit is reached, s; an end beyond the horizon of 100 times the data is None.

    `beyond` is the probability that the limit is not reached within `horizon` [s], `kept` that it is not within the time
    `asked` [s]; None where that lies beyond the horizon.
    """

    low: float | None
    median: float | None
    high: float | None
    beyond: float
    horizon: float
    asked: float
    kept: float | None

    def kept_to_dict(self) -> dict[str, float] | None:
        """The time asked about and the probability that the limit is kept until then, under the load as it is."""
        return None if self.kept is None else {"time_h": self.asked / HOUR, "probability": self.kept}

    @property
    def why(self) -> str | None:
        """Why an end is unknown, None where none is."""
        if self.high is not None:
            return None
        return f"not within {show_time(self.horizon)} (100 times the data): probability {self.beyond:.2f}"

    def to_dict(self) -> dict[str, float | None]:
        ends = {"low": self.low, "median": self.median, "high": self.high}
        hours = {name: None if end is None else end / HOUR for name, end in ends.items()}
        return {
            **hours,
            "probability_beyond": self.beyond,
            "horizon": self.horizon / HOUR,
        }


@dataclass(frozen=True)
class SafeLoad:
    """The load that keeps below the limit for `life` [s] with `probability`: N, or MPa for a run in strain.

    `capped` where the highest tested load stands in its place; `note` is to be printed with it.
    """

    value: float
    unit: str
    life: float
    probability: float
    capped: bool
    note: str

    def to_dict(self) -> dict[str, Any]:
        return {
            "value": self.value,
            "unit": self.unit,
            "life_h": self.life / HOUR,
            "probability": self.probability,
            "capped": self.capped,
            "note": self.note,
        }


@dataclass(frozen=True)
class Limit:
    """Both answers about a limit, in the run's unit; None where unknown, and `why` says why."""

    value: float
    unit: str
    life: Life | None
    load: SafeLoad | None
    why: str | None

    def to_dict(self) -> dict[str, Any]:
        life = None if self.life is None or self.life.low is None else self.life.to_dict()
        load = None if self.load is None else self.load.to_dict()
        kept = None if self.life is None else self.life.kept_to_dict()
        return {"value": self.value, "unit": self.unit, "life_h": life, "kept": kept, "load": load, "why": self.why}


def read_limit(fit: Fit, limit: object) -> float:
    """Return a limit in mm (or strain) from "2 mm", "0.5 %" or a number in the run's unit.

    Raises
    ------
    InputError
        No such quantity, or not above zero.
    """
    if isinstance(limit, int | float) and not isinstance(limit, bool):
        value = float(limit)
    else:
        value = quantity(limit, "length" if fit.unit == "mm" else "strain", key="limit")
    if not 0.0 < value < np.inf:
        raise InputError(key="limit", found=limit, expected="a deformation above zero")
    return value


def limit_answer(fit: Fit, limit: float, case: LoadCase, life: float, level: float) -> Limit:
    """Answer both questions about a limit.

    Parameters
    ----------
    fit : Fit
    limit : float
        Deformation not to be exceeded, mm (or strain).
    case : LoadCase
        The load for the first question; its course over time for the second.
    life : float
        Service life for the second question, s.
    level : float
        Probability of the interval; the load is safe with probability (1 + level)/2, the interval's upper end.
    """
    if not fit.observed.has_initial:
        why = (
            "no reading was taken before loading, so how much of the limit the instantaneous deformation takes is "
            "unknown; take one next time"
        )
        return Limit(limit, fit.unit, None, None, why)
    plain = unaged_draws(fit)
    reached = _life(fit, limit, case, life, level, plain)
    horizon = FARTHEST * fit.run.test_length
    if life > horizon:
        too_long = f"no load for {show_time(life)}: that is more than 100 times the data ({show_time(horizon)})"
        why = "; ".join(filter(None, [reached.why, too_long]))
        return Limit(limit, fit.unit, reached, None, why)
    load = _safe_load(fit, limit, case, life, level, plain)
    if load is None:
        already = "what acted before the first load was added may reach the limit on its own: no load keeps it"
        return Limit(limit, fit.unit, reached, None, "; ".join(filter(None, [reached.why, already])))
    return Limit(limit, fit.unit, reached, load, reached.why)


def kept_until(asked: float, horizon: float, passed: Sequence[Array]) -> float | None:
    """Probability that none has passed by then, the least of several sets of draws; None beyond the horizon."""
    return None if asked > horizon else min(float(np.mean(p > asked)) for p in passed)


def _life(fit: Fit, limit: float, case: LoadCase, asked: float, level: float, plain: Draws | None) -> Life:
    horizon = FARTHEST * fit.run.test_length
    times = case.times(horizon)
    history = case.until(horizon)
    passed = first_passage(_toward(case) * response(fit, fit.draws, history, times), times, limit)
    # inverted_cdf takes a draw as it is: between a time and "never" there is nothing to interpolate
    ends = np.quantile(passed, [0.5 - level / 2.0, 0.5, 0.5 + level / 2.0], method="inverted_cdf")
    sets = [passed]
    if plain is not None:
        earlier = first_passage(_toward(case) * response(fit, plain, history, times), times, limit)
        ends[0] = min(ends[0], np.quantile(earlier, 0.5 - level / 2.0, method="inverted_cdf"))
        sets.append(earlier)
    low, median, high = (float(end) if np.isfinite(end) else None for end in ends)
    kept = kept_until(asked, horizon, sets)
    return Life(low, median, high, float(np.mean(np.isinf(passed))), horizon, asked, kept)


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
    highest = np.maximum.accumulate(deformation, axis=1)
    index = (highest < limit).sum(axis=1)
    inner = np.clip(index, 1, times.size - 1)
    rows = np.arange(highest.shape[0])
    before, after = highest[rows, inner - 1], highest[rows, inner]
    gap = np.where(after > before, after - before, 1.0)
    part = np.clip((limit - before) / gap, 0.0, 1.0)
    log_times = np.log(times)
    crossed = np.exp(log_times[inner - 1] + part * (log_times[inner] - log_times[inner - 1]))
    return np.where(index == 0, 0.0, np.where(index == times.size, np.inf, crossed))


def _toward(case: LoadCase) -> float:
    """Direction in which the limit lies: under a load below zero the part goes the other way."""
    return -1.0 if case.peak < 0.0 else 1.0


def _safe_load(fit: Fit, limit: float, case: LoadCase, life: float, level: float, plain: Draws | None) -> SafeLoad | None:
    """Largest load with P(deformation <= limit during all of the life) >= (1 + level)/2; None where there is none."""
    probability = 0.5 + level / 2.0
    sets = [fit.draws] if plain is None else [fit.draws, plain]
    value = min(float(np.quantile(_largest_factor(fit, d, limit, case, life), 1.0 - probability)) for d in sets)
    if value <= 0.0:
        return None
    unit = "MPa" if fit.run.specimen.load_quantity == "stress" else "N"
    load, tested = value * abs(case.peak), abs(fit.run.peak_load)
    capped = load > tested
    sign = float(np.sign(case.peak))
    return SafeLoad(sign * min(load, tested), unit, life, probability, capped, f"capped at {CAP}" if capped else UNCHECKED)


def _largest_factor(fit: Fit, draws: Draws, limit: float, case: LoadCase, life: float) -> Array:
    """By what each draw's load could be multiplied before the limit is reached within the life, shape (N,)."""
    # under one load that is held the end of the life decides
    times = np.array([life]) if case.held else case.times(life)
    nothing = LoadHistory.from_steps([])
    standing = _toward(case) * response(fit, draws, nothing, times)
    added = _toward(case) * response(fit, draws, case.until(life), times) - standing
    room = limit - standing
    with np.errstate(divide="ignore"):
        factor = np.where(added > 0.0, room / np.where(added > 0.0, added, 1.0), np.inf)
    return np.asarray(factor.min(axis=1))
