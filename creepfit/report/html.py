"""One self-contained page: findings in, HTML out. No network, no server, complete without scripts."""

from __future__ import annotations

import base64
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from creepfit.answers.heading import program_version
from creepfit.answers.interval import Caution
from creepfit.answers.sag import Sag
from creepfit.report import figures
from creepfit.report.assumed import assumptions, how_to_reproduce, run_file
from creepfit.report.embed import Sliders, part_sliders, run_sliders
from creepfit.report.figures_answers import comparison_rows
from creepfit.report.findings import FULL, Findings
from creepfit.report.saving import slug
from creepfit.report.style import Drawing
from creepfit.report.tables import Table, curve_csv, readings_csv, run_tables, table_csv
from creepfit.report.text_fit import circumstances
from creepfit.report.text_parts import Unit, percent
from creepfit.report.words import answer, foremost, key_numbers, part_answer, part_keys, part_tables
from creepfit.units import show_time

if TYPE_CHECKING:
    from jinja2 import Environment

OTHER_LOADS = (0.25, 0.5, 0.75, 1.0)
"""Shares of the highest load, for the table that stands in for the sliders."""


@dataclass(frozen=True, eq=False)
class Download:
    """A file the page holds: its name, and its content as a data URI."""

    name: str
    words: str
    uri: str


def page(found: Sequence[Findings], sags: Sequence[Sag | None] = (), command: str = "") -> str:
    """The report as HTML.

    Parameters
    ----------
    found : sequence of Findings
        One for each run.
    sags : sequence of Sag or None
        Sag of the part by each run, in the same order; none where there is no part.
    command : str
        How the report was asked for, to be printed in it.
    """
    env = _environment()
    brief = len(found) > FULL
    beside = list(sags) + [None] * (len(found) - len(sags))
    runs = [_run(f, s, f"run{i + 1}", brief) for i, (f, s) in enumerate(zip(found, beside, strict=True))]
    labels = [f.label for f in found]
    return env.get_template("report.html").render(
        title=_title(labels, beside),
        runs=runs,
        brief=brief,
        together=_together(found),
        css=_asset("report.css"),
        js=_asset("report.js"),
        version=program_version(),
        reproduce=how_to_reproduce(found[0].fit, command),
    )


def _title(labels: Sequence[str], sags: Sequence[Sag | None]) -> str:
    if len(labels) > 1:
        return f"{len(labels)} runs side by side"
    return labels[0] if sags[0] is None else f"{sags[0].part.name or 'Part'}, by {labels[0]}"


def _run(found: Findings, sag: Sag | None, key: str, brief: bool) -> dict[str, Any]:
    tables = run_tables(found)
    drawn = figures.with_run(found, brief)
    sliders = None if brief else run_sliders(found)
    part = None if sag is None else _part(sag, f"{key}-part", brief)
    return {
        "key": key,
        "label": found.label,
        "circumstances": _circumstances(found),
        "note": found.fit.run.note or "",
        "answer": answer(found),
        "caution": foremost(found.cautions),
        "cautions": _once([*(() if sag is None else sag.cautions), *found.cautions]),
        "keys": key_numbers(found),
        "figures": [_figure(d, key) for d in drawn],
        "sliders": None if sliders is None else _sliders(sliders, key),
        "part": part,
        "tables": tables,
        "assumptions": assumptions(found),
        "source": run_file(found.fit.run),
        "downloads": _downloads(found, tables, brief),
    }


def _once(cautions: Sequence[Caution]) -> list[Caution]:
    """Each doubt once: those about a part come with those about its run."""
    return list({c.code: c for c in reversed(cautions)}.values())[::-1]


def _circumstances(found: Findings) -> str:
    """What was tested and read, as sentences of one paragraph."""
    text = " ".join(circumstances(found.fit))
    return re.sub(r" (\d+ readings?: )", r". \1", text, count=1) + "."


def _part(sag: Sag, key: str, brief: bool) -> dict[str, Any]:
    sliders = None if brief else part_sliders(sag)
    return {
        "key": key,
        "label": sag.part.name or "Part",
        "answer": part_answer(sag),
        "caution": foremost(sag.cautions),
        "keys": part_keys(sag),
        "figures": [] if brief else [_figure(d, key) for d in figures.with_part(sag)],
        "sliders": None if sliders is None else _sliders(sliders, key),
        "tables": part_tables(sag),
    }


def _sliders(sliders: Sliders, key: str) -> dict[str, Any]:
    return {
        "key": key,
        "name": sliders.name,
        "data": sliders.data(),
        "load_words": sliders.load_words,
        "quantity": sliders.quantity,
        "unit": sliders.unit,
        "other": _other_loads(sliders),
    }


def _other_loads(sliders: Sliders) -> Table:
    """The answer at other loads and at the time asked for, for a page on paper or without scripts."""
    unit = Unit(sliders.unit)
    rows = []
    for share in OTHER_LOADS:
        load = share * sliders.most
        low, median, high = sliders.ends(sliders.asked, load)
        interval = unit.interval({"low": low, "median": median, "high": high})
        rows.append((f"{load:.3g} {sliders.load_unit}", *interval))
    heads = ("load", "low", f"median [{sliders.unit}]", "high")
    when = show_time(sliders.asked)
    caption = f"{sliders.quantity.capitalize()} after {when} at other loads, {percent(sliders.level)} intervals"
    return Table(caption, heads, tuple(rows))


def _together(found: Sequence[Findings]) -> dict[str, Any] | None:
    drawn = figures.together(found)
    rows, name, unit, time = comparison_rows(found)
    if not drawn:
        return None
    cells = [(label, *unit.interval(size.to_dict()), "yes" if far else "no") for label, size, far in rows]
    heads = ("run", "low", f"median [{unit.name}]", "high", "beyond ten times its test")
    table = Table(f"{name.capitalize()} after {show_time(time)}", heads, tuple(cells))
    return {
        "figures": [_figure(d, "all") for d in drawn],
        "table": table,
        "download": Download("side-by-side.csv", "these numbers", _uri(table_csv(table))),
    }


def _figure(drawing: Drawing, key: str) -> dict[str, Any]:
    from markupsafe import Markup, escape

    prefix = f"{key}-{drawing.name}"
    return {
        "id": prefix,
        "name": drawing.name,
        "title": drawing.title,
        "alt": drawing.alt,
        "svg": Markup(figures.inline(drawing, prefix, str(escape(drawing.alt)))),
    }


def _downloads(found: Findings, tables: dict[str, Table], brief: bool) -> list[Download]:
    stem = slug(found.label)
    out = [
        Download(f"{stem}-forecast.csv", "forecast over time", _uri(curve_csv(found))),
        Download(f"{stem}-readings.csv", "readings", _uri(readings_csv(found))),
    ]
    if not brief:
        out.append(Download(f"{stem}-parameters.csv", "parameters", _uri(table_csv(tables["parameters"]))))
    return out


def _uri(text: str) -> str:
    # a byte order mark, without which some spreadsheets garble every letter beyond ASCII
    return "data:text/csv;base64," + base64.b64encode(b"\xef\xbb\xbf" + text.encode("utf-8")).decode("ascii")


@lru_cache(maxsize=1)
def _environment() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    return Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _asset(name: str) -> Any:
    """A style sheet or script of the package, which stands in the page as it is."""
    from markupsafe import Markup

    return Markup((Path(__file__).parent / name).read_text(encoding="utf-8").strip())
