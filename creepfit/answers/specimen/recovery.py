"""What is left after unloading: residual deformation, per cent recovered, and the permanent set as bounds.

Creep under load alone says nothing about a permanent set: the same curve comes with none (power law) and with much
(flow). Readings after unloading show it, but how much of what is left will still go depends on how a set grows. So the
set is an envelope over growth laws, beside a bound that needs no law: what was left at the last reading. What is left at
any time is at least what stays for good, so its interval reaches as far as that envelope.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from creepfit.answers.doubts.collected import about_recovery, known_for
from creepfit.answers.doubts.withheld import MayWithhold, Withheld, withheld_after, withheld_at
from creepfit.answers.heading import heading
from creepfit.answers.interval import Caution, Interval, ends_of, interval, intervals
from creepfit.answers.outlook import Outlook, outlook_under
from creepfit.answers.specimen.permanent_set import NO_INITIAL, LastReading, PermanentSet, permanent_set
from creepfit.answers.wording import size_with_range
from creepfit.asked import asked_times
from creepfit.inference.fitting import Fit
from creepfit.inference.pooling import PooledFit
from creepfit.inference.response import standing_load
from creepfit.inference.run_fit import asked_fit
from creepfit.inference.warmth import Warming
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.records.asked_dates import since_loading
from creepfit.shown import Tabled
from creepfit.units import DAY, HOUR, show_time


@dataclass(frozen=True)
class Residual:
    """What is left `after` [s] after unloading.

    `left` in the answer's unit, `recovered` in per cent of the deformation just before unloading, `strain` the largest
    residual strain as a fraction where the geometry is known. All None where `why` says so.
    """

    after: float
    left: Interval | None
    recovered: Interval | None
    strain: Interval | None
    why: str | None = None

    def to_dict(self) -> dict[str, Any]:
        return {
            "after_h": self.after / HOUR,
            **ends_of(self.left),
            "recovered_percent": self.recovered.to_dict() if self.recovered else None,
            "residual_strain": {**self.strain.to_dict(), "unit": "1"} if self.strain else None,
            **({"why": self.why} if self.why else {}),
        }


@dataclass(frozen=True)
class PracticeRule:
    """A rule of practice for recovery, as vocabulary: met, not met or open at the answer's level.

    `why` says why it is open although the models' interval would decide it; None elsewhere.
    """

    rule: str
    source: str
    after: float
    least_percent: float
    recovered: Interval
    verdict: str
    why: str | None = None

    def to_dict(self) -> dict[str, Any]:
        return {
            "rule": self.rule,
            "source": self.source,
            "after_h": self.after / HOUR,
            "least_percent": self.least_percent,
            "recovered_percent": self.recovered.to_dict(),
            "verdict": self.verdict,
            **({"why": self.why} if self.why else {}),
        }


PRACTICE = (
    (
        "residual deflection 24 h after unloading at most 25 % of the largest",
        "concrete load tests, ACI 437 as reported by The Construction Specifier",
        1.0 * DAY,
        75.0,
    ),
    (
        "at least 75 % recovered 24 h after unloading",
        "plastic lumber deck boards, ASTM D7032 (from memory)",
        1.0 * DAY,
        75.0,
    ),
)


@dataclass(frozen=True, repr=False)
class Recovery(MayWithhold, Tabled):
    """Recovery after the run's last unloading, or after a hypothetical one at the end of the test.

    `unloading` is the time in s from which `after` counts, the moment the load was off; `before` the deformation just
    before. `last_reading` is the last one taken after unloading, None where there is none.
    """

    residuals: tuple[Residual, ...]
    permanent_set: PermanentSet
    last_reading: LastReading | None
    unloading: float
    hypothetical: bool
    before: Interval | None
    practice: tuple[PracticeRule, ...]
    cautions: tuple[Caution, ...]
    unit: str
    level: float
    fit: Fit = field(repr=False)

    @property
    def warming(self) -> Warming | None:
        """The climate it is for, None for the test's temperature."""
        return self.fit.warming

    @property
    def least_left(self) -> Interval | None:
        """The set, along the load, which is no more than what is left at any time; None where that is not known."""
        return _least_left(self.fit, self.permanent_set)

    @property
    def instead(self) -> Withheld | None:
        """What stands in place of what is left: of readings that contradict each other nothing is known of a set either."""
        latest = max(row.after for row in self.residuals)
        of_readings = _instead(self.fit, self.unloading, latest if self.hypothetical else 0.0)
        return of_readings or withheld_after(latest, known_for(self.fit))

    @property
    def tested(self) -> bool:
        """Whether anything was read after an unloading: else what stays for good was not."""
        return self.fit.observed.has_recovery

    @property
    def headline(self) -> str:
        row = max(self.residuals, key=lambda r: r.after)
        if self.withheld is not None:
            return f"{self.fit.label}, left {show_time(row.after)} after unloading: no number is given. {self.withheld}"
        left = "unknown" if row.left is None else size_with_range(row.left, self.unit)
        left += "" if self.tested or row.left is None else " and what has set or flowed, which was not tested"
        return f"{self.fit.label}, left {show_time(row.after)} after unloading: {left}, level {self.level:g}"

    def to_dict(self) -> dict[str, Any]:
        """What ``recover --json`` prints."""
        return {
            **heading(self.fit, self.level),
            "unit": self.unit,
            "unloading": {"at_h": self.unloading / HOUR, "hypothetical": self.hypothetical},
            "before_unloading": self.before.to_dict() if self.before else None,
            "withheld": self.withheld,
            "set_tested": self.tested,
            "recovery": [r.to_dict() for r in self.residuals],
            "permanent_set": self.permanent_set.to_dict(),
            "last_reading": self.last_reading.to_dict() if self.last_reading else None,
            "practice": [p.to_dict() for p in self.practice],
            "cautions": [c.to_dict() for c in self.cautions],
        }

    def _rows(self) -> list[dict[str, Any]]:
        """One row a time."""
        return [r.to_dict() for r in self.residuals]


