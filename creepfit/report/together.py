"""What several runs, or one under several loads, say together: ratios between materials, dependence on stress."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from creepfit.answers.comparison import Comparison, Ratio, compare
from creepfit.answers.interval import Caution
from creepfit.answers.isochronous import Isochronous, isochronous
from creepfit.answers.linearity import Linearity, linearity
from creepfit.answers.stress_levels import levels_of
from creepfit.errors import CreepfitError
from creepfit.inference.fitting import Fit
from creepfit.report.figures_together import isochronous_figure, ratios_figure
from creepfit.report.style import FAR, Drawing
from creepfit.report.tables import Table
from creepfit.report.text_compare import headline
from creepfit.report.text_parts import Unit, percent, shown_unit
from creepfit.units import HOUR, MINUTE, show_number, show_time

TIMES = (MINUTE, 10.0 * MINUTE, HOUR, 10.0 * HOUR, 100.0 * HOUR, 1000.0 * HOUR, 10000.0 * HOUR)
CURVES = 4
"""Isochronous curves at most: those at the latest of the times, up to ten times the shortest test."""

STRESSES = 9
"""Points of a curve where a law says what lies between the stresses tested."""


@dataclass(frozen=True, eq=False)
class Chapter:
    """A part of the page of its own: an answer in a sentence, figures, tables and the doubts about it."""

    key: str
    title: str
    answer: str
    drawn: tuple[Drawing, ...]
    tables: dict[str, Table]
    cautions: tuple[Caution, ...]


def chapters(fits: Sequence[Fit], at: float | None) -> list[Chapter]:
    """All chapters that the fits of a page have something for.

    Parameters
    ----------
    fits : sequence of Fit
    at : float or None
        When to compare, s since loading; None where the runs have no time in common.
    """
    found = [] if at is None or len(fits) < 2 else [materials(fits, at)]
    of_stress = [stresses(group, f"stress{i}") for i, group in enumerate(_series(fits), start=1)]
    return [*found, *(chapter for chapter in of_stress if chapter is not None)]


def _series(fits: Sequence[Fit]) -> list[list[Fit]]:
    """Fits that tell of stress: of each material the runs held at one stress each, and every run with steps by itself.

    A run with steps says more by itself than beside others: its steps are of one specimen.
    """
    known = [f for f in fits if f.run.specimen.geometry.stress_per_load is not None and f.observed.has_initial]
    steps = [f for f in known if len(levels_of([f])) > 1]
    held: dict[tuple[str, ...], list[Fit]] = {}
    for fit in known:
        if fit not in steps:
            printed = sorted(f"{key}={value}".casefold() for key, value in fit.run.print_data)
            held.setdefault((fit.run.material.casefold(), *printed), []).append(fit)
    return [*(group for group in held.values() if len(levels_of(group)) > 1), *([f] for f in steps)]


def materials(fits: Sequence[Fit], at: float) -> Chapter:
    """Runs compared as materials; where they cannot be, why."""
    name = "Which gives way less"
    try:
        answer = compare(fits, [at])
    except CreepfitError as error:
        return Chapter("materials", name, f"These runs cannot be compared: {error}.", (), {}, ())
    drawing = ratios_figure(answer)
    tables = {"values": _values_table(answer), "ratios": _ratios_table(answer)}
    return Chapter("materials", name, headline(answer), () if drawing is None else (drawing,), tables, answer.cautions)


def _values_table(found: Comparison) -> Table:
    unit, moment = shown_unit(found.unit), found.moments[-1]
    places = {rank.value.run: str(rank.place) for rank in found.ranking()}
    order = sorted(moment.values, key=lambda v: int(places[v.run]))
    rows = tuple((v.run, places[v.run], *unit.interval(v.interval.to_dict())) for v in order)
    caption = f"{found.quantity.capitalize()} of the average specimen after {show_time(moment.time)}"
    note = f"{percent(found.level)} intervals. A shared place cannot be told apart."
    return Table(caption, ("run", "place", "low", f"median [{unit.name}]", "high"), rows, note=note)


def _ratios_table(found: Comparison) -> Table:
    rows = []
    for ratio in found.moments[-1].ratios:
        sizes = ("", "", "") if ratio.interval is None else Unit("").interval(ratio.interval.to_dict())
        rows.append((f"{ratio.of} / {ratio.to}", *sizes, f"{ratio.probability_smaller:.2f}", _verdict(ratio)))
    heads = ("ratio", "low", "median", "high", "first smaller", "difference")
    return Table("Ratios", heads, tuple(rows), words=(5,), note="“First smaller” is a probability.")


def _verdict(ratio: Ratio) -> str:
    if ratio.distinguishable:
        return "real"
    if ratio.specimens_needed is not None:
        return f"cannot be told; {ratio.specimens_needed} specimens of each would tell"
    return f"cannot be told; {ratio.why}" if ratio.why else "cannot be told"


def stresses(fits: Sequence[Fit], key: str) -> Chapter | None:
    """Isochronous curves of one material, and whether it creeps in proportion to stress.

    None where stresses were never held alone, and are too few for a law.
    """
    run = fits[0].run
    name = run.label if len(fits) == 1 else run.material
    try:
        proportion = linearity(fits)
        curves = _curves(fits, proportion)
    except CreepfitError:
        return None
    text = f"{proportion.text[0].upper()}{proportion.text[1:]}."
    drawn = () if curves is None else (isochronous_figure(curves, name),)
    tables = {} if curves is None else {"isochronous": _isochronous_table(curves)}
    return Chapter(key, f"{name} under several stresses", text, drawn, tables, proportion.cautions)


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


def _isochronous_table(found: Isochronous) -> Table:
    strain, modulus = Unit("%", 100.0), Unit("MPa")
    rows = []
    for point in found.points:
        if not point.interpolated:
            cells = (*strain.interval(point.strain.to_dict()), modulus.interval(point.modulus.to_dict())[1])
            beyond = "yes" if point.extrapolated else "no"
            rows.append((show_time(point.time), show_number(point.stress), *cells, beyond))
    heads = ("after", "stress [MPa]", "low", "median strain [%]", "high", "creep modulus [MPa]", "beyond its readings")
    caption = f"Strain by stress and time, {percent(found.level)} intervals"
    return Table(caption, heads, tuple(rows), words=(6,))
