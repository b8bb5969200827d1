"""The answer of `forecast` in words: one sentence, the times asked for, what the doubt is made of, models, limit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from creepfit.answers.doubts.load import times_the_tested
from creepfit.inference.fitting import FARTHEST
from creepfit.report.text.columns import columns
from creepfit.report.text.first_words import exceeded_at_once, in_place_of_a_number, not_a_forecast
from creepfit.report.text.known import hindcast_lines, with_known_lines
from creepfit.report.text.pieces import (
    Unit,
    beyond_the_stress,
    interval_table,
    kept_lines,
    life_words,
    modulus_title,
    out_of_reach,
    paragraph,
    percent,
    promise,
    read_unit,
    show_load,
    table,
    times_the_test,
    weight_words,
)
from creepfit.units import MINUTE, show_number, show_time

if TYPE_CHECKING:
    from creepfit.answers.interval import Interval
    from creepfit.answers.specimen.forecast import Forecast, ForecastRow

LOADING = MINUTE
"""When what a load does at once is quoted, s."""

MOST_COLUMNS = 3
"""Times that the models' own lines are shown for at most; of more, the last ones."""


def forecast_lines(result: Forecast) -> list[str]:
    """Everything between title and cautions."""
    return [
        *paragraph(headline(result)),
        *with_known_lines(result.with_known),
        "",
        *time_lines(result),
        "",
        "What the interval is made of",
        *_shares(result.rows),
        "",
        "Each model alone",
        *_models(result.rows, read_unit(result.fit)),
        *_modulus(result),
        *limit_lines(result),
        "",
        "Tried on this run itself",
        *paragraph(f"{result.hindcast.text}.", "  "),
        *hindcast_lines(result.with_known),
        "",
        "Assumed before the readings ([prior] in the run file sets them)",
        *(line for text in result.assumptions for line in paragraph(f"- {text}", "  ", "    ")),
    ]


_KINDS = {"curve": "the mean curve", "reading": "the next reading of the gauge"}


def headline(result: Forecast) -> str:
    """The last time asked for, in one sentence; where no number is given for it, why."""
    row, instead = max(result.rows, key=lambda r: r.time), result.instead
    if instead is not None and instead.of == "all":
        when = f"{show_time(row.time)} under {show_load(result.case.peak, result.outlook.load_unit)}"
        return in_place_of_a_number(instead, when)
    under = show_load(result.case.peak, result.outlook.load_unit)
    if not result.case.is_held:
        under = f"{under}, on and off," if result.case.period else f"a load that changes, at most {under},"
    unit, at = read_unit(result.fit), show_time(row.time)
    since = " since the first reading under load" if result.quantity == "creep increment" else ""
    what = f"the {result.quantity}{since}"
    place = "" if result.fit.warming is None else f" {result.fit.warming.text}"
    start = f"After {at} under {under}{place} {what}"
    ratio = row.time / result.fit.run.test_length
    largest = row.interval if row.peak is None else row.peak.interval
    if ratio > FARTHEST:
        return f"{start} is out of reach: {out_of_reach(largest, ratio, unit, result.level)}"
    size = unit.sentence(largest, result.level)
    if instead is not None:
        return f"{start} is out of reach: {instead.because}. In proportion to the load it would be {size}."
    far = f", {show_number(ratio, digits=2)} times longer than it was tested" if ratio >= 1.5 else ""
    far += beyond_the_stress(times_the_tested(result.fit, result.case.peak))
    if row.peak is None:
        return f"{start} will be {size}{far}."
    then = unit.sentence(row.interval, result.level)
    until = f"Up to {at} under {under}{place} {what} will be at most {size}{far}"
    return f"{until}; at {at} itself it will be {then}."