@dataclass(frozen=True)
class Unloading:
    """When the load came off: `begin` and `end` [s] of it (one for a step), and the loads added with it."""

    begin: float
    end: float
    hypothetical: bool
    history: LoadHistory


def unloading_of(fit: Fit) -> Unloading:
    """The run's last unloading; where the specimen is still loaded, one at the last reading under load."""
    run = fit.run
    if run.unloading is not None:
        return Unloading(run.unloading, run.unloading + run.steps[-1].over, False, run.history)
    end = run.test_length
    return Unloading(end, end, True, run.history.unloaded(end))


def recovery(
    fit: Fit,
    after: Sequence[str | float] | str | float = ("1 min", "1 d", "30 d"),
    *,
    level: str | float | None = None,
) -> Recovery:
    """Residual deformation after unloading, and bounds of the permanent set.

    Parameters
    ----------
    fit : Fit
    after : times
        After unloading, texts such as "1 d" or s; dates such as "2031-06-04" where the run has them.
    level : float, optional
        Probability of the intervals, the fit's own if not given.

    Raises
    ------
    InputError
        A time or level that is none.
    """
    fit = asked_fit(fit)
    off, began = unloading_of(fit), None if isinstance(fit, PooledFit) else fit.run.began
    times = asked_times(since_loading(after, began, "after", off.end), "after")
    ahead = outlook_under(fit, off.history, level)
    last = LastReading.of(fit, off.end)
    before: Interval | None = None
    residuals = tuple(Residual(float(t), None, None, None, NO_INITIAL) for t in times)
    practice: tuple[PracticeRule, ...] = ()
    instead = _instead(fit, off.end, float(times.max()) if off.hypothetical else 0.0)
    remains = _set(fit, off, last, ahead.level) if instead is None else PermanentSet(None, _because(instead))
    least = _least_left(fit, remains)
    if fit.observed.has_initial:
        drawn_before, left = _left(ahead, off, np.concatenate([times, [rule[2] for rule in PRACTICE]]))
        before = interval(drawn_before, ahead.level)
        gone_back = _gone_back(left, drawn_before, ahead.level, least)
        residuals = _residuals(ahead, left[:, : len(times)], gone_back[: len(times)], times, least)
        practice = _practice(gone_back[len(times) :], 0.0 if last is None else last.after, instead)
    return Recovery(
        residuals,
        remains,
        last,
        off.end,
        off.hypothetical,
        before,
        practice,
        about_recovery(fit, float(times.max())),
        fit.unit,
        ahead.level,
        fit,
    )


