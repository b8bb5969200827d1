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
from creepfit.report.findings import Findings
from creepfit.report.saving import picture_files, slug
from creepfit.report.side_by_side import Side, compared, comparison_figure, comparison_table, side_of
from creepfit.report.style import Drawing
from creepfit.report.tables import Table, curve_csv, readings_csv, run_tables, table_csv
from creepfit.report.text_fit import circumstances
from creepfit.report.text_parts import Unit, percent
from creepfit.report.together import Chapter
from creepfit.report.words import answer, foremost, key_numbers, part_answer, part_keys, part_tables
from creepfit.units import show_time

if TYPE_CHECKING:
    from jinja2 import Environment

OTHER_LOADS = (0.25, 0.5, 0.75, 1.0)
"""Shares of the highest load, for the table that stands in for the sliders."""


@dataclass(frozen=True)
class Download:
    """A file the page holds: its name, and its content as a data URI."""

    name: str
    words: str
    uri: str


@dataclass(frozen=True)
class Section:
    """What a page says of one run, ready to be set; `pictures` are (file name, content), if they were asked for.

    It holds nothing but text and numbers, so that runs can be worked out in processes of their own.
    """

    label: str
    part: str | None
    side: Side
    content: dict[str, Any]
    reproduce: list[tuple[str, str]]
    pictures: tuple[tuple[str, bytes], ...]


def section(found: Findings, sag: Sag | None, number: int, brief: bool = False, pictures: bool = False) -> Section:
    """Work out what a page says of a run.

    Parameters
    ----------
    found : Findings
    sag : Sag or None
        Sag of the part by this run.
    number : int
        Of the run in the page, from 1 on.
    brief : bool
        Readings with forecast and the main tables only, for a page of many runs.
    pictures : bool
        Whether the figures are wanted as files too.
    """
    key = f"run{number}"
    tables = run_tables(found)
    drawn = figures.with_run(found, brief)
    part_drawn = [] if sag is None or brief else figures.with_part(sag)
    content = {
        "key": key,
        "label": found.label,
        "brief": brief,
        "circumstances": _circumstances(found),
        "note": found.fit.run.note or "",
        "answer": answer(found),
        "caution": foremost(found.cautions),
        "cautions": _once([*(() if sag is None else sag.cautions), *found.cautions]),
        "keys": key_numbers(found),
        "figures": [_figure(d, key) for d in drawn],
        "sliders": None if brief else _sliders(run_sliders(found), key),
        "part": None if sag is None else _part(sag, f"{key}-part", part_drawn, brief),
        "tables": tables,
        "assumptions": assumptions(found),
        "source": run_file(found.fit.run),
        "downloads": _downloads(found, tables, brief),
    }
    files = picture_files(f"{number:02d}-{slug(found.label)}", [*drawn, *part_drawn]) if pictures else ()
    name = None if sag is None else sag.part.name or "Part"
    return Section(found.label, name, side_of(found), content, how_to_reproduce(found.fit), files)


def page(sections: Sequence[Section], command: str = "", chapters: Sequence[Chapter] = ()) -> str:
    """The report as HTML.

    Parameters
    ----------
    sections : sequence of Section
        One for each run.
    command : str
        How the report was asked for, to be printed in it.
    chapters : sequence of Chapter
        What runs say together; before the runs where there are several, else after the one.
    """
    asked = [("command", command)] if command else []
    return _environment().get_template("report.html").render(
        title=_title(sections),
        runs=[s.content for s in sections],
        together=_together(sections),
        chapters=[_chapter(c) for c in chapters],
        css=_asset("report.css"),
        js=_asset("report.js"),
        version=program_version(),
        reproduce=[*sections[0].reproduce, *asked],
    )


def pictures_of(sections: Sequence[Section], chapters: Sequence[Chapter] = ()) -> list[tuple[str, bytes]]:
    """All figures as files (name, content): those of runs side by side first."""
    found = compared([s.side for s in sections])
    beside = list(() if found is None else picture_files("all", [comparison_figure(found)]))
    for chapter in chapters:
        beside += picture_files(f"all-{chapter.key}", chapter.drawn)
    return [*beside, *(picture for s in sections for picture in s.pictures)]


def _title(sections: Sequence[Section]) -> str:
    if len(sections) > 1:
        return f"{len(sections)} runs side by side"
    only = sections[0]
    return only.label if only.part is None else f"{only.part}, by {only.label}"


def _part(sag: Sag, key: str, drawn: Sequence[Drawing], brief: bool) -> dict[str, Any]:
    return {
        "key": key,
        "label": sag.part.name or "Part",
        "answer": part_answer(sag),
        "caution": foremost(sag.cautions),
        "keys": part_keys(sag),
        "figures": [_figure(d, key) for d in drawn],
        "sliders": None if brief else _sliders(part_sliders(sag), key),
        "tables": part_tables(sag),
    }


def _chapter(found: Chapter) -> dict[str, Any]:
    first = foremost(found.cautions)
    files = [
        Download(f"{found.key}-{name}.csv", table.caption.lower(), _uri(table_csv(table)))
        for name, table in found.tables.items()
    ]
    return {
        "key": found.key,
        "title": found.title,
        "answer": found.answer,
        "figures": [_figure(d, found.key) for d in found.drawn],
        "tables": found.tables,
        "caution": first,
        "cautions": [c for c in found.cautions if c is not first],
        "downloads": files,
    }


def _once(cautions: Sequence[Caution]) -> list[Caution]:
    """Each doubt once: those about a part come with those about its run."""
    return list({c.code: c for c in reversed(cautions)}.values())[::-1]


def _circumstances(found: Findings) -> str:
    """What was tested and read, as sentences of one paragraph."""
    text = " ".join(circumstances(found.fit))
    return re.sub(r" (\d+ readings?: )", r". \1", text, count=1) + "."


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


def _together(sections: Sequence[Section]) -> dict[str, Any] | None:
    found = compared([s.side for s in sections])
    if found is None:
        return None
    table, drawn = comparison_table(found), comparison_figure(found)
    return {
        "answer": drawn.alt,
        "figures": [_figure(drawn, "all")],
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
    readings = Download(f"{stem}-readings.csv", "readings", _uri(readings_csv(found)))
    if brief:  # on a page of forty runs the longer files would weigh more than all else
        return [readings]
    return [
        Download(f"{stem}-forecast.csv", "forecast over time", _uri(curve_csv(found))),
        readings,
        Download(f"{stem}-parameters.csv", "parameters", _uri(table_csv(tables["parameters"]))),
    ]


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
