"""The answer of `fit` in words: one sentence, then models, increments, creep modulus, creep stop, cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from creepfit.answers.doubts.breaks import it_broke
from creepfit.answers.doubts.withheld import contradiction, withheld_at
from creepfit.answers.interval import Interval
from creepfit.answers.wording import left_out
from creepfit.asked import tails
from creepfit.inference.response import families
from creepfit.records.run import Run
from creepfit.report.text.first_words import NOT_RELIED_ON
from creepfit.report.text.pieces import (
    Unit,
    interval_table,
    modulus_title,
    paragraph,
    percent,
    read_unit,
    several,
    show_load,
    shown_unit,
    table,
    weight_words,
)
from creepfit.shown import capital, listed
from creepfit.units import MINUTE, show_number, show_time

if TYPE_CHECKING:
    from creepfit.answers.specimen.creep_stop import CreepStop
    from creepfit.answers.specimen.increments import Increment, Increments
    from creepfit.answers.specimen.modulus import CreepModulus
    from creepfit.answers.specimen.summary import Summary
    from creepfit.inference.fitting import Fit
    from creepfit.inference.model_fit import FittedParameter, ModelFit

_LEGEND = {
    "1/GPa": "D0, m and the like are compliances (strain over stress), E moduli, eta viscosities, tau times, n an "
    "exponent. The last column is the compliance times the largest stress tested.",
    "mm/N": "D0, m and the like are compliances (deformation over load), E stiffnesses, eta viscosities, tau times, "
    "n an exponent. The last column is the compliance times the largest load tested.",
}


MOST_ROWS, ENDS = 14, 5
"""Creep increments that are all shown; of more, so many from the start and from the end."""


def fit_lines(summary: Summary) -> list[str]:
    """Everything between title and cautions."""
    return [
        *paragraph(headline(summary)),
        "",
        *_models(summary),
        "",
        *_increments(summary.increments),
        "",
        *_modulus(summary.modulus),
        "",
        *(["Has creep stopped?", *_stop(summary.stop)] if summary.fit.run.broke_at is None else []),
    ]


def tested(run: Run) -> list[str]:
    """What was tested, under which load."""
    load, stress = run.peak_load, run.specimen.geometry.stress_per_load
    under = show_load(load, run.load_unit)
    if run.specimen.load_quantity != "stress" and stress is not None:
        under += f", {show_number(load * stress)} MPa"
    loads = sum(1 for step in run.steps if step.value != 0.0)
    steps = "" if loads == 1 else f", {loads} load steps up to"
    return paragraph(f"{run.specimen.describe()}{steps or ', under'} {under}")


def circumstances(fit: Fit) -> list[str]:
    """What was tested and read, in two or three lines."""
    counts = np.sum([_counts(run) for run in fit.runs], axis=0)
    before, under_load, after = (int(count) for count in counts)
    longest = max(run.test_length for run in fit.runs)
    parts = [f"{before or 'none'} before loading", f"{under_load} under load up to {show_time(longest)}"]
    parts.append(f"{after or 'none'} after unloading")
    of_runs = f" of {len(fit.runs)} runs" if len(fit.runs) > 1 else ""
    without = "".join(f"; {said}" for run in fit.runs for said in left_out(run))
    said = f"{several(before + under_load + after, 'reading')}{of_runs}: {listed(parts)}{without}"
    return [*tested(fit.run), *paragraph(said)]


def _counts(run: Run) -> tuple[int, int, int]:
    """Readings before loading, under load, and after unloading."""
    loaded = run.history.at(np.array([r.time for r in run.used])) != 0.0
    under_load = sum(bool(on) and r.time > 0.0 for r, on in zip(run.used, loaded, strict=True))
    return len(run.initial), under_load, len(run.used) - len(run.initial) - under_load


def headline(summary: Summary) -> str:
    """The answer in one sentence; where a slip has to be settled first, that."""
    fit = summary.fit
    instead, against = withheld_at(fit, 0.0), contradiction(fit, NOT_RELIED_ON)
    if instead is not None and not instead.because:
        return instead.text
    unit, end = read_unit(fit), fit.run.test_length
    first = float(fit.observed.span.first)
    first = max(first, MINUTE) if end >= SHORT else first  # a test of seconds speaks of its own first reading
    history = fit.observed.history if fit.run.unloading is None else fit.observed.history.until(fit.run.unloading)
    draws = fit.draws.deformation(history, np.array([first, end]))
    low, median, high = np.quantile(draws[:, 1] - (0.0 if fit.observed.has_initial else draws[:, 0]), tails(fit.level))
    size = unit.sentence(Interval(low, median, high), fit.level)
    verdict = f"{_VERDICTS[summary.stop.stopped]}{summary.stop.fading}" if against is None else _UNTOLD
    before = "" if against is None else f"{against} "
    if fit.run.broke_at is not None:
        before, verdict = f"{before}{capital(it_broke(fit.run))}. ", "of what would have followed nothing is said"
    if not fit.observed.has_initial:
        return (
            f"{before}Between {show_time(first)} and {show_time(end)} of load the creep increment is {size}; "
            f"how far the specimen moved at once is not known, as nothing was read before loading; {verdict}."
        )
    growth = 100.0 * float(np.median(draws[:, 1] / draws[:, 0] - 1.0))
    grown = f", {show_number(growth, digits=2)} % more than after {show_time(first)}" if _single(fit) else ""
    under = "load" if _single(fit) else f"up to {show_load(fit.run.peak_load, fit.run.load_unit)}"
    return f"{before}After {show_time(end)} under {under} the {fit.quantity} is {size}{grown}; {verdict}."


SHORT = 10.0 * MINUTE
"""Tests from this length on speak of what came since the first minute."""

_UNTOLD = "whether creep has stopped cannot be told from them"


_VERDICTS = {
    "no": "creep goes on",
    "gauge only": "creep has not stopped, it is below what this gauge can show",
    "material": "creep has stopped as far as the threshold goes",
    "cannot be told": "whether creep has stopped cannot be told yet",
}


def _single(fit: Fit) -> bool:
    """Whether one load was held: only then is growth since the first minute all creep."""
    return sum(1 for step in fit.run.steps if step.value != 0.0) == 1


def _models(summary: Summary) -> list[str]:
    fit = summary.fit
    per_stress = fit.run.specimen.geometry.stress_per_load
    scale = fit.run.peak_load * (1.0 if per_stress is None else per_stress)
    at = f"at {show_number(scale)} {'N' if per_stress is None else 'MPa'}"
    compliance = shown_unit("mm/N" if per_stress is None else "1/MPa")
    scatter = shown_unit(fit.unit)
    rows: list[list[str]] = []
    for name, model in fit.models.items():
        known = summary.weight(name)
        weight = "-" if known is None else weight_words(known)
        for i, parameter in enumerate(model.parameters):
            unit = shown_unit(parameter.unit) if parameter.unit != "1" else Unit("")
            times = _times_load(parameter, scale, unit) if unit.name == compliance.name else ""
            value = unit.with_error(parameter.value, parameter.std_error)
            lead = [name, weight, scatter.number(model.noise_sd)] if i == 0 else ["", "", ""]
            rows.append([*lead, parameter.name, value, unit.name, times])
    heads = ["model", "weight", f"scatter [{scatter.name}]", "parameter", "value ± error", "unit", at]
    return [
        "Models: best fits with standard errors; the weight is the one in forecasts",
        *_left_columns(heads, rows, (0, 3, 5), again=(3,)),
        *paragraph(_LEGEND[compliance.name], "  "),
        *[line for note in [*_notes(summary), *_variants(fit)] for line in paragraph(note, "  ", "    ")],
    ]


def _left_columns(heads: list[str], rows: list[list[str]], columns: tuple[int, ...], again: tuple[int, ...]) -> list[str]:
    """A table with some columns in the midst of it flush left, and those `again` repeated where it is folded."""
    for column in columns:
        width = max(len(cells[column]) for cells in (heads, *rows))
        for cells in (heads, *rows):
            cells[column] = cells[column].ljust(width)
    return table(heads, rows, again=again)


def _times_load(parameter: FittedParameter, scale: float, unit: Unit) -> str:
    """A compliance as what it comes to at the load tested: strain in per cent, or mm."""
    if parameter.value is None:
        return "unknown"
    strain = Unit("%", 100.0) if unit.name == "1/GPa" else Unit("mm")
    error = None if parameter.std_error is None else abs(scale) * parameter.std_error
    return f"{strain.number(abs(scale) * parameter.value, error)} {strain.name}"


def _notes(summary: Summary) -> list[str]:
    """What the numbers are to be taken with: where the scatter is from, unknown errors and why; like ones together."""
    models = summary.fit.models
    reasons: dict[str, list[str]] = {}
    for name, model in models.items():
        if summary.weight(name) is None:
            reasons.setdefault(f"no weight: {model.model.no_weight}", []).append(name)
    for name, model in models.items():
        for why in _reasons(model):
            reasons.setdefault(why, []).append(name)
    return [f"{'all models' if len(names) == len(models) > 1 else listed(names)}: {why}" for why, names in reasons.items()]


def _variants(fit: Fit) -> list[str]:
    """What a model's weight is made of where a forecast lists it in several lines."""
    names: dict[str, list[str]] = {}
    for family in families(fit):
        name = next((m for m in fit.models if family.label.startswith(f"{m},")), None)
        if name is not None and family.weight >= 0.01:
            names.setdefault(name, []).append(f"{weight_words(family.weight)} with{family.label.removeprefix(f'{name},')}")
    return [
        f"{name}: its weight includes {listed(parts)}, a line of its own in a forecast" for name, parts in names.items()
    ]


