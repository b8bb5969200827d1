"""One self-contained page: findings in, HTML out. No network, no server, complete without scripts."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any

from creepfit.answers.doubts.catalogue.entry import foremost, unsaid
from creepfit.answers.doubts.withheld import of_modulus, withheld_by_stress
from creepfit.answers.heading import program_version
from creepfit.answers.interval import Caution, Interval
from creepfit.answers.part.relaxation import Relaxation
from creepfit.answers.part.sag import Sag
from creepfit.answers.specimen.to_take import to_take
from creepfit.records.outputs import slug
from creepfit.report.page.assumed import assumptions, how_to_reproduce, run_file
from creepfit.report.page.chapter import Chapter
from creepfit.report.page.embed import Sliders, part_sliders, run_sliders
from creepfit.report.page.findings import Findings
from creepfit.report.page.held import held_keys, held_tables
from creepfit.report.page.limits import limit_table
from creepfit.report.page.of_part import part_answer, part_keys, part_tables
from creepfit.report.page.run_figures import Content, DrawRun, RunFigures
from creepfit.report.page.tables import PageTable, curve_csv, readings_csv, run_tables, table_csv
from creepfit.report.page.together import PartSide
from creepfit.report.page.words import all_doubts, answer, key_numbers
from creepfit.report.text.fit import circumstances
from creepfit.report.text.pieces import PROMISED, Unit, percent, unbroken
from creepfit.report.text.relaxation import headline as held_headline
from creepfit.units import show_time

if TYPE_CHECKING:
    from jinja2 import Environment

OTHER_LOADS = (0.25, 0.5, 0.75, 1.0)
"""Shares of the load as it is, for the table that stands in for the sliders; the highest one comes with them."""

MOST_TO_DO = 4
"""Readings to take that are listed."""


@dataclass(frozen=True)
class Download:
    """A file the page holds: its name, and its content as a data URI."""

    name: str
    words: str
    uri: str


@dataclass(frozen=True)
class RunPage:
    """What a page says of one run, ready to be set; `pictures` are (file name, content), if they were asked for.

    `doubts` are all there are, `leading` those about its first answer. It holds nothing but text and numbers, so that
    runs can be worked out in processes of their own.
    """

    label: str
    part: PartSide | None
    content: dict[str, Any]
    leading: tuple[Caution, ...]
    doubts: tuple[Caution, ...]
    reproduce: list[tuple[str, str]]
    pictures: tuple[tuple[str, bytes], ...]


def section(
    findings: Findings,
    sag: Sag | None,
    number: int,
    brief: bool = False,
    pictures: bool = False,
    held: Relaxation | None = None,
    draw: DrawRun | None = None,
) -> RunPage:
    """Work out what a page says of a run.

    Parameters
    ----------
    findings : Findings
    sag : Sag or None
        Sag of the part by this run.
    number : int
        Of the run in the page, from 1 on.
    brief : bool
        Readings with forecast and the main tables only, for a page of many runs.
    pictures : bool
        Whether the figures are wanted as files too.
    held : Relaxation or None
        Force of a part that is held bent, by this run.
    draw : callable or None
        Who is told first what to draw, so that it can be done meanwhile; by default figures are drawn here.
    """
    key = f"run{number}"
    to_do = None if brief else _to_do(findings)  # before figures are begun, which show the same schedule
    drawn = (_draw_here if draw is None else draw)(findings, sag, held, number, brief, pictures)
    tables = run_tables(findings)
    content = {
        "key": key,
        "label": findings.label,
        "brief": brief,
        "circumstances": _circumstances(findings),
        "note": findings.fit.run.note or "",
        "answer": answer(findings),
        "keys": key_numbers(findings, brief),
        "limit": limit_table(findings),
        "sliders": None
        if brief or findings.along.unpromised or of_modulus(findings.fit)
        else slider_content(run_sliders(findings), key),
        "tables": tables,
        "assumptions": assumptions(findings),
        "source": run_file(findings.fit.run),
        "downloads": _downloads(findings, tables, brief),
    }
    figures = drawn()
    content |= {
        "figures": figures.run,
        "next": None if to_do is None else {"figure": figures.timeline[0], **to_do},
        "part": None if sag is None else part_content(sag, f"{key}-part", figures.part, brief),
        "held": None if held is None else _held(held, f"{key}-held", figures.held),
    }
    of_part = (*(() if sag is None else sag.cautions), *(() if held is None else held.cautions))
    return RunPage(
        findings.label, None if sag is None else _side(findings, sag), content, of_part or findings.cautions,
        all_doubts(of_part, findings.cautions), how_to_reproduce(findings.fit), figures.files,
    )  # fmt: skip


def _draw_here(*what: Any) -> Callable[[], RunFigures]:
    from creepfit.report.page.drawn import run_figures

    return partial(run_figures, *what)


def page(sections: Sequence[RunPage], command: str = "", chapters: Sequence[Chapter] = ()) -> str:
    """The report as HTML.

    Parameters
    ----------
    sections : sequence of RunPage
        One for each run.
    command : str
        How the report was asked for, to be printed in it.
    chapters : sequence of Chapter
        What runs say together; before the runs where there are several, else after the one.
    """
    asked = [("command", command)] if command else []
    shared = _shared(sections)
    return (
        environment()
        .get_template("report.html")
        .render(
            title=_title(sections),
            runs=[{**s.content, **_doubts(s, shared)} for s in sections],
            shared=shared,
            chapters=[chapter_content(c) for c in chapters],
            css=asset("report.css"),
            js=asset("report.js"),
            css_source=_source("report.css"),
            js_source=_source("report.js"),
            version=program_version(),
            reproduce=[*sections[0].reproduce, *asked],
        )
    )


def pictures_of(sections: Sequence[RunPage], chapters: Sequence[Chapter] = ()) -> list[tuple[str, bytes]]:
    """All figures as files (name, content): those of several runs first."""
    from creepfit.report.figures.saving import picture_files

    beside = [picture for c in chapters for picture in picture_files(f"all-{c.key}", c.drawn)]
    return [*beside, *(picture for s in sections for picture in s.pictures)]


def _shared(sections: Sequence[RunPage]) -> list[Caution]:
    """Doubts that hold for every one of several runs, in the same words: a page says them once."""
    if len(sections) < 2:
        return []
    return [c for c in sections[0].doubts if all(c in s.doubts for s in sections[1:])]


def _doubts(page: RunPage, shared: Sequence[Caution]) -> dict[str, Any]:
    """The doubt that stands beside a run's answer, and the others that are not said for all runs already."""
    first = foremost([c for c in page.leading if c not in shared])
    return {"caution": first, "cautions": [c for c in page.doubts if c is not first and c not in shared]}


