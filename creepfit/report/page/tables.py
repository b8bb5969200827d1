"""Tables of a report: what a page shows as rows and offers as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from creepfit.answers.doubts.collected import slip_of
from creepfit.answers.specimen.increments import Increment, Increments
from creepfit.answers.wording import left_out
from creepfit.inference.hindcast import Hindcast
from creepfit.report.csv_cells import csv_cell
from creepfit.report.page.findings import Findings
from creepfit.report.text.first_words import not_a_forecast
from creepfit.report.text.pieces import Unit, modulus_title, percent, read_unit, shown_unit, weight_words
from creepfit.report.text.recovery import back_cell, beyond_start, stays_words
from creepfit.shown import capital
from creepfit.units import HOUR, show_number, show_time


@dataclass(frozen=True)
class PageTable:
    """A table with its caption; the first `left` columns are words, the others numbers. `note` stands beneath."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: int = 1
    note: str = ""
    words: tuple[int, ...] = ()


NOT_BESIDE_A_SLIP = ("models", "modulus", "recovery", "hindcast")
"""Tables that say nothing where a slip is to be settled first, however they are headed."""

SET_MEANING = "Compliance of what stays after unloading."


def run_tables(findings: Findings) -> dict[str, PageTable]:
    """All tables of a run by their key; those without rows are left out."""
    tables = {
        "forecast": forecast_table(findings),
        "models": models_table(findings),
        "modulus": modulus_table(findings),
        "parameters": parameters_table(findings),
        "increments": increments_table(findings.summary.increments),
        "recovery": recovery_table(findings),
        "readings": readings_table(findings),
        "hindcast": hindcast_table(findings),
    }
    left_out = NOT_BESIDE_A_SLIP if slip_of(findings.fit) is not None else ()
    return {key: table for key, table in tables.items() if table.rows and key not in left_out}


def forecast_table(findings: Findings) -> PageTable:
    """Forecast at the times asked for."""
    unit, fit = read_unit(findings.fit), findings.fit
    rows = [
        (
            show_time(row.time),
            *unit.interval(row.interval),
            _beyond(row.time, findings.test),
        )
        for row in findings.forecast.rows
    ]
    heads = ("after", "low", f"median [{unit.name}]", "high", "times the test")
    caption = f"{capital(fit.quantity)}, {percent(fit.level)} intervals of the mean curve"
    return PageTable(caption, heads, tuple(rows), note=not_a_forecast(findings.forecast.instead))


def models_table(findings: Findings) -> PageTable:
    """Each model of the mixture alone."""
    unit, rows = read_unit(findings.fit), findings.forecast.rows
    lines: dict[str, list[str]] = {}
    for row in rows:
        for model in row.models:
            low, median, high = unit.interval(model.interval)
            lines.setdefault(model.model, [weight_words(model.weight)]).append(f"{median} ({low} to {high})")
    heads = ("model", "weight", *(f"{show_time(row.time)} [{unit.name}]" for row in rows))
    return PageTable("Each model alone, with its weight in the forecast", heads, tuple((k, *v) for k, v in lines.items()))


def modulus_table(findings: Findings) -> PageTable:
    """Creep modulus at round times and those asked for, or why it is unknown."""
    known = {row.time: row for row in (*findings.summary.modulus.rows, *findings.forecast.modulus.rows)}
    rows = []
    why = ""
    for time in sorted(known):
        row = known[time]
        if row.modulus is not None:
            rows.append((show_time(time), *Unit("MPa").interval(row.modulus)))
        elif row.compliance is not None:
            why = row.why or ""
            unit = shown_unit(row.compliance_unit)
            rows.append((show_time(time), *unit.interval(row.compliance)))
    if why:
        return PageTable("Deformation per load", ("after", "low", "median [mm/N]", "high"), tuple(rows), note=why)
    heads = ("after", "low", "median [MPa]", "high")
    return PageTable(modulus_title(findings.fit.run, findings.fit.level), heads, tuple(rows))


