"""What several runs, or one under several loads, say together: ratios between materials, dependence on stress."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from creepfit.answers.doubts.catalogue.entry import foremost
from creepfit.answers.interval import Caution, Interval
from creepfit.answers.materials.comparison import TOO_ALIKE, Comparison, Ratio, compare
from creepfit.answers.materials.specimens_needed import MOST_SPECIMENS
from creepfit.answers.stress.isochronous import Isochronous, isochronous
from creepfit.answers.stress.levels import levels_of
from creepfit.answers.stress.linearity import Linearity, linearity
from creepfit.answers.temperature.dependence import (
    NEAR,
    TemperatureDependence,
    temperature_dependence,
)
from creepfit.errors import CreepfitError
from creepfit.inference.fitting import FARTHEST, Fit
from creepfit.inference.run_fit import FAR
from creepfit.inference.tested_temperature import stepped, temperature_known, tested_temperature
from creepfit.report.page.chapter import Chapter
from creepfit.report.page.findings import asked
from creepfit.report.page.pooled import as_one, materials_of
from creepfit.report.page.tables import PageTable
from creepfit.report.text import temperature as warmth_words
from creepfit.report.text.compare import MOST_PAIRS, as_ranked, headline
from creepfit.report.text.pieces import Unit, chance, percent, ratio_cells, shown_unit
from creepfit.shown import capital, listed
from creepfit.units import HOUR, MINUTE, show_number, show_time

# figures are imported where they are drawn: on a page of one run none is, and matplotlib is not loaded here

TIMES = (MINUTE, 10.0 * MINUTE, HOUR, 10.0 * HOUR, 100.0 * HOUR, 1000.0 * HOUR, 10000.0 * HOUR)
CURVES = 4
"""Isochronous curves at most: those at the latest of the times, up to ten times the shortest test."""

APART = 1.25
"""Highest over lowest stress from which on dependence on stress is worth a chapter: closer together nothing shows."""

MOST_SERIES = 4
"""Chapters on stress in a page; the runs of further ones have pages of their own to say it."""

STRESSES = 9
"""Points of a curve where a law says what lies between the stresses tested."""


@dataclass(frozen=True)
class PartSide:
    """What of a part's sag by one run is held against the same by others: at the last time asked for, s.

    `doubt` is the one that matters most, `withheld` why no number is given, in three words, or None.
    """

    label: str
    part: str
    time: float
    size: Interval
    test: float
    limit: float | None
    level: float
    doubt: Caution | None
    withheld: str | None = None


def chapters(
    fits: Sequence[Fit], at: Sequence[str | float] = (), parts: Sequence[PartSide] = (), pool: bool = False
) -> list[Chapter]:
    """All chapters that the fits of a page have something for.

    Parameters
    ----------
    fits : sequence of Fit
    at : times
        Runs are compared at the last of them; by default at the last of those that the shortest test answers for.
    parts : sequence of PartSide
        The sag of a part by each run.
    pool : bool
        Whether the runs of each material are to be taken as one however many they are; else where that says more.
    """
    chapters = [part_by_runs(parts)] if len(parts) > 1 else []
    if len(fits) > 1:
        times = asked(min(fits, key=lambda f: f.run.test_length), at)
        grouped = materials_of(fits, pool)
        chapters.append(materials(grouped.fits, times[-1], fits, grouped.why))
        chapters += [as_one(joined, times, f"pool{i}") for i, joined in enumerate(grouped.pools, start=1)]
    of_warmth = [warmth(group, f"warmth{i}") for i, group in enumerate(_warmed(fits)[:MOST_SERIES], start=1)]
    of_stress = [stresses(group, f"stress{i}") for i, group in enumerate(_series(fits)[:MOST_SERIES], start=1)]
    return [*chapters, *of_warmth, *(chapter for chapter in of_stress if chapter is not None)]


def _warmed(fits: Sequence[Fit]) -> list[list[Fit]]:
    """Fits that tell of warmth: the runs of each material that were made at two temperatures or more."""
    by_material: dict[str, list[Fit]] = {}
    for fit in fits:
        if temperature_known(fit.run):
            by_material.setdefault(fit.run.material.casefold(), []).append(fit)
    groups = ((group, [tested_temperature(f.run) for f in group]) for group in by_material.values())
    return [group for group, degrees in groups if max(degrees) - min(degrees) > NEAR or any(stepped(f.run) for f in group)]


def _series(fits: Sequence[Fit]) -> list[list[Fit]]:
    """Fits that tell of stress: of each material the runs held at one stress each, and every run with steps by itself.

    A run with steps says more by itself than beside others: its steps are of one specimen.
    """
    known = [f for f in fits if _stiffness_known(f)]
    steps = [f for f in known if _stresses_differ([f])]
    held: dict[tuple[str, ...], list[Fit]] = {}
    for fit in known:
        if fit not in steps:
            printed = sorted(f"{key}={value}".casefold() for key, value in fit.run.print_data)
            held.setdefault((fit.run.material.casefold(), *printed), []).append(fit)
    return [*(group for group in held.values() if _stresses_differ(group)), *([f] for f in steps)]


def _stiffness_known(fit: Fit) -> bool:
    return fit.run.specimen.geometry.stress_per_load is not None and fit.observed.has_initial


def _stresses_differ(fits: Sequence[Fit]) -> bool:
    tested = [level.stress for level in levels_of(fits)]
    return len(tested) > 1 and tested[-1] >= APART * tested[0]


def part_by_runs(sides: Sequence[PartSide]) -> Chapter:
    """How far a part sags by each run, the least first.

    Each run has times of its own where none were asked for, so one that is too short to say anything of the latest is named
    and left out.
    """
    from creepfit.report.figures.style import Drawing
    from creepfit.report.figures.together import sizes_figure

    latest, mm = max(side.time for side in sides), Unit("mm")
    when = show_time(latest)
    asked = sorted((side for side in sides if side.time == latest), key=lambda side: side.size.median)
    near = [side for side in asked if latest <= FARTHEST * side.test and side.withheld is None]
    order = near or asked
    one = order[0]
    rows = [(side.label, side.size, latest > FAR * side.test) for side in order]
    limit_words = "" if one.limit is None else f"; its limit is {show_number(one.limit)} mm"
    ends = [f"{mm.sentence(side.size, side.level)} by {side.label}" for side in near]
    ends = list(dict.fromkeys([*ends[:1], *ends[-1:]]))
    answer = f"After {when} the part will have sagged {', and '.join(ends)}{limit_words}." if near else ""
    reasons = {side.label: side.withheld or f"{when} is more than 100 times the test" for side in sides if side not in near}
    for why in dict.fromkeys(reasons.values()):
        left = listed([label for label, own in reasons.items() if own == why])
        answer = f"{answer} By {left} it cannot be forecast: {why}.".lstrip()
    axis = f"sag after {when} [mm], {percent(one.level)} intervals"
    drawing = Drawing("sag", f"Sag after {when}, by each run", answer, sizes_figure(rows, mm, axis, one.limit))
    shown = mm.alike([size for _, size, _ in rows])
    times = [show_number(latest / side.test, digits=2) + ("" if side in near else ", no forecast") for side in order]
    cells = [(side.label, *sizes, far) for side, sizes, far in zip(order, shown, times, strict=True)]
    heads = ("by", "low", "median [mm]", "high", "times its test")
    worst = foremost([side.doubt for side in order if side.doubt is not None])
    table = PageTable(f"Sag after {when}, {percent(one.level)} intervals", heads, tuple(cells), words=(4,))
    name = f"{capital(one.part)}, by each run"
    return Chapter("part", name, answer, (drawing,), {"sag": table}, () if worst is None else (worst,))


def materials(fits: Sequence[Fit], at: float, runs: Sequence[Fit] = (), not_pooled: Sequence[str] = ()) -> Chapter:
    """Materials compared, each by a run or by several as one; where they cannot be, why.

    Those of unknown stiffness may not cost the others theirs. `runs` are drawn over one another and listed where some were
    pooled.
    """
    from creepfit.report.figures.curves import curves_figure

    name, why = "Which gives way less", ""
    drawing = curves_figure(runs, at) if len(runs) > 1 else None
    drawn = () if drawing is None else (drawing,)
    if len(fits) == 1:
        return Chapter("materials", "Runs over one another", "", drawn, _each_table(runs, at), ())
    known = [f for f in fits if _stiffness_known(f)]
    for group in (fits, known):
        try:
            answer = compare(group, [at])
        except CreepfitError as error:
            why = why or f"{error}".rstrip(".")
        else:
            left = [f.run.label for f in fits if f not in group]
            compared = _compared(name, answer, left, why, not_pooled)
            below = _each_table(runs, at) if len(runs) > len(fits) else {}
            return replace(compared, drawn=(*drawn, *compared.drawn), tables={**compared.tables, **below})
    return Chapter("materials", name, f"These runs cannot be compared: {why}.", drawn, {}, ())


def _each_table(runs: Sequence[Fit], at: float) -> dict[str, PageTable]:
    """The runs by themselves."""
    try:
        moment = (answer := compare(runs, [at])).moments[-1]
    except CreepfitError:
        return {}
    unit = shown_unit(answer.unit)
    shown = unit.alike([value.interval for value in moment.values])
    rows = tuple((value.run, *size) for value, size in zip(moment.values, shown, strict=True))
    note = "As a specimen of its material each is doubtful by the scatter between specimens."
    caption = f"Each run by itself, {answer.quantity} after {show_time(moment.time)}"
    return {"each": PageTable(caption, ("run", "low", f"median [{unit.name}]", "high"), rows, note=note)}


def _compared(name: str, answer: Comparison, left: Sequence[str], why: str, not_pooled: Sequence[str]) -> Chapter:
    from creepfit.report.figures.together import ratios_figure, values_figure

    few = len(answer.moments[-1].ratios) <= MOST_PAIRS
    drawn = [values_figure(answer), ratios_figure(answer) if few else None]
    tables = {"values": _values_table(answer), **({"ratios": _ratios_table(answer)} if few else {})}
    text = headline(answer) + (f" Left out: {listed(left)} ({why})." if left else "")
    text = " ".join([text, *(f"{said.rstrip('.')}." for said in not_pooled)])
    return Chapter("materials", name, text, tuple(d for d in drawn if d is not None), tables, answer.cautions)


def _values_table(comparison: Comparison) -> PageTable:
    """Values in the order of the ranking; a compliance with the creep modulus beside it, which more people know."""
    unit, moment = shown_unit(comparison.unit), comparison.moments[-1]
    heads = ["run", "place", "low", f"median [{unit.name}]", "high"]
    ranks = comparison.ranking()
    shown = unit.alike([r.value.interval for r in ranks])
    place = "{}" if comparison.withheld is None else "–"
    rows = [[r.value.run, place.format(r.place), *ends] for r, ends in zip(ranks, shown, strict=True)]
    if comparison.unit == "1/MPa" and comparison.by == "compliance":
        heads.append("creep modulus [MPa]")
        for row, rank in zip(rows, ranks, strict=True):
            size = rank.value.interval
            row.append(Unit("MPa").number(1.0 / size.median, 1.0 / size.low - 1.0 / size.high))
    caption = f"{comparison.quantity.capitalize()} of the average specimen after {show_time(moment.time)}"
    note = f"{percent(comparison.level)} intervals. A shared place cannot be told apart."
    return PageTable(caption, tuple(heads), tuple(map(tuple, rows)), note=note)


def _ratios_table(comparison: Comparison) -> PageTable:
    rows = []
    for ratio in as_ranked(comparison, comparison.moments[-1]):
        sizes = ("", "", "") if ratio.interval is None else ratio_cells(ratio.interval)
        rows.append(
            (
                f"{ratio.of} / {ratio.to}",
                *sizes,
                chance(ratio.probability_smaller),
                _verdict(ratio) if comparison.withheld is None else "not told",
            )
        )
    heads = ("ratio", "low", "median", "high", "first smaller", "difference")
    return PageTable("Ratios", heads, tuple(rows), words=(5,), note="“First smaller” is a probability.")


def _verdict(ratio: Ratio) -> str:
    if ratio.distinguishable:
        return "real"
    if ratio.specimens_needed is not None:
        return f"cannot be told; {ratio.specimens_needed} specimens of each would tell"
    if ratio.why == TOO_ALIKE:
        return f"cannot be told, not by {MOST_SPECIMENS} specimens of each: as good as alike"
    return f"cannot be told; {ratio.why}" if ratio.why else "cannot be told"


def stresses(fits: Sequence[Fit], key: str) -> Chapter | None:
    """Isochronous curves of one material, and whether it creeps in proportion to stress.

    None where stresses were never held alone, and are too few for a law.
    """
    from creepfit.report.figures.together import isochronous_figure

    run = fits[0].run
    name = run.label if len(fits) == 1 else run.material
    try:
        proportion = linearity(fits)
        curves = _curves(fits, proportion)
    except CreepfitError:
        return None
    text = f"{capital(proportion.text)}."
    drawn = () if curves is None else (isochronous_figure(curves, name),)
    tables = {} if curves is None else {"isochronous": _isochronous_table(curves)}
    return Chapter(key, f"{name} under several stresses", text, drawn, tables, proportion.cautions)


def warmth(fits: Sequence[Fit], key: str) -> Chapter:
    """What warmth does to one material; where that cannot be told, why."""
    from creepfit.report.figures.temperature import temperature_figure

    name = f"{fits[0].run.material} at several temperatures"
    try:
        dependence = temperature_dependence(fits)
        drawn = (temperature_figure(dependence),) if dependence.stiffness_known else ()
    except CreepfitError as error:
        return Chapter(key, name, f"What warmth does to it cannot be told: {f'{error}'.rstrip('.')}.", (), {}, ())
    tables = {
        "compliances": _compliances_table(dependence),
        **({"shifts": _shifts_table(dependence)} if dependence.shift_factors else {}),
    }
    return Chapter(
        key,
        name,
        f"{warmth_words.headline(dependence)} {warmth_words.shift_sentence(dependence)}",
        drawn,
        tables,
        dependence.cautions,
    )


def _compliances_table(dependence: TemperatureDependence) -> PageTable:
    unit = shown_unit(dependence.compliance_unit)
    shown = unit.alike([c.compliance for c in dependence.curves])
    rows = [
        (show_number(c.temperature), show_time(c.time), *ends, "yes" if c.tested else "no")
        for c, ends in zip(dependence.curves, shown, strict=True)
    ]
    heads = ("temperature [°C]", "after", "low", f"median [{unit.name}]", "high", "tested there")
    note = "Of the bar tested nearest to each temperature; another bar differs by what bars differ by."
    return PageTable(f"Compliance, {percent(dependence.level)} intervals", heads, tuple(rows), words=(5,), note=note)


def _shifts_table(dependence: TemperatureDependence) -> PageTable:
    rows = [
        (show_number(s.temperature), f"{1000.0 * s.inverse_kelvin:.4f}", *Unit("").interval(s.log_factor))
        for s in dependence.shift_factors
    ]
    heads = ("temperature [°C]", "1000 K/T", "low", "log10 aT", "high")
    caption = f"Shift factors against {show_number(dependence.reference)} °C, {percent(dependence.level)} intervals"
    return PageTable(caption, heads, tuple(rows), note="What is shifted was not tested.")


def _curves(fits: Sequence[Fit], proportion: Linearity) -> Isochronous | None:
    reach = FAR * min(f.run.test_length for f in fits)
    times = [t for t in TIMES if max(f.observed.span.first for f in fits) <= t <= reach][-CURVES:]
    if not times:
        return None
    if proportion.law is None:
        return isochronous(fits, times)
    tested = [level.stress for level in proportion.levels]
    even = np.linspace(0.0, tested[-1], STRESSES)[1:-1]
    between = [float(s) for s in even if min(abs(s - known) for known in tested) > 0.02 * tested[-1]]
    return isochronous(proportion, times, sorted([*tested, *between]))


def _isochronous_table(isochronous: Isochronous) -> PageTable:
    strain, modulus = Unit("%", 100.0), Unit("MPa")
    rows = []
    for point in isochronous.points:
        if not point.interpolated:
            cells = (*strain.interval(point.strain), modulus.interval(point.modulus)[1])
            beyond = "yes" if point.extrapolated else "no"
            rows.append((show_time(point.time), show_number(point.stress), *cells, beyond))
    heads = ("after", "stress [MPa]", "low", "median strain [%]", "high", "creep modulus [MPa]", "beyond its readings")
    caption = f"Strain by stress and time, {percent(isochronous.level)} intervals"
    return PageTable(caption, heads, tuple(rows), words=(6,))