def time_lines(result: Forecast) -> list[str]:
    """The times asked for."""
    unit, rows = read_unit(result.fit), result.rows
    besides: list[tuple[str, list[Interval | None]]] = [
        ("largest until then", [row.peak.interval if row.peak else None for row in rows]),
        ("if always on", [row.always_on for row in rows]),
    ]
    besides = [(head, sizes) for head, sizes in besides if any(sizes)]
    cells = []
    for i, row in enumerate(rows):
        beside = ["not on yet" if (own := sizes[i]) is None else unit.in_words(own) for _, sizes in besides]
        cells.append([show_time(row.time), *unit.interval(row.interval), times_the_test(row.decades_beyond), *beside])
    heads = ["after", "low", f"median [{unit.name}]", "high", "times the test", *(head for head, _ in besides)]
    title = f"{result.quantity.capitalize()}, {percent(result.level)} intervals of {_KINDS[result.kind]}"
    return [title, *_warning(result), *table(heads, cells)]


def _warning(result: Forecast) -> list[str]:
    """What is said above numbers that are no forecast, as creep speeds up."""
    return paragraph(not_a_forecast(result.instead), "  ")


def _shares(rows: Sequence[ForecastRow]) -> list[str]:
    heads = ["after", "gauge", "parameters", "choice of model", "what no model has", "temperature"]
    cells = []
    for row in rows:
        own = row.share
        parts = (own.gauge, own.parameters, own.model, own.discrepancy, own.temperature)
        cells.append([show_time(row.time), *(f"{100.0 * part:.0f} %" for part in parts if part is not None)])
    return table(heads[: len(cells[0])], cells)


def _models(rows: Sequence[ForecastRow], unit: Unit) -> list[str]:
    """The models' own lines for as many of the last times as there is room for."""
    for count in range(min(MOST_COLUMNS, len(rows)), 0, -1):
        lines = _model_table(rows[-count:], unit, fold=count == 1)
        if max(map(len, lines)) <= columns():
            break
    return lines


def _model_table(rows: Sequence[ForecastRow], unit: Unit, fold: bool) -> list[str]:
    heads = ["model", "weight", *(f"{show_time(row.time)} [{unit.name}]" for row in rows)]
    lines: dict[str, list[str]] = {}
    for row in rows:
        for model in row.models:
            lines.setdefault(model.model, [weight_words(model.weight)]).append(unit.in_words(model.interval))
    return table(heads, [[name, *cells] for name, cells in lines.items()], fold=fold)


def _modulus(result: Forecast) -> list[str]:
    rows = result.modulus.rows
    if not rows:
        return []
    title = f"Creep modulus, {percent(result.level)} intervals"
    known = [(row.time, row.modulus) for row in rows if row.modulus is not None]
    if not known:
        return ["", title, *paragraph(f"unknown: {rows[0].why}", "  ")]
    return ["", modulus_title(result.fit.run, result.level), *interval_table(known, Unit("MPa"))]


def limit_lines(result: Forecast) -> list[str]:
    """When the limit asked about is reached, and which load keeps it; nothing where none was asked about."""
    limit, unit = result.limit, read_unit(result.fit)
    if limit is None:
        return []
    life = limit.life
    lines = ["", f"Limit of {unit.number(limit.value)} {unit.name}"]
    if life is not None and life.forecast.median == 0.0:
        loading = float(np.median(result.outlook.response(np.array([LOADING])).draws))
        lines += paragraph(exceeded_at_once(limit.value, loading, unit), "  ", "    ")
    elif life is not None:
        lines += paragraph(life_words(life, result.level), "  ", "    ")
    kept = [] if life is None else kept_lines(life, result.level)
    if limit.load is not None:
        least = math.floor(1000.0 * limit.load.probability) / 1000.0  # never round a promise up
        text = (
            f"kept for {show_time(limit.load.life)} with probability {least:g} by "
            f"{result.outlook.load_unit.show(limit.load.value)}; {limit.load.note}"
        )
        kept += paragraph(text, "    ", "      ")
    return [*lines, *promise(kept), *(paragraph(limit.why_no_load, "  ", "    ") if limit.why_no_load else [])]