def _instead(fit: Fit, off: float, after: float) -> Withheld | None:
    """What stands in place of a number `after` [s] an unloading at `off` that was not read, of which models alone speak."""
    return withheld_at(fit, min(off + after, fit.horizon) if after else fit.run.test_length)


def _because(instead: Withheld) -> str:
    return instead.because or instead.short


def _set(fit: Fit, off: Unloading, last: LastReading | None, level: float) -> PermanentSet:
    if fit.warming is not None:
        why = "the specimen was unloaded at another temperature: what would stay at this one was not seen"
        return PermanentSet(None, why)
    return permanent_set(fit, off.history, off.end, last, level)


def _left(ahead: Outlook, off: Unloading, after: Array) -> tuple[Array, Array]:
    """Draws of the deformation just before unloading, shape (N,), and at times after it, shape (N, T).

    The rule on ageing is not asked here: slower creep leaves less and comes back later, so neither end is the safe one.
    """
    drawn = ahead.response(np.concatenate([[off.begin], off.end + after])).draws
    return drawn[:, 0], drawn[:, 1:]


def _least_left(fit: Fit, remains: PermanentSet) -> Interval | None:
    """The set; None where it is not known, or where the gauge's plunger or a preload pulls the other way.

    What those bend back for good is in what is left.
    """
    pulled_back = float(np.sum(standing_load(fit).change)) * fit.run.peak_load < 0.0
    return None if pulled_back else remains.bounds


def at_least(left: Interval, least: Interval | None, way: float) -> Interval:
    """Return what is left, counted as the gauge counts (`way` along the load), no less than what stays (along the load)."""
    if least is None:
        return left
    median = way * max(way * left.median, least.median)
    if way < 0.0:
        return Interval(min(left.low, -least.high), median, left.high)
    return Interval(left.low, median, max(left.high, least.high))


def _residuals(
    ahead: Outlook, left: Array, gone_back: Sequence[Interval], after: Array, least: Interval | None
) -> tuple[Residual, ...]:
    per_reading, way = ahead.fit.run.specimen.geometry.strain_per_reading, ahead.fit.observed.direction
    rows = []
    for t, size, share in zip(after, intervals(left, ahead.level), gone_back, strict=True):
        own = at_least(size, least, way)
        strain = None if per_reading is None else own.times(per_reading)
        rows.append(Residual(float(t), own, share, strain))
    return tuple(rows)


def _gone_back(left: Array, before: Array, level: float, least: Interval | None) -> list[Interval]:
    """Per cent of the deformation before unloading (N,) that has gone back at times (N, T): not what stays."""
    shares = intervals(100.0 * (1.0 - left / before[:, None]), level)
    if least is None:
        return shares
    whole = float(np.median(np.abs(before)))
    low, median = (100.0 * (1.0 - size / whole) for size in (least.high, least.median))
    return [Interval(min(share.low, low), min(share.median, median), share.high) for share in shares]


def _practice(gone_back: Sequence[Interval], read: float, instead: Withheld | None) -> tuple[PracticeRule, ...]:
    """Rules of practice at the answer's level: met where the whole interval is, not met where none of it is.

    They stay open where no number is given, and where nothing was read from a third of a rule's time after unloading on
    (`read`, s, is the last time): flow and set may be larger than the models take them to be.
    """
    practice = []
    for (rule, source, after, least), own in zip(PRACTICE, gone_back, strict=True):
        decided = None if own.low < least <= own.high else "met" if own.low >= least else "not met"
        why = None
        if instead is not None:
            decided, why = None, _because(instead)
        elif decided is not None and read < after / 3.0:
            until = f"the last reading is {show_time(read)} after unloading" if read else "nothing was read after unloading"
            decided, why = None, f"{until}; the rule asks about {show_time(after)}, and a third of that has to be read"
        practice.append(PracticeRule(rule, source, after, least, own, decided or "open", why))
    return tuple(practice)
