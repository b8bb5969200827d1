"""What a page says of a part: its sentence, key numbers and tables."""

from __future__ import annotations

from creepfit.answers.part.sag import Sag
from creepfit.report.page.limits import part_limit_table
from creepfit.report.page.tables import PageTable
from creepfit.report.page.words import Key, instead_of_size, life_beside, life_words
from creepfit.report.text.first_words import exceeded_at_once, not_a_forecast
from creepfit.report.text.part import headline as part_headline
from creepfit.report.text.pieces import PROMISED, Unit, kept_chance, percent
from creepfit.units import show_number, show_time


def part_answer(sag: Sag) -> str:
    """The answer for a part in one sentence."""
    if sag.design is None or sag.design.life is None:
        return part_headline(sag)
    limit, life = f"the limit of {show_number(sag.design.limit)} mm is", sag.design.life
    if life.forecast.median == 0.0:
        at_once = exceeded_at_once(sag.design.limit, sag.loading.interval.median, Unit("mm"))
        return f"{part_headline(sag).removesuffix('.')}; {limit} {at_once}."
    assert life.kept is not None  # the life answered for is never longer than what can be
    asked = sag.design.asked
    longest = "" if asked is None else f", the longest of its {show_time(asked)} that can be answered,"
    limit_words = f"{limit} kept for {show_time(life.asked)}{longest} with probability {kept_chance(life.kept)}"
    return f"{part_headline(sag).removesuffix('.')}; {limit_words}, {PROMISED}."


def part_keys(sag: Sag) -> list[Key]:
    """Key numbers of a part."""
    mm, level = Unit("mm"), percent(sag.level)
    keys = []
    loading = mm.interval(sag.loading.interval)
    keys.append(Key("sag right after loading", f"{loading[1]} mm", f"{level}: {loading[0]} to {loading[2]} mm"))
    for row in sag.rows[-2:]:
        interval = row.interval if row.peak is None else row.peak.interval
        if (instead := sag.instead_at(row.time)) is not None:
            beside = instead_of_size(instead, mm, interval)
            keys.append(Key(f"sag after {show_time(row.time)}", "not given", beside))
            continue
        low, median, high = mm.interval(interval)
        what = f"sag after {show_time(row.time)}" if row.peak is None else f"largest sag up to {show_time(row.time)}"
        keys.append(Key(what, f"{median} mm", f"{level}: {low} to {high} mm"))
    if sag.design is not None:
        what, life = f"limit of {show_number(sag.design.limit)} mm reached", sag.design.life
        if life is None:
            why = sag.unpromised or sag.instead
            keys.append(Key(what, "not given", "" if why is None else why.short))
        elif life.forecast.median == 0.0:
            beside = f"{loading[1]} mm as it is loaded"
            keys.append(Key(what.removesuffix(" reached"), "exceeded at once", beside))
        else:
            keys.append(Key(what, life_words(life, "median"), life_beside(life, sag.level)))
    checks = sag.checks
    tested = f"{show_number(checks.stress.value / checks.tested[1], digits=2)} times the stress tested"
    keys.append(Key("largest stress", f"{show_number(checks.stress.value)} MPa", tested))
    return keys


def part_tables(sag: Sag) -> dict[str, PageTable]:
    """Tables of a part."""
    mm = Unit("mm")
    test = sag.fit.run.test_length
    rows = []
    for row in sag.rows:
        cells = [show_time(row.time), *mm.interval(row.interval), f"{show_number(row.time / test, digits=2)}"]
        beside = [None if m is None else m.interval for m in (row.peak, row.trough)]
        cells += ["–" if i is None else mm.interval(i)[1] for i in (*beside, row.always_on)]
        rows.append(tuple(cells))
    heads = ("after", "low", "median [mm]", "high", "times the test", "largest until then", "trough", "if always on")
    shown = [i for i in range(len(heads)) if i < 5 or any(row[i] != "–" for row in rows)]
    times = PageTable(
        f"Sag, {percent(sag.level)} intervals",
        tuple(heads[i] for i in shown),
        tuple(tuple(row[i] for i in shown) for row in rows),
        note=not_a_forecast(sag.instead),
    )
    low, high = sag.checks.tested
    strain = Unit("%", 100.0).interval(sag.checks.strain)
    stress = (
        ("largest stress in the part", f"{show_number(sag.checks.stress.value)} MPa, in {sag.checks.segment}"),
        ("stress the specimen was tested at", f"{show_number(high)} MPa" if low == high else
         f"{show_number(low)} to {show_number(high)} MPa"),
        ("part over test", show_number(sag.checks.stress.value / high, digits=2)),
        (f"strain there after {show_time(sag.checks.strain_time)}", f"{strain[1]} % ({strain[0]} to {strain[2]} %)"),
    )  # fmt: skip
    tables = {"sag": times}
    if sag.design is not None and sag.unpromised is None:
        tables["limit"] = part_limit_table(sag, sag.design)
    tables["stress"] = PageTable("Stress of the part over the stress tested", ("what", "value"), stress, words=(1,))
    if len(sag.segments) > 1:
        shares = tuple((s.name, f"{100.0 * s.share:.0f} %") for s in sag.segments)
        tables["segments"] = PageTable("Where the sag comes from", ("part of it", "share"), shares)
    includes = tuple(
        (i.what, "" if i.sd is None and i.factor is None else percent(round(i.sd, 4)) if i.sd is not None
         else f"factor {i.factor:g}")
        for i in sag.includes
    )  # fmt: skip
    tables["includes"] = PageTable("What the intervals include", ("what", "size"), includes)
    return tables
