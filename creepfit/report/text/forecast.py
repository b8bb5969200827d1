"""The answer of `forecast` in words: one sentence, the times asked for, what the doubt is made of, models, limit."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from creepfit.answers.specimen.forecast import Forecast
from creepfit.inference.fitting import FARTHEST
from creepfit.report.text.first_words import contradiction, exceeded_at_once, instead_of_a_number
from creepfit.report.text.known import hindcast_lines, owed_lines
from creepfit.report.text.pieces import (
    WIDTH,
    Unit,
    hours,
    kept_words,
    life_words,
    out_of_reach,
    paragraph,
    percent,
    show_force,
    show_load,
    shown_unit,
    table,
    weight_words,
)
from creepfit.units import HOUR, MINUTE, show_number

LOADING = MINUTE
"""When what a load does at once is quoted, s."""

MOST_COLUMNS = 3
"""Times that the models' own lines are shown for at most; of more, the last ones."""


def forecast_lines(result: Forecast) -> list[str]:
    """Everything between title and cautions."""
    answer = result.to_dict()
    unit = shown_unit(answer["unit"])
    rows = answer["forecast"]
    return [
        *paragraph(headline(result)),
        *owed_lines(result.owed),
        "",
        *time_lines(result),
        "",
        "What the interval is made of",
        *_shares(rows),
        "",
        "Each model alone",
        *_models(rows, unit),
        *_modulus(answer),
        *limit_lines(result),
        "",
        "Tried on this run itself",
        *paragraph(f"{result.hindcast.text}.", "  "),
        *hindcast_lines(result.owed),
        "",
        "Assumed before the readings ([prior] in the run file sets them)",
        *(line for text in result.assumptions for line in paragraph(f"- {text}", "  ", "    ")),
    ]


_KINDS = {"curve": "the mean curve", "reading": "the next reading of the gauge"}


def headline(result: Forecast) -> str:
    """The last time asked for, in one sentence; where a slip has to be settled first, that."""
    slip, against = instead_of_a_number(result.fit), contradiction(result.fit)
    if slip is not None:
        return slip
    said = _headline(result)
    return said if against is None else f"{against} {said}"


def _headline(result: Forecast) -> str:
    answer = result.to_dict()
    row = max(answer["forecast"], key=lambda r: r["time_h"])
    load, test = answer["load"], result.fit.run.test_length
    under = show_load(load["value"], load["unit"], result.fit.run) + ("" if load["held"] else ", on and off")
    unit = shown_unit(answer["unit"])
    since = " since the first reading under load" if answer["quantity"] == "creep increment" else ""
    what = f"the {answer['quantity']}{since}"
    place = "" if result.fit.warming is None else f" {result.fit.warming.text}"
    start = f"After {hours(row['time_h'])} under {under}{place} {what}"
    ratio = row["time_h"] * HOUR / test
    if ratio > FARTHEST:
        return f"{start} is out of reach: {out_of_reach(row.get('peak', row), ratio, unit, answer['level'])}"
    far = f", {show_number(ratio, digits=2)} times longer than it was tested" if ratio >= 1.5 else ""
    if "peak" in row:
        largest = unit.sentence(row["peak"], answer["level"])
        then = unit.interval(row)[1]
        at = hours(row["time_h"])
        until = f"Up to {at} under {under}{place} {what} will be at most {largest}{far}"
        return f"{until}; at {at} itself it will be {then} {unit.name}."
    return f"{start} will be {unit.sentence(row, answer['level'])}{far}."


def time_lines(result: Forecast) -> list[str]:
    """The times asked for."""
    answer = result.to_dict()
    title = f"{answer['quantity'].capitalize()}, {percent(answer['level'])} intervals of {_KINDS[answer['kind']]}"
    return [title, *_times(answer["forecast"], shown_unit(answer["unit"]))]