def _title(sections: Sequence[RunPage]) -> str:
    if len(sections) > 1:
        return f"{len(sections)} runs side by side"
    only = sections[0]
    return only.label if only.part is None else f"{only.part.part}, by {only.label}"


def _to_do(findings: Findings) -> dict[str, Any]:
    """What to read next in words, to stand beside the test as a line of time."""
    schedule = findings.schedule
    other = [s.text for s in schedule.suggestions if s.place == "next specimen"]
    todo = [t.text for t in to_take(schedule)]
    return {"todo": [*todo, *other][:MOST_TO_DO], "why": None if todo or other else schedule.why}


def _side(findings: Findings, sag: Sag) -> PartSide:
    """The sag of the part at the last time, at its peak where loads come and go."""
    row = max(sag.rows, key=lambda row: row.time)
    size = row.interval if row.peak is None else row.peak.interval
    limit = None if sag.design is None else sag.design.limit
    doubt = foremost(sag.cautions)
    why = None if sag.unpromised is None else sag.unpromised.short
    return PartSide(
        findings.label, sag.part.name or "the part", row.time, size, findings.test, limit, sag.level, doubt, why
    )


def part_content(sag: Sag, key: str, figures: Sequence[Content], brief: bool) -> dict[str, Any]:
    return {
        "key": key,
        "label": sag.part.name or "Part",
        "answer": part_answer(sag),
        "keys": part_keys(sag),
        "figures": figures,
        "sliders": None
        if brief or withheld_by_stress(sag.fit, sag.fit.horizon)
        else slider_content(part_sliders(sag), key),
        "tables": part_tables(sag),
    }


