"""Several runs side by side, and the shelf: one row for each run of the folder."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, make_response, render_template, request
from markupsafe import Markup

from creepfit.answers.materials.shelf import Shelf
from creepfit.answers.materials.shelf_row import ShelfRow, row_of
from creepfit.desk.answer_screens import FITS, run_and_state, run_of
from creepfit.desk.answers import together
from creepfit.desk.desk import desk
from creepfit.desk.folder import token
from creepfit.desk.worker import Outcome
from creepfit.errors import InputError
from creepfit.inference.fitting import DEFAULT_LEVEL, fit
from creepfit.report.figures.saving import picture_files
from creepfit.report.page.html import chapter_content
from creepfit.report.shelf_table import shown_rows

screens = Blueprint("together", __name__)
MOST_BESIDE = 12
LONGEST_WAIT = 60.0


@screens.get("/beside")
def beside() -> str:
    """Choose runs and see what they say together."""
    names = list(dict.fromkeys(request.args.getlist("run")))[:MOST_BESIDE]
    cards = [c for c in desk().cards.all() if c.state not in ("begun", "unreadable")]
    fragment, state = _beside(names, 0.4) if len(names) > 1 else ("", "")
    return render_template("beside.html", cards=cards, names=names, at=_at(), fragment=Markup(fragment), state=state)


@screens.get("/beside/part")
def part_of_beside() -> Response:
    """The answer alone."""
    names = list(dict.fromkeys(request.args.getlist("run")))[:MOST_BESIDE]
    fragment, state = _beside(names, 1.5)
    response = make_response("" if state and state == request.args.get("have") else fragment)
    response.headers["X-State"], response.headers["X-Current"] = state, "1" if state else "0"
    return response


@screens.get("/beside/figure")
def figure() -> Response:
    """One figure of several runs as SVG or PNG."""
    names, which = list(dict.fromkeys(request.args.getlist("run")))[:MOST_BESIDE], request.args.get("file", "")
    _, state = _beside(names, LONGEST_WAIT)
    outcome = desk().worker.ask(_about(names), state, list)
    for chapter in [] if outcome is None or outcome.answer is None else outcome.answer:
        if which in chapter["files"]:
            response = Response(
                chapter["files"][which], mimetype="image/png" if which.endswith(".png") else "image/svg+xml"
            )
            response.headers.set("Content-Disposition", "attachment", filename=which)
            return response
    raise InputError("there is no such figure", found=which)


def _about(names: list[str]) -> str:
    return "beside " + "\0".join(names)


def _at() -> str:
    return request.args.get("at", "").strip()


def _beside(names: list[str], wait: float) -> tuple[str, str]:
    """What several runs say, and its state; "" while it is not of the files as they are."""
    runs = [run_and_state(name) for name in names]
    at = _at()
    state = token(*names, *(s for _, s in runs), at)

    def work() -> list[dict[str, Any]]:
        chapters = together([FITS.of(run, files) for run, files in runs], at)
        pictures = [[d.name for d in c.drawn] for c in chapters]
        files = [dict(picture_files(c.key, c.drawn)) for c in chapters]
        return [{**chapter_content(c), "names": n, "files": f} for c, n, f in zip(chapters, pictures, files, strict=True)]

    outcome = desk().worker.ask(_about(names), state, work, wait)
    current = outcome is not None and outcome.state == state
    error = "" if outcome is None or outcome.error is None else desk().said(outcome.error)
    chapters = [] if outcome is None or outcome.answer is None else outcome.answer
    return render_template(
        "beside_part.html", chapters=chapters, error=error, current=current, runs=names, at=at
    ), state if current else ""


@screens.get("/shelf")
def shelf() -> str:
    """One row a run; rows appear as they are worked out."""
    rows, waiting, failed = shelf_rows()
    return render_template("shelf.html", table=_table(rows, waiting, failed), waiting=waiting)


@screens.get("/shelf/part")
def part_of_shelf() -> Response:
    """The table as far as it is worked out."""
    rows, waiting, failed = shelf_rows()
    response = make_response(_table(rows, waiting, failed))
    response.headers["X-State"], response.headers["X-Current"] = (
        token(str(len(rows)), str(waiting)),
        "0" if waiting else "1",
    )
    return response


def shelf_rows() -> tuple[list[ShelfRow], int, list[str]]:
    """Rows that are worked out, how many are not yet, and what is wrong with runs that have none."""
    rows: list[ShelfRow] = []
    failed: list[str] = []
    waiting = 0
    for card in sorted(desk().cards.all(), key=lambda c: c.name.casefold()):
        if card.state == "unreadable":
            failed.append(card.problem)
            continue
        if card.state == "begun":
            failed.append(f"{card.name}: too few readings yet")
            continue
        row = _row(card.name)
        if row is None:
            waiting += 1
        elif row.error is not None:
            failed.append(f"{card.name}: {desk().said(row.error)}")
        else:
            rows.append(row.answer)
    return rows, waiting, failed


def _row(name: str) -> Outcome | None:
    folder = desk().folder
    try:
        state = folder.run_state(name)
    except InputError as error:
        return Outcome("", error=error)
    outcome = desk().worker.ask(f"row {name}", state, lambda: row_of(fit(run_of(name, folder)), name), urgent=False)
    return outcome if outcome is not None and outcome.state == state else None


def shelf_of(rows: list[ShelfRow], failed: list[str]) -> Shelf:
    """The rows as a shelf, for its table in a file."""
    return Shelf(tuple(rows), (), tuple(failed), DEFAULT_LEVEL, None)


def _table(rows: list[ShelfRow], waiting: int, failed: list[str]) -> str:
    heads, lines = shown_rows(shelf_of(rows, [])) if rows else ((), [])
    return render_template("shelf_part.html", heads=heads, rows=lines, waiting=waiting, failed=failed)
