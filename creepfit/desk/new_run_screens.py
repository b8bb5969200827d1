"""A new run, or the sizes of one there is: the test chosen by its drawing, sizes typed on it, the file shown before."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from typing import Any, NamedTuple

from flask import Blueprint, Response, jsonify, redirect, render_template, request, url_for
from markupsafe import Markup
from werkzeug.wrappers import Response as AnyResponse

from creepfit.answers.plan.proposal import plan_test
from creepfit.desk.desk import desk
from creepfit.desk.filled_forms import FilledForm, change_entries, form_of, sent, values_of
from creepfit.desk.folder import ChangedError, mark, token
from creepfit.desk.live_drawing import live_drawing
from creepfit.errors import InputError
from creepfit.records.begun import BegunRun
from creepfit.records.editing.toml_form import START
from creepfit.records.fields import length_or_strain
from creepfit.records.file_content import decoded, read_toml
from creepfit.records.files import readings_table
from creepfit.records.form_fields import run_mistakes, run_tables
from creepfit.records.outputs import slug
from creepfit.records.run import Run
from creepfit.records.specimen_tables import known_tests
from creepfit.report.text.plan import planned_text

screens = Blueprint("new_run", __name__)
LONGEST_WAIT = 45.0
WORDS = {"segments": "another shape, drawn by its segments", "direct": "readings used as they are"}
DRAWN = "segments"
"""The test whose specimen is drawn while it is typed; the sizes of the others are typed on a drawing."""


class Checked(NamedTuple):
    """A form with its mistakes, and the run it makes where it has none."""

    form: FilledForm
    run: Run | BegunRun | None


@screens.get("/new-run")
def choose() -> str:
    """Choose a test by its drawing, then fill the form in."""
    test = request.args.get("test", "")
    if test not in known_tests():
        return render_template("tests.html", tests=_tests(), table=_table())
    return _form(_checked(START, "", test, _first(test)), test, "", mark(None), untouched=True)


def _tests() -> dict[str, str]:
    """Every test, in words."""
    return {name: WORDS.get(name, name.replace("-bending", " bending")) for name in known_tests()}


def _first(test: str) -> dict[str, Any]:
    """What a form has in it to begin with."""
    if test == "direct":
        return {"specimen": {"test": test}, "gauge": {"resolution": "0.01 %"}}
    own = {"segment": [{"section": "rectangle"}]} if test == DRAWN else {}
    return {"specimen": {"test": test}, "gauge": {"resolution": "0.01 mm", "instrument": "dial gauge"}, **own}


@screens.get("/run-form")
def edit() -> str:
    """The form of a run there is."""
    name = request.args.get("run", "")
    content = desk().folder.read(name)
    if content is None:
        raise InputError("there is no such file", file=name)
    specimen = read_toml(desk().folder.path(name), name).get("specimen")
    test = str(specimen.get("test", "")) if isinstance(specimen, dict) else ""
    text, values = values_of(content, name, run_tables(test))
    return _form(_checked(text, name, test, values), test, name, mark(content))


@screens.post("/new-run/check")
def check() -> Response:
    """Mistakes so far and the file as it would be."""
    test, name, text = _asked()
    checked = _checked(text, name, test, sent(run_tables(test), request.form), _table())
    form = checked.form
    shown = {"file-text": form.text, "file-name": _file_name(form, name)}
    return jsonify({"mistakes": form.mistakes, "text": shown, "html": {"drawing": _drawing(checked, name, test)}})


@screens.post("/new-run")
def save() -> AnyResponse | str:
    """Write the file, or show again what is wrong with it."""
    test, name, text = _asked()
    values = sent(run_tables(test), request.form)
    opened = request.form.get("opened", "none")
    if fresh := change_entries(values, request.form.get("button", "")):
        return _form(_checked(text, name, test, values), test, name, opened, untouched=True, fresh=fresh)
    checked = _checked(text, name, test, values, _table())
    form = checked.form
    if form.mistakes:
        return _form(checked, test, name, opened)
    if request.form.get("button") == "plan":
        return _form(checked, test, name, opened, planned=_planned(form))
    file, changes, folder = _file_name(form, name), [], desk().folder
    content = form.text
    with folder.lock:
        try:
            if not name:
                table = _table() or file.removesuffix(".toml") + ".csv"
                content = f'{content.rstrip()}\n\n[readings]\nfile = "{table}"\n'
                if folder.read(file) is not None:
                    raise InputError("a file of this name is there already", key="run.specimen", found=file)
                if not _table():
                    changes.append(folder.replace(table, _head(form).encode(), mark(None)))
            changes.append(folder.replace(file, content.encode("utf-8"), opened))
        except ChangedError as error:
            return _form(checked, test, name, opened, now=error.now.decode("utf-8", "replace"), whole=desk().said(error))
        except InputError as error:
            return _form(checked, test, name, opened, whole=desk().said(error))
    done = desk().wrote(f"wrote {' and '.join(c.name for c in reversed(changes))}", changes)
    return redirect(url_for("runs.today", run=file, done=done.key))


def _planned(form: FilledForm) -> str:
    """What a test of these sizes promises, before it begins: the load, when to read, how wide the answer will be."""
    tables = {name: table for name, table in tomllib.loads(form.text).items() if name != "format"}
    state = token(form.text)
    outcome = desk().worker.ask("plan", state, lambda: planned_text(plan_test(tables)), LONGEST_WAIT)
    if outcome is None or outcome.state != state:
        return "This takes longer than a page should wait: ask for it once more."
    return desk().said(outcome.error) if outcome.error is not None else str(outcome.answer)


def _asked() -> tuple[str, str, str]:
    """Test, name of the run there is ("" for a new one), and its file as it is: that it changed is said when saving."""
    test, name = request.form.get("specimen.test", ""), request.form.get("file", "")
    return test, name, decoded(desk().folder.read(name) or b"", name) if name else START


def _table() -> str:
    """The table of readings that is there already, for a new run; "" for a new one."""
    name = "" if request.values.get("file") else request.values.get("table", "")
    if name:
        desk().folder.path(name)
    return name


def _checked(text: str, name: str, test: str, values: dict[str, Any], table_file: str = "") -> Checked:
    built: list[Run | BegunRun | None] = []

    def mistakes(data: dict[str, Any]) -> list[InputError]:
        own = {"readings": {"file": table_file}} if table_file else data
        table = readings_table(own, name, desk().folder.root) if "readings" in own else None
        wrong, run = run_mistakes(data, test, name or "new run", table)
        built.append(run)
        return wrong

    form = form_of(text, run_tables(test), values, mistakes)
    within = {place: said.replace(f"{desk().folder.root}/", "") for place, said in form.mistakes.items()}
    return Checked(replace(form, mistakes=within), built[0] if built else None)


def _drawing(checked: Checked, name: str, test: str) -> Markup:
    """The specimen where its form has a place for it; "" while it cannot be drawn: then the last drawing stays."""
    run = checked.run
    if test != DRAWN or run is None:
        return Markup("")
    return live_drawing(f"run {name}", token(checked.form.text), lambda: run)


def _head(form: FilledForm) -> str:
    """Of the CSV that readings of a new run go into; they are strains where the gauge's resolution is one."""
    kind, _ = length_or_strain(form.values["gauge"]["resolution"])
    return f"when,reading [{'%' if kind == 'strain' else 'mm'}],note\n"


def _file_name(form: FilledForm, name: str) -> str:
    """The name of the file: as it is, or from material and specimen."""
    if name:
        return name
    run = form.values.get("run", {})
    return f"{slug(' '.join(filter(None, (run.get('material', ''), run.get('specimen', '')))))}.toml"


def _form(
    checked: Checked,
    test: str,
    name: str,
    opened: str,
    now: str = "",
    whole: str = "",
    untouched: bool = False,
    planned: str = "",
    fresh: str = "",
) -> str:
    loose = [] if name else desk().cards.loose_tables()
    return render_template(
        "run_form.html", form=checked.form, test=test, tests=_tests(), run=name, opened=opened, now=now, whole=whole,
        untouched=untouched, planned=planned, file_name=_file_name(checked.form, name), table=_table(), loose=loose,
        fresh=fresh, drawing=_drawing(checked, name, test),
    )  # fmt: skip
