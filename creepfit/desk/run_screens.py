"""The runs of the folder, and today's reading of one of them: its doubt is said before it is saved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from time import monotonic
from typing import Any, get_args

from flask import Blueprint, Response, jsonify, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from creepfit.answers.doubts.catalogue.entry import foremost
from creepfit.answers.doubts.collected import check_run
from creepfit.answers.wording import as_read, clock_time
from creepfit.desk.answer_screens import run_of
from creepfit.desk.answers import Said, judged
from creepfit.desk.desk import desk
from creepfit.desk.folder import Folder
from creepfit.errors import CreepfitError, InputError
from creepfit.records.begun import BegunRun, UnfinishedRunError
from creepfit.records.editing.additions import Addition, Prepared, prepare, prepare_all
from creepfit.records.moments import Moment, moment_or_now
from creepfit.records.run import EventKind, Reading, Run
from creepfit.units import show_time

screens = Blueprint("runs", __name__)

LONGEST_WAIT = 20.0
"""Seconds that a reading waits for what is doubtful about it, before it is saved without."""

GLANCE = 0.2
"""Seconds that the screen of all runs waits for what has to be settled first; the rest is said when it is opened again."""

SLIP = 100
"""Rank below which a doubt means that something in the file is not what happened (see `Entry.rank`)."""

SHOWN = 60
"""Readings of the table, the last ones; all of them are in the file."""

BACK = {"run": ("runs.today", "run"), "part": ("parts.part", "part"), "file": ("files.file", "name")}
"""Screens that show the last change of a file, and how they know which."""

EXAMPLES = {"mm": ("15.14 mm", "0.4 kg"), "1": ("0.52 %", "8 MPa")}
"""A reading and a load, by the unit of the readings."""

KINDS: tuple[str, ...] = get_args(EventKind)


@screens.get("/")
def runs() -> str:
    """All runs of the folder."""
    cards = desk().cards
    shown = cards.all()
    slips = _slips([card.name for card in shown if card.state in ("in progress", "finished")])
    return render_template("runs.html", cards=shown, parts=cards.parts(), loose=cards.loose_tables(), slips=slips)


def _slips(names: Sequence[str]) -> dict[str, str]:
    """What has to be settled first in runs, in a sentence each, as far as it is worked out by now."""
    until, slips, folder = monotonic() + GLANCE, {}, desk().folder
    for name in names:
        try:
            state = folder.run_state(name)
        except InputError:
            continue
        work = partial(_slip, name, folder)
        outcome = desk().worker.ask(f"slip {name}", state, work, max(until - monotonic(), 0.0), urgent=False)
        if outcome is not None and outcome.state == state and outcome.answer:
            slips[name] = outcome.answer
    return slips


def _slip(name: str, folder: Folder) -> str:
    """The gravest doubt about a run, of those that make its answer another one, to its first full stop; "" without one."""
    first = foremost(check_run(run_of(name, folder)))
    return "" if first is None or first.rank >= SLIP else f"{first.text.split('. ')[0].rstrip('.')}."


@screens.get("/today")
def today() -> str:
    """One large field for the reading."""
    return _today(request.args.get("run", ""), {}, None, "")


@screens.post("/today/doubt")
def doubt() -> Response:
    """What is doubtful about a reading that is being typed."""
    name = request.form.get("run", "")
    if not request.form.get("value", "").strip():
        return jsonify({"html": {"doubt": ""}})
    try:
        prepared = prepare(_path(name), _addition(request.form.to_dict()))
        said = _judged(name, prepared, request.form.get("value", ""))
    except InputError as error:
        return jsonify({"html": {"doubt": render_template("doubt.html", said=None, mistake=desk().said(error))}})
    return jsonify({"html": {"doubt": render_template("doubt.html", said=said, mistake="")}})


@screens.post("/today")
def save() -> AnyResponse | str:
    """Save a reading or what happened; a grave doubt is shown first, and saved only when it was seen."""
    given = request.form.to_dict()
    name = given.get("run", "")
    try:
        prepared = prepare(_path(name), _addition(given))
        said = _judged(name, prepared, given.get("value", "")) if given.get("value", "").strip() else None
    except InputError as error:
        return _today(name, given, None, desk().said(error))
    if said is not None and said.grave and given.get("seen", "") != given["value"].strip():
        return _today(name, given, said, "")
    try:
        done = desk().write(prepared)
    except InputError as error:
        return _today(name, given, said, desk().said(error))
    return redirect(url_for("answers.answer", run=name, done=done.key))


@screens.post("/today/change")
def change() -> AnyResponse | str:
    """Correct a reading, whose doubt is shown first as that of a new one, or leave it out for a reason."""
    given = request.form.to_dict()
    name = given.get("run", "")
    try:
        place = int(given.get("place", ""))
    except ValueError:
        raise InputError("which reading?", found=given.get("place"), expected="a row") from None
    now = datetime.now().replace(microsecond=0)
    if given.get("what") == "leave out":
        addition = Addition(now, skip=place, why=given.get("why", ""))
    else:
        addition = Addition(now, value=given.get("value", "").strip() or None, correct=place)
    try:
        prepared = prepare(_path(name), addition)
        said = None if addition.correct is None else _judged(name, prepared, addition.value or "")
        if said is not None and said.grave and given.get("seen", "") != addition.value:
            return _today(name, {}, None, "", {**given, "said": replace(said, next="")})
        done = desk().write(prepared)
    except InputError as error:
        return _today(name, {}, None, desk().said(error))
    return redirect(url_for("runs.today", run=name, done=done.key))


@screens.post("/today/rows")
def rows() -> AnyResponse | str:
    """Rows pasted from a spreadsheet: all of them are taken, or none."""
    name, text = request.form.get("run", ""), request.form.get("rows", "")
    try:
        additions = pasted(text)
        done = desk().write(prepare_all(_path(name), additions))
    except InputError as error:
        return _today(name, {"rows": text}, None, desk().said(error))
    return redirect(url_for("answers.answer", run=name, done=done.key))


@screens.post("/undo")
def undo() -> AnyResponse:
    """Take a change back: one that was just made, or the last one of a file."""
    of, run = request.form.get("of", ""), request.form.get("run", "")
    if of:
        done = desk().take_last_back(of, request.form.get("state", ""))
        screen, name = BACK.get(request.form.get("back", ""), BACK["run"])
        values: dict[str, Any] = {name: of}
        return redirect(url_for(screen, done=done.key, **values))
    done = desk().take_back(request.form.get("key", ""))
    return redirect(url_for("runs.today", run=run, done=done.key) if run else url_for("runs.runs", done=done.key))


def pasted(text: str) -> dict[str, Addition]:
    """Return rows of two cells, time and reading, as additions by their rows; a head and empty rows are passed over.

    Raises
    ------
    InputError
        A row that is none, by its number.
    """
    additions: dict[str, Addition] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        parted = "\t" if "\t" in line else ";"
        cells = [c.strip() for c in line.split(parted)]
        if len(cells) == 1 and line.count(",") == 1:
            cells = [c.strip() for c in line.split(",")]
        if not any(cells):
            continue
        if len(cells) < 2:
            expected = 'two cells a row, the time and the reading, such as "1 d" and "14.95 mm"'
            raise InputError(key=f"row {number}", found=line.strip(), expected=expected)
        try:
            at = _moment(cells[0])
        except InputError as error:
            if number == 1 and not any(c.isdigit() for c in cells[1]):
                continue  # the heads of the columns
            raise error.within(None, f"row {number}") from None
        additions[f"row {number}"] = Addition(at, value=cells[1])
    if not additions:
        raise InputError("nothing to take over", key="rows", expected="rows copied from a spreadsheet")
    return additions


def _path(name: str) -> str:
    """The path of a run whose files nobody is writing just now: what is added to half a file would be lost with it."""
    path = desk().folder.run_path(name)
    desk().folder.files_of(name)
    return path


def _addition(given: dict[str, str]) -> Addition:
    """What was typed and which button was pressed."""
    what = given.get("what", "reading")
    value = given.get("value", "").strip() or None
    load = given.get("load", "").strip() or None
    if what == "reading" and value is None:
        raise InputError("no reading was typed", key="value", expected='what the gauge shows, such as "15.14 mm"')
    if what == "loaded" and load is None:
        raise InputError("which load?", key="load", expected='the total load from now on, such as "0.4 kg"')
    if what not in ("reading", "loaded", "unloaded", *KINDS):
        raise InputError(found=what, expected="a reading, loaded, unloaded or an event")
    return Addition(
        _moment(given.get("at", "")),
        value,
        given.get("temperature", "").strip() or None if value else None,
        given.get("note", "").strip() or None if value else None,
        load if what == "loaded" else None,
        what == "unloaded",
        what if what in KINDS else None,
    )


def _moment(text: str) -> Moment:
    try:
        return moment_or_now(text.strip() or "now")
    except InputError as error:
        raise error.within(None, "at") from None


def _judged(name: str, prepared: Prepared, value: str) -> Said | None:
    """What the reading comes to; None where that takes too long."""
    if prepared.added.where is None and prepared.added.run is not None:
        return None
    state = f"{desk().folder.run_state(name)} {value} {prepared.added.said} {prepared.added.where}"
    outcome = desk().worker.ask(f"doubt {name}", state, lambda: judged(prepared.added), LONGEST_WAIT)
    if outcome is None or outcome.state != state:
        return None
    if isinstance(outcome.error, CreepfitError):
        return Said(desk().said(outcome.error))
    if outcome.error is not None:
        raise outcome.error
    said: Said = outcome.answer
    return said


def _today(
    name: str, given: dict[str, str], said: Said | None, mistake: str, correction: Mapping[str, Any] | None = None
) -> str:
    """The screen of a run; a `correction` is the form of its reading with what is doubtful about it, `said`."""
    folder = desk().folder
    folder.run_path(name)
    folder.files_of(name)  # what is wrong with a name is said on a page of its own
    run: Run | BegunRun | None = None
    why = ""
    try:
        run = run_of(name)
    except UnfinishedRunError as error:
        run = error.begun
    except CreepfitError as error:
        why = desk().said(error)
    card = next((c for c in desk().cards.all() if c.name == name), None)
    return render_template(
        "today.html", run=name, card=card, given=given, said=said, mistake=mistake or why, kinds=KINDS,
        correction=correction or {},
        changed=desk().last_change(name), examples=EXAMPLES["mm" if run is None else run.unit],
        rows=[] if run is None else [_row(r, run) for r in run.readings][-SHOWN:][::-1],
    )  # fmt: skip


def _row(reading: Reading, run: Run | BegunRun) -> dict[str, Any]:
    """A reading as it stands in the table: when, what was read, its place, and why it is left out."""
    when = show_time(reading.time) if run.steps else ""  # before any load times mean nothing
    if run.steps and run.began is not None:
        when = clock_time(run.began + timedelta(seconds=reading.time))
    return {
        "when": when,
        "value": as_read(reading.value, run.gauge, run.unit),
        "where": reading.where,
        "place": reading.place,
        "skip": reading.skip or "",
    }
