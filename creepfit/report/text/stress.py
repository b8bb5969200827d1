"""The answer of `stress` in words: proportion, what the specimens show, the law, isochronous curves and creep moduli."""

from __future__ import annotations

from collections.abc import Sequence

from creepfit.answers.interval import Interval
from creepfit.answers.stress.dependence import StressDependence
from creepfit.answers.stress.isochronous import Isochronous, IsochronousPoint
from creepfit.answers.stress.laws import SinhLaw
from creepfit.answers.stress.linearity import Linearity, StressRatio
from creepfit.report.text.answers import cautions
from creepfit.report.text.columns import columns
from creepfit.report.text.fit import circumstances
from creepfit.report.text.pieces import Unit, paragraph, percent, ratio_cells, several, table
from creepfit.shown import capital, listed
from creepfit.units import show_number, show_time

FORECAST, NOT_TESTED = "*", "~"
"""Marks of an entry beyond what was read at its stress, and of a stress at which nothing was held."""

HALF = 0.5


def stress_text(dependence: StressDependence) -> str:
    """The whole answer."""
    proportion = dependence.linearity
    lines = [
        *_title(proportion),
        "",
        *paragraph(f"{capital(proportion.text)}."),
        "",
        "Stresses tested",
        *_levels(proportion),
        *_ratios(proportion),
        "",
        *_law(proportion),
        "",
        *_curves(dependence),
        "",
        "Assumed before the readings",
        *(line for text in proportion.assumptions for line in paragraph(f"- {text}", "  ", "    ")),
    ]
    return "\n".join([*lines, *cautions(dependence.cautions)])


def _title(linearity: Linearity) -> list[str]:
    if len(linearity.runs) == 1:
        label = linearity.runs[0].label
        return [label, "=" * len(label), *circumstances(linearity.fit)]
    materials = listed(list(dict.fromkeys(run.material for run in linearity.runs)))
    label = f"{materials}: {several(len(linearity.runs), 'run')} at {several(len(linearity.levels), 'stress', 'stresses')}"
    return [label, "=" * len(label), *paragraph(f"together: {listed([run.label for run in linearity.runs])}")]


def _levels(linearity: Linearity) -> list[str]:
    rows = [
        [show_number(level.stress), show_time(level.read[0]), show_time(level.read[1]), listed(level.specimens)]
        for level in linearity.levels
    ]
    return table(["stress [MPa]", "read from", "to", ""], rows, left=0)


def _ratios(linearity: Linearity) -> list[str]:
    if not linearity.ratios:
        return []
    rows = []
    for r in _chosen(linearity.ratios):
        low, median, high = ratio_cells(r.ratio)
        pair = f"{show_number(r.high_stress)} / {show_number(r.low_stress)} MPa"
        when = "steps" if r.time is None else show_time(r.time)
        verdict = "real" if r.distinguishable else "not distinguishable"
        rows.append([pair, when, low, median, high, f"{r.probability_softer:.2f}", verdict])
    heads = ["of / to", "after", "low", "ratio", "high", "softer", "difference"]
    title = f"Compliance over that at a lower stress, as tested, {percent(linearity.level)} intervals"
    lines = ["", title, *table(heads, rows), "  softer: probability that the ratio is above 1"]
    if linearity.steps is not None:
        lines += paragraph(
            "steps: from loads put on one after another. Creep of the earlier ones is taken off; in the readings as they "
            "are it passes for softening.",
            "  ",
        )
    return lines