def parameters_table(findings: Findings) -> PageTable:
    """Parameters of the best fits with their errors and what each means."""
    fit = findings.fit
    sized = fit.run.specimen.geometry.stress_per_load
    scale = abs(fit.run.peak_load) * (1.0 if sized is None else sized)
    at = f"at {show_number(scale)} {'N' if sized is None else 'MPa'}"
    compliance = shown_unit("mm/N" if sized is None else "1/MPa")
    rows = []
    for model_name, model in fit.models.items():
        known = findings.summary.weight(model_name)
        for i, p in enumerate(model.parameters):
            unit = shown_unit(p.unit) if p.unit != "1" else Unit("")
            per_load = ""
            if unit.name == compliance.name and p.value is not None:
                strain = Unit("%", 100.0) if unit.name == "1/GPa" else Unit("mm")
                error = None if p.std_error is None else scale * p.std_error
                per_load = f"{strain.number(scale * p.value, error)} {strain.name}"
            name = model_name if i == 0 else ""
            weight = "" if i else "–" if known is None else weight_words(known)
            value = f"{unit.with_error(p.value, p.std_error)} {unit.name}".strip()
            meaning = model.model.meanings.get(p.name, SET_MEANING if p.name == "set" else "")
            if p.why:
                meaning = f"{meaning} Its error is unknown: {p.why}." if p.value is not None else f"{p.why}."
            rows.append((name, weight, p.name, value, per_load, meaning.strip()))
    heads = ("model", "weight", "parameter", "value ± standard error", at, "meaning")
    return PageTable("Best fits of the models", heads, tuple(rows), words=(2, 5))


def increments_table(increments: Increments) -> PageTable:
    """Changes from reading to reading."""
    if not increments.rows:
        return PageTable("Creep from reading to reading", (), ())
    unit = shown_unit(increments.rows[0].unit)
    rows = [(show_time(r.start), show_time(r.end), unit.with_error(r.change, r.std_error), _seen(r)) for r in increments]
    heads = ("from", "to", f"change [{unit.name}]", "told from zero")
    return PageTable("Creep from reading to reading", heads, tuple(rows), words=(3,))


def _seen(row: Increment) -> str:
    if row.distinguishable is None:
        return row.why or "unknown"
    return "yes" if row.distinguishable else "no"


def recovery_table(findings: Findings) -> PageTable:
    """What is left after unloading."""
    answer, unit = findings.recovery, read_unit(findings.fit)
    rows = [
        (show_time(row.after), *unit.interval(row.left), back_cell(row.recovered, answer.tested))
        for row in answer.residuals
        if row.left is not None and row.recovered is not None
    ]
    heads = ("after unloading", "low", f"median [{unit.name}]", "high", "gone back [%]")
    asked = ", if it were unloaded at the last reading" if answer.hypothetical else ""
    note = " ".join(filter(None, (not_a_forecast(answer.instead), *beyond_start(answer), _stays(findings))))
    return PageTable(f"Left after unloading{asked}", heads, tuple(rows), note=note)


def _stays(findings: Findings) -> str:
    unit, remains = read_unit(findings.fit), findings.recovery.permanent_set
    if remains.bounds is None:
        return f"Permanent set: unknown; {remains.why}."
    return f"Permanent set: {stays_words(remains, remains.bounds, unit, findings.fit.level)}; {remains.why}."


