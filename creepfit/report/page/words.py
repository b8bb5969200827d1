"""The first screen in words: the answer in one sentence, the doubt that matters most, the key numbers."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from creepfit.answers.doubts.catalogue.forecast import SAID_BY
from creepfit.answers.interval import Caution
from creepfit.answers.part.sag import Sag
from creepfit.answers.specimen.limit import Life
from creepfit.inference.hindcast import Hindcast
from creepfit.report.page.findings import Findings
from creepfit.report.page.tables import Table
from creepfit.report.text.first_words import contradiction, exceeded_at_once, instead_of_a_number
from creepfit.report.text.forecast import headline as forecast_headline
from creepfit.report.text.known import owed_sentence
from creepfit.report.text.part import headline as part_headline
from creepfit.report.text.pieces import Unit, kept_chance, percent, shown_unit
from creepfit.units import DAY, HOUR, MINUTE, YEAR, show_number, show_time

STOPPED = {
    "no": "creep has not stopped",
    "gauge only": "creep has not stopped, it is below what this gauge can show",
    "material": "creep has stopped as far as the threshold goes",
    "cannot be told": "whether creep has stopped cannot be told yet",
}


@dataclass(frozen=True)
class Key:
    """A key number: what it is, the number, and what belongs beside it."""

    what: str
    value: str
    beside: str = ""


def answer(found: Findings) -> str:
    """The answer in one sentence with its interval; where a slip has to be settled first, that."""
    slip = instead_of_a_number(found.fit)
    if slip is not None:
        return slip
    stopped = STOPPED[found.summary.stop.stopped]
    if contradiction(found.fit) is not None:
        stopped = "whether creep has stopped cannot be told from them"
    sentence = f"{forecast_headline(found.forecast).removesuffix('.')}; {stopped}."
    owed = found.forecast.owed
    return sentence if owed is None else f"{sentence} {owed_sentence(owed, when=False)}"


def part_answer(sag: Sag) -> str:
    """The answer for a part in one sentence."""
    if sag.design is None or sag.falls is not None:
        return part_headline(sag)
    limit = f"the limit of {show_number(sag.design.limit)} mm is"
    if sag.design.life.median == 0.0:
        at_once = exceeded_at_once(sag.design.limit, sag.loading.interval.median, Unit("mm"))
        return f"{part_headline(sag).removesuffix('.')}; {limit} {at_once}."
    kept = sag.design.life.kept_to_dict()
    if kept is None:
        return f"{part_headline(sag)} Whether {limit} kept that long cannot be said."
    told = f"{limit} kept for {show_time(sag.design.life.asked)} with probability {kept_chance(kept['probability'])}"
    return f"{part_headline(sag).removesuffix('.')}; {told}."


def all_doubts(part: Sequence[Caution], run: Sequence[Caution]) -> tuple[Caution, ...]:
    """Doubts about a part and about its run, each once; what the part's say in words of its own the run's need not."""
    codes = {c.code for c in part}
    return (*part, *(c for c in run if c.code not in codes and SAID_BY.get(c.code) not in codes))


def key_numbers(found: Findings) -> list[Key]:
    """The numbers a reader takes along."""
    fit, unit = found.fit, shown_unit(found.fit.unit)
    level = percent(fit.level)
    keys = []
    for row in found.forecast.rows[-2:]:
        low, median, high = unit.interval(row.interval.to_dict())
        beside = f"{level}: {low} to {high} {unit.name}"
        keys.append(Key(f"{fit.quantity} after {show_time(row.time)}", f"{median} {unit.name}", beside))
    modulus = found.forecast.modulus.rows[-1]
    if modulus.modulus is not None:
        low, median, high = Unit("MPa").interval(modulus.modulus.to_dict())
        keys.append(Key(f"creep modulus after {show_time(modulus.time)}", f"{median} MPa", f"{level}: {low} to {high} MPa"))
    else:
        keys.append(Key("creep modulus", "unknown", _short(modulus.why)))
    keys.append(_limit_key(found) or _stop_key(found))
    keys.append(_stays_key(found))
    past = found.forecast.hindcast
    if isinstance(past, Hindcast):
        worth = f"{past.inside} of {past.readings}"
        keys.append(Key("tried on this run itself", worth, f"later readings inside their {level} interval"))
    else:
        keys.append(Key("tried on this run itself", "not possible", _short(past.why)))
    return keys


def _short(why: str | None) -> str:
    """The reason without what follows from it; the whole of it stands further down the page."""
    return re.split(r"[:;]|, (?:so|and)\b", why or "")[0]


def _along(found: Findings) -> str:
    """A word for sizes that are counted along the load, where that is not the way the gauge counts."""
    return "" if found.fit.observed.direction > 0.0 else ", along the load"


def _limit_key(found: Findings) -> Key | None:
    limit, unit = found.forecast.limit, shown_unit(found.fit.unit)
    if limit is None:
        return None
    what = f"limit of {unit.number(limit.value)} {unit.name} reached"
    if limit.life is None:
        return Key(what, "unknown", _short(limit.why))
    if limit.life.median == 0.0:
        loading = float(np.median(found.forecast.outlook.response(np.array([MINUTE])).draws))
        return Key(what.removesuffix(" reached"), "exceeded at once", f"{unit.number(loading)} {unit.name} as it is loaded")
    return Key(what, life_words(limit.life, "median"), f"{percent(found.fit.level)}: {_life_ends(limit.life)}")


def _life_ends(life: Life) -> str:
    """The ends of a life in words; what lies beyond the horizon is said once."""
    if life.low is None:
        return "beyond that too"
    if life.median is None:
        return f"from {life_words(life, 'low')} on"
    return f"{life_words(life, 'low')} to {life_words(life, 'high')}"


def life_words(life: Life, end: str) -> str:
    """An end of a life in two digits; beyond the horizon it says so."""
    value: float | None = getattr(life, end)
    if value is None:
        return f"beyond {about(life.horizon)}"
    return "at once" if value == 0.0 else about(value)


def about(seconds: float) -> str:
    """A time in two digits, in the unit that fits: "210 d"."""
    for size, name in ((YEAR, "years"), (DAY, "d"), (HOUR, "h"), (MINUTE, "min")):
        if seconds >= 0.995 * size:
            number = show_number(seconds / size, digits=2)
            return f"{number} {'year' if name == 'years' and number == '1' else name}"
    return f"{show_number(seconds, digits=2)} s"


def _stop_key(found: Findings) -> Key:
    stop, unit = found.summary.stop, shown_unit(found.fit.unit)
    low, median, high = unit.interval(stop.still_to_come.to_dict())
    what = f"still to come by {show_time(stop.by)}{_along(found)}"
    return Key(what, f"{median} {unit.name}", f"{percent(stop.level)}: {low} to {high} {unit.name}")


def _stays_key(found: Findings) -> Key:
    kept, unit = found.recovery.permanent_set, shown_unit(found.fit.unit)
    if kept.bounds is None:
        return Key("permanent set", "unknown", _short(kept.why))
    low, _, high = unit.interval(kept.bounds.to_dict())
    beside = f"{percent(found.fit.level)}: {low} to {high} {unit.name}"
    most = f"at most {high} {unit.name}" if kept.bounds.high > 0.0 else "none to be seen"
    return Key(f"permanent set{_along(found)}", most, beside)


def part_keys(sag: Sag) -> list[Key]:
    """Key numbers of a part."""
    mm, level = Unit("mm"), percent(sag.level)
    keys = []
    loading = mm.interval(sag.loading.interval.to_dict())
    keys.append(Key("sag right after loading", f"{loading[1]} mm", f"{level}: {loading[0]} to {loading[2]} mm"))
    for row in sag.rows[-2:]:
        found = row.interval if row.peak is None else row.peak.interval
        low, median, high = mm.interval(found.to_dict())
        what = f"sag after {show_time(row.time)}" if row.peak is None else f"largest sag up to {show_time(row.time)}"
        keys.append(Key(what, f"{median} mm", f"{level}: {low} to {high} mm"))
    if sag.design is not None:
        life = sag.design.life
        what = f"limit of {show_number(sag.design.limit)} mm reached"
        if life.median == 0.0:
            beside = f"{loading[1]} mm as it is loaded"
            keys.append(Key(what.removesuffix(" reached"), "exceeded at once", beside))
        else:
            keys.append(Key(what, life_words(life, "median"), f"{level}: {_life_ends(life)}"))
    checks = sag.checks
    tested = f"{show_number(checks.stress.value / checks.tested[1], digits=2)} times the stress tested"
    keys.append(Key("largest stress", f"{show_number(checks.stress.value)} MPa", tested))
    return keys


def part_tables(sag: Sag) -> dict[str, Table]:
    """Tables of a part."""
    mm = Unit("mm")
    test = sag.fit.run.test_length
    rows = []
    for row in sag.rows:
        cells = [show_time(row.time), *mm.interval(row.interval.to_dict()), f"{show_number(row.time / test, digits=2)}"]
        beside = [None if m is None else m.interval for m in (row.peak, row.trough)]
        cells += ["–" if i is None else mm.interval(i.to_dict())[1] for i in (*beside, row.always_on)]
        rows.append(tuple(cells))
    heads = ("after", "low", "median [mm]", "high", "times the test", "largest until then", "trough", "if always on")
    kept = [i for i in range(len(heads)) if i < 5 or any(row[i] != "–" for row in rows)]
    times = Table(
        f"Sag, {percent(sag.level)} intervals",
        tuple(heads[i] for i in kept),
        tuple(tuple(row[i] for i in kept) for row in rows),
    )
    low, high = sag.checks.tested
    strain = Unit("%", 100.0).interval(sag.checks.strain.to_dict())
    stress = (
        ("largest stress in the part", f"{show_number(sag.checks.stress.value)} MPa, in {sag.checks.segment}"),
        ("stress the specimen was tested at", f"{show_number(high)} MPa" if low == high else
         f"{show_number(low)} to {show_number(high)} MPa"),
        ("part over test", show_number(sag.checks.stress.value / high, digits=2)),
        (f"strain there after {show_time(sag.checks.strain_time)}", f"{strain[1]} % ({strain[0]} to {strain[2]} %)"),
    )  # fmt: skip
    tables = {"sag": times}
    tables["stress"] = Table("Stress of the part over the stress tested", ("what", "value"), stress, words=(1,))
    if len(sag.segments) > 1:
        shares = tuple((s.name, f"{100.0 * s.share:.0f} %") for s in sag.segments)
        tables["segments"] = Table("Where the sag comes from", ("part of it", "share"), shares)
    includes = tuple(
        (i.what, "" if i.sd is None and i.factor is None else percent(round(i.sd, 4)) if i.sd is not None
         else f"factor {i.factor:g}")
        for i in sag.includes
    )  # fmt: skip
    tables["includes"] = Table("What the intervals include", ("what", "size"), includes)
    return tables