def _held(held: Relaxation, key: str, figures: Sequence[Content]) -> dict[str, Any]:
    return {
        "key": key,
        "label": f"{held.part.name or 'Part'}, held bent",
        "answer": held_headline(held),
        "keys": held_keys(held),
        "figures": figures,
        "sliders": None,
        "tables": held_tables(held),
    }


def chapter_content(chapter: Chapter) -> dict[str, Any]:
    from creepfit.report.page.drawn import figure_contents

    first = foremost(chapter.cautions)
    files = [
        Download(f"{chapter.key}-{name}.csv", table.caption.lower(), _uri(table_csv(table)))
        for name, table in chapter.tables.items()
    ]
    return {
        "key": chapter.key,
        "aside": chapter.key.startswith("stress"),
        "title": chapter.title,
        "answer": chapter.answer,
        "figures": figure_contents(chapter.drawn, chapter.key),
        "tables": chapter.tables,
        "caution": first,
        "cautions": [c for c in chapter.cautions if c is not first],
        "downloads": files,
    }


def _circumstances(findings: Findings) -> str:
    """What was tested and read, as sentences of one paragraph."""
    text = " ".join(circumstances(findings.fit))
    return re.sub(r" (\d+ readings?: )", r". \1", text, count=1) + "."


def slider_content(sliders: Sliders, key: str) -> dict[str, Any]:
    return {
        "key": key,
        "name": sliders.name,
        "data": sliders.data(),
        "load_words": sliders.load_words,
        "quantity": sliders.quantity,
        "unit": sliders.unit,
        "kept": f"limit kept with probability {0.5 + sliders.level / 2.0:g}, {PROMISED}",
        "other": _other_loads(sliders),
    }


def _other_loads(sliders: Sliders) -> PageTable:
    """The answer at other loads and at the time asked for, for a page on paper or without scripts."""
    unit = Unit(sliders.unit)
    rows = []
    loads = sorted({*(share * sliders.load for share in OTHER_LOADS), sliders.most})
    for load in (load for load in loads if 0.0 < load <= sliders.most):
        interval = unit.interval(Interval(*sliders.ends(sliders.asked, load)))
        rows.append((sliders.typed.show(sliders.sign * load), *interval))
    heads = ("load", "low", f"median [{sliders.unit}]", "high")
    when = show_time(sliders.asked)
    caption = f"{sliders.quantity.capitalize()} after {when} at other loads, {percent(sliders.level)} intervals"
    return PageTable(caption, heads, tuple(rows))


def _downloads(findings: Findings, tables: dict[str, PageTable], brief: bool) -> list[Download]:
    stem = slug(findings.label)
    readings = Download(f"{stem}-readings.csv", "readings", _uri(readings_csv(findings)))
    if brief:  # on a page of forty runs the longer files would weigh more than all else
        return [readings]
    return [
        Download(f"{stem}-forecast.csv", "forecast over time", _uri(curve_csv(findings))),
        readings,
        Download(f"{stem}-parameters.csv", "parameters", _uri(table_csv(tables["parameters"]))),
    ]


def _uri(text: str) -> str:
    # a byte order mark, without which some spreadsheets garble every letter beyond ASCII
    return "data:text/csv;base64," + base64.b64encode(b"\xef\xbb\xbf" + text.encode("utf-8")).decode("ascii")


@lru_cache(maxsize=1)
def environment() -> Environment:
    """Templates of the package, with what they need."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    jinja = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    jinja.filters["unbroken"] = unbroken
    jinja.filters["unsaid"] = unsaid
    jinja.filters["settled"] = attrgetter("settled_by")
    return jinja


def asset(name: str) -> Any:
    """A style sheet or script of the package, which stands in the page as it is."""
    from markupsafe import Markup

    return Markup((Path(__file__).parent / name).read_text(encoding="utf-8").strip())


def _source(name: str) -> Any:
    """A style sheet or script as the security policy names it: by its hash, so that nothing else runs in the page."""
    from markupsafe import Markup

    digest = hashlib.sha256(str(asset(name)).encode("utf-8")).digest()
    return Markup(f"'sha256-{base64.b64encode(digest).decode('ascii')}'")
