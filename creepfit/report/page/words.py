"""The first screen in words: the answer in one sentence, the doubt that matters most, the key numbers."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from creepfit.answers.doubts.catalogue.forecast import SAID_BY
from creepfit.answers.doubts.collected import slip_of
from creepfit.answers.doubts.withheld import Withheld, withheld_at
from creepfit.answers.interval import Caution, Interval
from creepfit.answers.specimen.forecast import ForecastRow
from creepfit.answers.specimen.limit import Life
from creepfit.answers.specimen.to_take import to_take
from creepfit.answers.wording import clock_time, size
from creepfit.inference.hindcast import Hindcast
from creepfit.report.page.findings import Findings
from creepfit.report.text.forecast import headline as forecast_headline
from creepfit.report.text.known import with_known_sentence
from creepfit.report.text.pieces import PROMISED, Unit, percent, read_unit, rough_time, shortest_life
from creepfit.units import MINUTE, show_time

STOPPED = {
    "no": "creep has not stopped",
    "gauge only": "creep has not stopped, it is below what this gauge can show",
    "material": "creep has stopped as far as the threshold goes",
    "cannot be told": "whether creep has stopped cannot be told yet",
}


STOPPED_SHORT = {
    "no": "no",
    "gauge only": "not to be seen by this gauge",
    "material": "yes, as far as the threshold goes",
    "cannot be told": "cannot be told yet",
}


@dataclass(frozen=True)
class Key:
    """A key number: what it is, the number, and what belongs beside it."""

    what: str
    value: str
    beside: str = ""


def answer(findings: Findings) -> str:
    """The answer in one sentence with its interval; where a slip has to be settled first, that."""
    if findings.forecast.withheld is not None:
        return forecast_headline(findings.forecast)
    stop = findings.summary.stop
    sentence = f"{forecast_headline(findings.forecast).removesuffix('.')}; {STOPPED[stop.stopped]}{stop.fading}."
    with_known = findings.forecast.with_known
    return sentence if with_known is None else f"{sentence} {with_known_sentence(with_known, when=False)}"


def all_doubts(part: Sequence[Caution], run: Sequence[Caution]) -> tuple[Caution, ...]:
    """Doubts about a part and about its run, each once; what the part's say in words of its own the run's need not."""
    codes = {c.code for c in part}
    return (*part, *(c for c in run if c.code not in codes and SAID_BY.get(c.code) not in codes))


def key_numbers(findings: Findings, brief: bool = False) -> list[Key]:
    """The numbers a reader takes along; what to read next not where `brief`, as it takes longest to work out."""
    sizes = [_size_key(findings, row) for row in reversed(findings.forecast.rows[-2:])]
    limit = _limit_key(findings)
    keys = [sizes[0], *([] if limit is None else [limit]), _stop_key(findings), _stays_key(findings)]
    keys += [] if brief else [_next_key(findings)]
    return [*keys, *sizes[1:], _modulus_key(findings), _tried_key(findings)]


def _size_key(findings: Findings, row: ForecastRow) -> Key:
    fit, unit = findings.fit, read_unit(findings.fit)
    what = f"{fit.quantity} after {show_time(row.time)}"
    if (instead := withheld_at(fit, row.time)) is not None:
        return Key(what, "not given", instead_of_size(instead, unit, row.interval))
    low, median, high = unit.interval(row.interval)
    return Key(what, f"{median} {unit.name}", f"{percent(fit.level)}: {low} to {high} {unit.name}")


def instead_of_size(instead: Withheld, unit: Unit, modelled: Interval) -> str:
    """Why a size is not given; where only the time or the load is out of reach, what the models come to, as theirs."""
    if instead.of == "all":
        return instead.short
    low, _, high = unit.interval(modelled)
    return f"{instead.short}: the models go from {low} to {high} {unit.name}"


def _modulus_key(findings: Findings) -> Key:
    row = findings.forecast.modulus.rows[-1]
    if (instead := withheld_at(findings.fit, row.time)) is not None:
        return Key(f"creep modulus after {show_time(row.time)}", "not given", instead.short)
    if row.modulus is None:
        return Key("creep modulus", "unknown", _short(row.why))
    low, median, high = Unit("MPa").interval(row.modulus)
    beside = f"{percent(findings.fit.level)}: {low} to {high} MPa"
    return Key(f"creep modulus after {show_time(row.time)}", f"{median} MPa", beside)


def _tried_key(findings: Findings) -> Key:
    past = findings.forecast.hindcast
    if slip_of(findings.fit) is not None:
        return Key("tried on this run itself", "not given", "to be settled first")
    if not isinstance(past, Hindcast):
        return Key("tried on this run itself", "not possible", _short(past.why))
    worth = f"{past.inside} of {past.readings}"
    return Key("tried on this run itself", worth, f"later readings inside their {percent(findings.fit.level)} interval")


def _short(why: str | None) -> str:
    """The reason without what follows from it; the whole of it stands further down the page."""
    return re.split(r"[:;]|, (?:so|and)\b", why or "")[0]


def _along(findings: Findings) -> str:
    """A word for sizes that are counted along the load, where that is not the way the gauge counts."""
    return "" if findings.fit.observed.direction > 0.0 else ", along the load"


def _limit_key(findings: Findings) -> Key | None:
    limit, unit = findings.forecast.limit, read_unit(findings.fit)
    if limit is None:
        return None
    what = f"limit of {unit.number(limit.value)} {unit.name} reached"
    if (instead := findings.forecast.unpromised) is not None:
        return Key(what, "not given", instead.short)
    if limit.life is None:
        return Key(what, "unknown", _short(limit.why))
    if limit.life.forecast.median == 0.0:
        loading = float(np.median(findings.forecast.outlook.response(np.array([MINUTE])).draws))
        return Key(what.removesuffix(" reached"), "exceeded at once", f"{unit.number(loading)} {unit.name} as it is loaded")
    return Key(what, life_words(limit.life, "median"), life_beside(limit.life, findings.fit.level))


def life_beside(life: Life, level: float) -> str:
    """Between what times the forecast reaches a limit, what lies beyond the horizon said once, and how long it is kept."""
    if life.forecast.low is None:
        ends = "beyond that too"
    elif life.forecast.median is None:
        ends = f"from {life_words(life, 'low')} on"
    else:
        ends = f"{life_words(life, 'low')} to {life_words(life, 'high')}"
    return f"{percent(level)}: {ends}; {kept_for(life, level)}"


def kept_for(life: Life, level: float) -> str:
    """For how long a limit is kept as things are, as it is promised."""
    return f"{PROMISED}, kept for {shortest_life(life) or 'no time'} with probability {0.5 + level / 2.0:g}"


def life_words(life: Life, end: str) -> str:
    """When the forecast reaches a limit, one end as text says it; beyond the horizon it says so."""
    value: float | None = getattr(life.forecast, end)
    if value is None:
        return f"beyond {show_time(life.horizon)}"
    return "at once" if value == 0.0 else rough_time(value)


def _stop_key(findings: Findings) -> Key:
    stop, unit = findings.summary.stop, read_unit(findings.fit)
    if (instead := withheld_at(findings.fit, stop.by)) is not None:
        return Key("has creep stopped?", instead.stopped, instead.short)
    low, median, high = unit.interval(stop.still_to_come)
    answer = STOPPED_SHORT[stop.stopped] if stop.fades is None else "not in the test; the forecast all but stops"
    come = f"still to come by {show_time(stop.by)}{_along(findings)}: {median} {unit.name}"
    return Key("has creep stopped?", answer, f"{come} ({percent(stop.level)}: {low} to {high} {unit.name})")


def _next_key(findings: Findings) -> Key:
    """What to read next: on this specimen, else on the next one."""
    schedule, run = findings.schedule, findings.fit.run
    what = "what to read next"
    if run.unloading is not None and not findings.fit.observed.has_recovery:
        # the load is off and nothing was read since: whatever a reading under load would be worth, it cannot be taken
        return Key(what, "1 min, 1 h and 1 d after unloading", "only readings without load tell what stays")
    if not schedule.suggestions:
        return Key(what, "nothing more", schedule.why or "")
    own = next((s for s in schedule.suggestions if s.place != "next specimen"), None)
    if own is None:
        best = schedule.suggestions[0]
        beside = f"or, on the next specimen, at {show_time(best.time)} too:{best.text.partition(':')[2]}"
        return Key(what, "nothing more on this one", beside)
    done = next((t for t in to_take(schedule) if t.text.partition(":")[2] == own.text.partition(":")[2]), None)
    clock = "" if done is None or done.clock is None else f"{clock_time(done.clock)}; "
    value = {"later": f"at {show_time(own.time)}", "after unloading": f"{show_time(own.time)} after unloading"}[own.place]
    return Key(what, value, f"{clock}{own.text}")


def _stays_key(findings: Findings) -> Key:
    remains, unit = findings.recovery.permanent_set, read_unit(findings.fit)
    if remains.bounds is None:
        return Key("permanent set", "unknown", _short(remains.why))
    low, _, high = unit.interval(remains.bounds)
    beside = f"{percent(findings.fit.level)}, whatever the law by which it grows"
    if remains.upper_bound is not None:
        beside += f"; what was left at last lets no more than {size(remains.upper_bound, findings.fit.unit)} stay"
    between = f"{low} to {high} {unit.name}" if remains.bounds.high > 0.0 else "none to be seen"
    return Key(f"permanent set{_along(findings)}", between, beside)