def _reasons(model: ModelFit) -> list[str]:
    reasons = []
    if model.noise_from == "gauge" and any(p.std_error is not None for p in model.parameters):
        reasons.append("too few readings to spare to tell the scatter; the gauge's was taken for the errors")
    if not model.status.converged:
        reasons.append("the search for the best fit did not settle")
    by_why: dict[str, list[str]] = {}
    for parameter in model.parameters:
        if parameter.why:
            by_why.setdefault(parameter.why, []).append(parameter.name)
    for why, names in by_why.items():
        reasons.append(why if len(names) == len(model.parameters) else f"{listed(names)}: {why}")
    return reasons


def _increments(increments: Increments) -> list[str]:
    title = "Creep from reading to reading"
    if not increments.rows:
        return [title, "  no two readings in a row under the same load"]
    unit = shown_unit(increments.rows[0].unit)
    rows = [
        [show_time(row.start), show_time(row.end), unit.with_error(row.change, row.std_error), _seen(row)]
        for row in increments
    ]
    heads = ["from", "to", f"change [{unit.name}]", ""]
    if len(rows) <= MOST_ROWS:
        return [title, *table(heads, rows, left=2)]
    shown = [*rows[:ENDS], *rows[-ENDS:]]
    # padded, so that the columns of both halves stand beneath each other
    heads = [h.rjust(max(len(r[i]) for r in shown)) if i == 2 else h for i, h in enumerate(heads)]
    heads = [h.ljust(max(len(r[i]) for r in shown)) if i < 2 else h for i, h in enumerate(heads)]
    between = f"  and {len(rows) - len(shown)} more, see --json"
    return [title, *table(heads, shown[:ENDS], left=2), between, *table(heads, shown[ENDS:], left=2)[1:]]