def _times(rows: list[dict[str, Any]], unit: Unit) -> list[str]:
    heads = ["after", "low", f"median [{unit.name}]", "high", "times the test"]
    extra = [name for name in ("peak", "always_on") if any(name in row for row in rows)]
    cells = []
    for row in rows:
        times = show_number(10.0 ** row["decades_beyond"], digits=2) if row["decades_beyond"] > 0.0 else "within"
        cells.append([hours(row["time_h"]), *unit.interval(row), times])
        for name in extra:
            low, median, high = unit.interval(row[name]) if name in row else ("", "", "")
            cells[-1].append(f"{median} ({low} to {high})" if median else "not on yet")
    words = {"peak": "largest until then", "always_on": "if always on"}
    return table([*heads, *(words[name] for name in extra)], cells)


def _shares(rows: list[dict[str, Any]]) -> list[str]:
    heads = ["after", "gauge", "parameters", "choice of model", "what no model has"]
    names = ["gauge", "parameters", "model", "discrepancy"]
    if "temperature" in rows[0]["share"]:
        heads, names = [*heads, "temperature"], [*names, "temperature"]
    cells = [[hours(row["time_h"]), *(f"{100.0 * row['share'][name]:.0f} %" for name in names)] for row in rows]
    return table(heads, cells)


def _models(rows: list[dict[str, Any]], unit: Unit) -> list[str]:
    """The models' own lines for as many of the last times as there is room for."""
    for count in range(min(MOST_COLUMNS, len(rows)), 0, -1):
        lines = _model_table(rows[-count:], unit)
        if max(map(len, lines)) <= WIDTH:
            break
    return lines


def _model_table(rows: list[dict[str, Any]], unit: Unit) -> list[str]:
    heads = ["model", "weight", *(f"{hours(row['time_h'])} [{unit.name}]" for row in rows)]
    lines: dict[str, list[str]] = {}
    for row in rows:
        for model in row["models"]:
            low, median, high = unit.interval(model)
            lines.setdefault(model["model"], [weight_words(model["weight"])]).append(f"{median} ({low} to {high})")
    return table(heads, [[name, *cells] for name, cells in lines.items()])


def _modulus(answer: dict[str, Any]) -> list[str]:
    rows = answer["creep_modulus"]
    if not rows:
        return []
    title = f"Creep modulus, {percent(answer['level'])} intervals"
    if all(row["median"] is None for row in rows):
        return ["", title, *paragraph(f"unknown: {rows[0]['why']}", "  ")]
    cells = [[hours(row["time_h"]), *Unit("MPa").interval(row)] for row in rows]
    return ["", title, *table(["after", "low", "median [MPa]", "high"], cells)]


def limit_lines(result: Forecast) -> list[str]:
    """When the limit asked about is reached, and which load keeps it; nothing where none was asked about."""
    answer = result.to_dict()
    limit, unit = answer["limit"], shown_unit(answer["unit"])
    if limit is None:
        return []
    lines = ["", f"Limit of {unit.number(limit['value'])} {unit.name}"]
    life, load = limit["life_h"], limit["load"]
    if life is not None and life["median"] == 0.0:
        loading = float(np.median(result.outlook.response(np.array([LOADING])).draws))
        lines += paragraph(exceeded_at_once(limit["value"], loading, unit), "  ", "    ")
    elif life is not None and result.limit is not None and result.limit.life is not None:
        lines += paragraph(life_words(result.limit.life, answer["level"]), "  ", "    ")
    if limit["kept"] is not None:
        lines += paragraph(kept_words(limit["kept"], answer["level"]), "  ", "    ")
    if load is not None:
        least = math.floor(1000.0 * load["probability"]) / 1000.0  # never round a promise up
        text = (
            f"kept for {hours(load['life_h'])} with probability {least:g} by "
            f"{show_force(load['value'], load['unit'], result.fit.run)}; {load['note']}"
        )
        lines += paragraph(text, "  ", "    ")
    reached = result.limit.life.why if life is not None and result.limit is not None and result.limit.life else None
    why = (limit["why"] or "").removeprefix(reached or "").removeprefix("; ")
    if why and (life is None or load is None):
        lines += paragraph(why, "  ", "    ")
    return lines