def _chosen(ratios: Sequence[StressRatio]) -> list[StressRatio]:
    """Of each pair of stresses the first, a middle and the last time: more of them say the same again."""
    pairs: dict[tuple[float, float], list[StressRatio]] = {}
    for r in ratios:
        # the whole curve's ratio, of steps, stands by itself
        pairs.setdefault((r.high_stress, -1.0 if r.time is None else r.low_stress), []).append(r)
    return [own[i] for own in pairs.values() for i in sorted({0, len(own) // 2, len(own) - 1})]


def _law(linearity: Linearity) -> list[str]:
    law = linearity.law
    if law is None:
        words = f"none: {linearity.why}" if linearity.why else "none"
        return ["Law of stress", *paragraph(words, "  ", "    ")]
    odds = f"{law.probability_linear:.2f}" if law.probability_linear >= HALF / 100.0 else "less than 0.01"
    lines = [
        "Law of stress (Findley): strain = D(t) s0 sinh(stress / s0)",
        *paragraph(f"probability of proportion: {odds} ({HALF:g} before the readings)", "  ", "    "),
        *paragraph(_sinh_stress(law, linearity.level), "  ", "    "),
    ]
    real = linearity.proportional == "no" and law.factor.low > 1.0
    size = law.factor if real else law.factor_if_not_linear
    beside = "" if real else ", if it is not in proportion"
    factor = ratio_cells(size)
    text = (
        f"strain at {show_number(law.highest)} MPa over that in proportion, in tension{beside}: {factor[1]} "
        f"({percent(linearity.level)}: {factor[0]} to {factor[2]})"
    )
    return [*lines, *paragraph(text, "  ", "    ")]


def _sinh_stress(law: SinhLaw, level: float) -> str:
    """The sinh stress; where proportion is not ruled out only its lower end says anything."""
    known = law.sigma0
    if all(value < float("inf") for value in (known.low, known.median, known.high)):
        end = " or less (the end of what is searched)" if law.at_end else ""
        return f"sinh stress s0: {Unit('MPa').sentence(known, level)}{end}"
    least = law.sigma0_if_not_linear.low
    return (
        f"sinh stress s0: at least {show_number(least, digits=2)} MPa if creep is not in proportion "
        f"(probability {HALF + level / 2.0:g}); no upper end, as proportion is not ruled out"
    )


def _curves(dependence: StressDependence) -> list[str]:
    curves = dependence.curves
    if curves is None:
        return ["Isochronous curves", *paragraph(f"none: {dependence.why}", "  ", "    ")]
    level = percent(curves.level)
    strain, modulus = Unit("%", 100.0), Unit("MPa")
    lines = [
        f"Isochronous stress-strain curves: strain [%], {level} intervals",
        *paragraph(curves.basis, "  "),
        *_matrix(curves, [(strain, p.strain) for p in curves.points]),
        "",
        f"Creep modulus [MPa], {level} intervals",
        *_matrix(curves, [(modulus, p.modulus) for p in curves.points]),
    ]
    marks = {
        FORECAST: "a forecast: outside the time for which this stress was read",
        NOT_TESTED: "nothing was held at this stress: by the law",
    }
    used = [m for m in marks if any(m in _mark(p) for p in curves.points)]
    lines += [line for m in used for line in paragraph(f"{m} {marks[m]}", "  ", "    ")]
    if dependence.left_out:
        times = listed([show_time(t) for t in dependence.left_out])
        lines += paragraph(
            f"{times} left out: more than a hundred times the longest test. --at shows them all the same.", "  ", "    "
        )
    return lines


def _mark(point: IsochronousPoint) -> str:
    return (FORECAST if point.extrapolated else "") + (NOT_TESTED if point.interpolated else "")


def _matrix(curves: Isochronous, sizes: Sequence[tuple[Unit, Interval]]) -> list[str]:
    """Stresses down, times across, as many side by side as the width takes."""
    cells: dict[tuple[float, float], str] = {}
    for point, (unit, size) in zip(curves.points, sizes, strict=True):
        low, median, high = unit.interval(size)
        # a place for the mark in every cell keeps the numbers in line
        cells[point.stress, point.time] = f"{median} ({low} to {high}){_mark(point):<2}"
    stresses = sorted({p.stress for p in curves.points})
    times = sorted({p.time for p in curves.points})
    lines: list[str] = []
    while times:
        for count in range(len(times), 0, -1):
            block = _block(stresses, times[:count], cells, fold=count == 1)
            if max(map(len, block)) <= columns():
                break
        lines += ([""] if lines else []) + block
        times = times[count:]
    return lines


def _block(
    stresses: Sequence[float], times: Sequence[float], cells: dict[tuple[float, float], str], fold: bool
) -> list[str]:
    heads = ["stress [MPa]", *(f"after {show_time(t)}  " for t in times)]
    return table(heads, [[show_number(s), *(cells.get((s, t), "") for t in times)] for s in stresses], left=0, fold=fold)