def _seen(row: Increment) -> str:
    if row.distinguishable is None:
        return row.why or "unknown"
    return "" if row.distinguishable else "not to be told from zero with this gauge"


def _modulus(modulus: CreepModulus) -> list[str]:
    title = f"Creep modulus, {percent(modulus.level)} intervals"
    known = [(row.time, row.modulus) for row in modulus.rows if row.modulus is not None]
    if known:
        return [modulus_title(modulus.fit.run, modulus.level), *interval_table(known, Unit("MPa"))]
    compliances = [(row.time, row.compliance) for row in modulus.rows if row.compliance is not None]
    if not compliances:
        return [title, *paragraph(modulus.rows[0].why or "unknown" if modulus.rows else "unknown", "  ")]
    # where the specimen's sizes are not known: deformation per load instead of a modulus
    title = f"Deformation per load, {percent(modulus.level)} intervals (no modulus: {modulus.rows[0].why})"
    return [*paragraph(title), *interval_table(compliances, shown_unit(modulus.rows[0].compliance_unit))]


def _stop(stop: CreepStop) -> list[str]:
    unit = shown_unit(stop.unit)
    limit = f"{unit.number(stop.threshold)} {unit.name}"
    when = "" if stop.time is None else f"{show_time(stop.time)}; "
    asked = f"Less than {limit} in {show_time(stop.window)} ({stop.threshold_from}): {when}{stop.why}."
    return [*paragraph(stop.sentence, "  "), *paragraph(asked, "  ")]
