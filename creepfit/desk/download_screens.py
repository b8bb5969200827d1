"""What can be taken along: every figure, every table, the page by itself, the files of a run."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from flask import Blueprint, Response, render_template, request

from creepfit.desk.answer_screens import FITS, asked_of, run_and_state
from creepfit.desk.answers import AnswerOptions, picture, whole
from creepfit.desk.desk import desk
from creepfit.desk.folder import token
from creepfit.desk.together_screens import shelf_of, shelf_rows
from creepfit.errors import FitError, InputError
from creepfit.inference.fitting import Fit
from creepfit.records.outputs import slug
from creepfit.records.part import Part
from creepfit.report.page.html import RunPage, page
from creepfit.report.page.tables import table_csv
from creepfit.report.shelf_table import table_bytes

screens = Blueprint("downloads", __name__)
LONGEST_WAIT = 90.0
MARK = "\ufeff"
"""Without it some spreadsheets garble every letter beyond ASCII."""

TYPES = {
    ".svg": "image/svg+xml", ".png": "image/png", ".csv": "text/csv; charset=utf-8", ".html": "text/html; charset=utf-8",
    ".toml": "application/toml", ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}  # fmt: skip


@screens.get("/more")
def more() -> str:
    """All figures and tables of a run, each with its download."""
    name, part = request.args.get("run", ""), request.args.get("part", "")
    page_of_run = _section(name, part)
    return render_template("more.html", run=name, part=part, content=page_of_run.content, asked=asked_of())


@screens.get("/figure")
def figure() -> Response:
    """One figure as SVG or PNG."""
    name, which, kind = request.args.get("run", ""), request.args.get("name", ""), f".{request.args.get('kind', 'svg')}"
    part = request.args.get("part", "")
    return _attachment(*_worked_out(f"figure {which}{kind} of", name, part, partial(picture, name=which, kind=kind)))


@screens.get("/table")
def table() -> Response:
    """One table as CSV."""
    name, which = request.args.get("run", ""), request.args.get("name", "")
    content = _section(name, request.args.get("part", "")).content
    tables = {**content["tables"], **({} if content["part"] is None else content["part"]["tables"])}
    if which not in tables:
        raise InputError("there is no such table", found=which)
    return _attachment(f"{slug(content['label'])}-{which}.csv", (MARK + table_csv(tables[which])).encode("utf-8"))


@screens.get("/standalone")
def standalone() -> Response:
    """The page by itself, to be sent on."""
    name, part = request.args.get("run", ""), request.args.get("part", "")
    page_of_run = _section(name, part)
    return _attachment(f"{slug(page_of_run.label)}.html", page([page_of_run]).encode("utf-8"))


@screens.get("/shelf-table")
def shelf_table() -> Response:
    """The shelf as CSV or XLSX, as far as it is worked out."""
    suffix = ".xlsx" if request.args.get("kind") == "xlsx" else ".csv"
    rows, _, failed = shelf_rows()
    return _attachment(f"shelf{suffix}", table_bytes(shelf_of(rows, failed), suffix))


@screens.get("/download")
def download() -> Response:
    """A file of the folder as it is."""
    name = request.args.get("name", "")
    content = desk().folder.read(name)
    if content is None:
        raise InputError("there is no such file", file=name)
    return _attachment(name, content)


def _section(name: str, part_name: str) -> RunPage:
    """All that a page says of a run."""
    section: RunPage = _worked_out("whole", name, part_name, whole)
    return section


def _worked_out(what: str, name: str, part_name: str, work: Callable[[Fit, AnswerOptions, Part | None], Any]) -> Any:
    """What is asked of a run, and a part by it, worked out beside and kept."""
    asked, folder = asked_of(), desk().folder
    run, files = run_and_state(name)
    part = desk().part(part_name) if part_name else None
    state = token(files, str(asked), "" if part is None else folder.run_state(part_name))
    about = f"{what} {name} {part_name}"
    outcome = desk().worker.ask(about, state, lambda: work(FITS.of(run, files), asked, part), LONGEST_WAIT)
    if outcome is not None and outcome.state == state and outcome.error is not None:
        raise outcome.error
    if outcome is None or outcome.state != state:
        raise FitError("this is not worked out yet: load the page again")
    return outcome.answer


def _attachment(name: str, content: bytes) -> Response:
    suffix = Path(name).suffix.casefold()
    response = Response(content, mimetype=TYPES.get(suffix, "application/octet-stream").partition(";")[0])
    response.headers.set("Content-Disposition", "attachment", filename=name)
    return response