def readings_table(findings: Findings) -> PageTable:
    """Readings as read, and what the model that leads the forecast leaves of them."""
    fit, unit = findings.fit, read_unit(findings.fit)
    loads = fit.run.history.at(np.array([r.time for r in fit.run.used]))
    warm = any(r.temperature is not None for r in fit.run.used)
    load = findings.forecast.load_unit
    rows = []
    for reading, on, rest in zip(fit.run.used, loads, findings.leading.residuals, strict=True):
        cells = [
            show_time(reading.time),
            show_number(float(on)),
            unit.number(reading.value, 10.0 * fit.run.gauge.resolution),  # its last digit is the gauge's
            unit.number(float(rest), fit.observed.noise.stated),
        ]
        if warm:
            cells.append("" if reading.temperature is None else show_number(reading.temperature))
        rows.append(tuple(cells))
    heads = ("time", f"load [{load}]", f"gauge [{unit.name}]", f"less {findings.leading.name} [{unit.name}]")
    note = "; ".join(left_out(fit.run))
    note = f"{capital(note)}." if note else ""
    return PageTable("Readings, and what is left of them", (*heads, "°C") if warm else heads, tuple(rows), note=note)


def hindcast_table(findings: Findings) -> PageTable:
    """How a forecast from the first part of the run did, failures included."""
    past, unit = findings.forecast.hindcast, read_unit(findings.fit)
    if not isinstance(past, Hindcast):
        return PageTable("Tried on this run itself", ("", ""), (("not tried", past.why),), words=(1,))
    miss = past.largest_miss
    rows = (
        ("fitted to readings up to", show_time(past.fitted_to)),
        ("readings forecast", str(past.readings)),
        (f"inside their {percent(past.level)} intervals", f"{past.inside} ({show_number(past.expected)} expected)"),
        ("largest miss", f"{unit.number(abs(miss.value))} {unit.name} {'above' if miss.value > 0 else 'below'}, "
         f"at {show_time(miss.time)}, {'outside' if miss.outside else 'inside'} its interval"),
    )  # fmt: skip
    known = findings.forecast.with_known
    also = () if known is None else (("with the known runs", known.hindcast.text),)
    return PageTable("Tried on this run itself", ("hindcast", "result"), (*rows, *also), words=(1,))


def _beyond(time: float, test: float) -> str:
    return show_number(time / test, digits=2) if time > test else "within"


def curve_csv(findings: Findings) -> str:
    """The forecast over log time with each model's median, as CSV in the unit shown."""
    unit, curve = read_unit(findings.fit), findings.curve
    lines = findings.model_lines
    heads = ["time_h", *(f"{end}_{unit.name}" for end in ("low", "median", "high"))]
    heads += [f"{name}_{unit.name}" for name, _, _ in lines]
    columns = [curve.times / HOUR, *(unit.factor * e for e in (curve.low, curve.median, curve.high))]
    columns += [unit.factor * heights for _, _, heights in lines]
    if findings.modulus is not None:
        heads += ["modulus_low_MPa", "modulus_median_MPa", "modulus_high_MPa"]
        columns += [findings.modulus.low, findings.modulus.median, findings.modulus.high]
    return as_csv(heads, ([f"{v:.6g}" for v in row] for row in zip(*columns, strict=True)))


def readings_csv(findings: Findings) -> str:
    """Readings with load and residual as CSV."""
    unit, fit = read_unit(findings.fit), findings.fit
    loads = fit.run.history.at(np.array([r.time for r in fit.run.used]))
    heads = ["time_h", f"load_{findings.forecast.load_unit}", f"reading_{unit.name}", f"residual_{unit.name}"]
    heads.append("temperature_degC")
    rows = (
        [
            f"{r.time / HOUR:.8g}", f"{load:.6g}", f"{unit.factor * r.value:.8g}", f"{unit.factor * rest:.4g}",
            "" if r.temperature is None else f"{r.temperature:g}",
        ]
        for r, load, rest in zip(fit.run.used, loads, findings.leading.residuals, strict=True)
    )  # fmt: skip
    return as_csv(heads, rows)


def table_csv(table: PageTable) -> str:
    """A table as CSV, as it is shown."""
    return as_csv(table.heads, table.rows)


def as_csv(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """CSV that no spreadsheet takes for formulas: a text that begins like one gets an apostrophe."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    for cells in (heads, *rows):
        writer.writerow([csv_cell(c) for c in cells])
    return out.getvalue()
