"""When a deformation limit is reached, and which load keeps below it for a given life."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from creepfit.answers.interval import in_hours
from creepfit.answers.outlook import Outlook
from creepfit.inference.response import Predicted
from creepfit.units import HOUR, show_time

CAP = "the highest load tested: more was not tested; rupture unchecked"
UNCHECKED = "rupture unchecked"
NOT_AS_IT_IS = "how long it is kept as it is cannot be said"


@dataclass(frozen=True)
class LimitReached:
    """Time until a limit is reached, s; an end beyond the horizon is None. `beyond`: how likely it is not by then."""

    low: float | None
    median: float | None
    high: float | None
    beyond: float

    @classmethod
    def of(cls, times: Predicted, level: float) -> LimitReached:
        """From the times [s] at which draws reach the limit, inf for those that do not within the horizon."""
        low, median, high = (float(end) if np.isfinite(end) else None for end in times.ends(level, more_is_safe=True))
        return cls(low, median, high, float(times.least(np.isinf)))

    def to_dict(self) -> dict[str, float | None]:
        ends = {"low": in_hours(self.low), "median": in_hours(self.median), "high": in_hours(self.high)}
        return {**ends, "probability_beyond": self.beyond}


@dataclass(frozen=True)
class Life(LimitReached):
    """How long a limit is kept as a promise counts flow; an end beyond the horizon of 100 times the data is None.

    `forecast` is when the forecast reaches it, in which flow counts as it is likely: the answer to when it is reached, as
    the size at that time stands beside it. `kept` is the probability that the limit is kept for the time `asked` [s]; None
    where that lies beyond the `horizon` [s].
    """

    forecast: LimitReached
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
        return {**super().to_dict(), "horizon": self.horizon / HOUR}


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

    @property
    def why_no_load(self) -> str:
        """What `why` says beside what the life's own words say; "" where nothing more is unknown."""
        said = "" if self.life is None else self.life.why or ""
        return (self.why or "").removeprefix(said).removeprefix("; ")

    def without_promise(self, why: str) -> Limit:
        """The same limit where nothing is promised."""
        return Limit(self.value, self.unit, None, None, why)

    def without_load(self, why: str) -> Limit:
        """The same limit where no load is named."""
        said = "" if self.life is None else self.life.why
        return Limit(self.value, self.unit, self.life, None, "; ".join(filter(None, [said, f"no load is named, as {why}"])))

    def without_life(self, why: str) -> Limit:
        """The same limit where only another load is promised anything."""
        return Limit(self.value, self.unit, None, self.load, f"{NOT_AS_IT_IS}: {why}")

    def to_dict(self) -> dict[str, Any]:
        life = None if self.life is None or self.life.low is None else self.life.to_dict()
        reached = None if self.life is None or self.life.forecast.low is None else self.life.forecast.to_dict()
        return {
            "value": self.value,
            "unit": self.unit,
            "life_h": life,
            "reached_in_forecast_h": reached,
            "kept": None if self.life is None else self.life.kept_to_dict(),
            "load": None if self.load is None else self.load.to_dict(),
            "why": self.why,
        }


def limit_answer(ahead: Outlook, limit: float, life: float) -> Limit:
    """Answer both questions about a limit.

    Parameters
    ----------
    ahead : Outlook
        Its load is that of the first question; its course over time that of the second, too.
    limit : float
        Deformation not to be exceeded, mm (or strain).
    life : float
        Service life for the second question, s. The load is safe with probability (1 + level)/2, the interval's upper end.
    """
    fit = ahead.fit
    if not fit.observed.has_initial:
        why = (
            "no reading was taken before loading, so how much of the limit the instantaneous deformation takes is "
            "unknown; take one next time"
        )
        return Limit(limit, fit.unit, None, None, why)
    reached = life_of(ahead.first_reached(limit), fit.horizon, life, ahead.level)
    if life > fit.horizon:
        too_long = f"no load for {show_time(life)}: that is more than 100 times the data ({show_time(fit.horizon)})"
        why = "; ".join(filter(None, [reached.why, too_long]))
        return Limit(limit, fit.unit, reached, None, why)
    load = _safe_load(ahead, limit, life)
    if load is None:
        already = "what acted before the first load was added may reach the limit on its own: no load keeps it"
        return Limit(limit, fit.unit, reached, None, "; ".join(filter(None, [reached.why, already])))
    return Limit(limit, fit.unit, reached, load, reached.why)


def life_of(reached: Predicted, horizon: float, asked: float, level: float) -> Life:
    """Life from the times [s] at which draws reach the limit, as a promise counts them; see `LimitReached.of`."""
    probability = None if asked > horizon else float(reached.least(lambda times: times > asked))
    own, forecast = (LimitReached.of(times, level) for times in (reached, replace(reached, careful=())))
    return Life(own.low, own.median, own.high, own.beyond, forecast, horizon, asked, probability)


def _safe_load(ahead: Outlook, limit: float, life: float) -> SafeLoad | None:
    """Largest load with P(deformation <= limit during all of the life) >= (1 + level)/2; None where there is none."""
    run, peak = ahead.fit.run, ahead.load.peak
    probability = 0.5 + ahead.level / 2.0
    value = float(ahead.largest_factor(limit, life).lowest(1.0 - probability))
    if value <= 0.0:
        return None
    load, tested = value * abs(peak), abs(run.peak_load)
    capped = load > tested
    note = f"capped at {CAP}" if capped else UNCHECKED
    return SafeLoad(float(np.sign(peak)) * min(load, tested), run.specimen.load_unit, life, probability, capped, note)
