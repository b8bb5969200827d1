"""A new run, or the sizes of one there is: the test chosen by its drawing, sizes typed on it, the file shown before."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from typing import Any

from flask import Blueprint, Response, jsonify, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from creepfit.answers.plan.proposal import plan_test
from creepfit.desk.desk import desk
from creepfit.desk.filled_forms import FilledForm, change_entries, form_of, sent, values_of
from creepfit.desk.folder import ChangedError, mark, token
from creepfit.errors import InputError
from creepfit.records.editing.toml_form import START
from creepfit.records.file_content import decoded, read_toml
from creepfit.records.files import readings_table
from creepfit.records.form_fields import SIZED_TESTS, run_mistakes, run_tables
from creepfit.report.figures.saving import slug
from creepfit.report.text.plan import planned_text

screens = Blueprint("new_run", __name__)
LONGEST_WAIT = 45.0
HEAD = "when,reading [mm],note\n"
"""Of the CSV that readings of a new run go into."""


@screens.get("/new-run")
def choose() -> str:
    """Choose a test by its drawing, then fill the form in."""
    test = request.args.get("test", "")
    if test not in SIZED_TESTS:
        return render_template("tests.html", tests=SIZED_TESTS, table=_table())
    values = {"specimen": {"test": test}, "gauge": {"resolution": "0.01 mm", "instrument": "dial gauge"}, "load": []}
    return _form(_checked(START, "", test, values), test, "", mark(None), untouched=True)


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
    form = _checked(text, name, test, sent(run_tables(test), request.form), _table())
    return jsonify({"mistakes": form.mistakes, "text": {"file-text": form.text, "file-name": _file_name(form, name)}})


@screens.post("/new-run")
def save() -> AnyResponse | str:
    """Write the file, or show again what is wrong with it."""
    test, name, text = _asked()
    values = sent(run_tables(test), request.form)
    opened = request.form.get("opened", "none")
    if change_entries(values, request.form.get("button", "")):
        return _form(_checked(text, name, test, values), test, name, opened, untouched=True)
    form = _checked(text, name, test, values, _table())
    if form.mistakes:
        return _form(form, test, name, opened)
    if request.form.get("button") == "plan":
        return _form(form, test, name, opened, planned=_planned(form))
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
                    changes.append(folder.replace(table, HEAD.encode(), mark(None)))
            changes.append(folder.replace(file, content.encode("utf-8"), opened))
        except ChangedError as error:
            return _form(form, test, name, opened, now=error.now.decode("utf-8", "replace"), whole=desk().said(error))
        except InputError as error:
            return _form(form, test, name, opened, whole=desk().said(error))
    done = desk().wrote(f"wrote {' and '.join(c.name for c in reversed(changes))}", changes)
    return redirect(url_for("runs.today", run=file, done=done.key))


def _planned(form: FilledForm) -> str:
    """What a test of these sizes promises, before it begins: the load, when to read, how wide the answer will be."""
    tables = {name: found for name, found in tomllib.loads(form.text).items() if name != "format"}
    state = token(form.text)
    found = desk().worker.ask("plan", state, lambda: planned_text(plan_test(tables)), LONGEST_WAIT)
    if found is None or found.state != state:
        return "This takes longer than a page should wait: ask for it once more."
    return desk().said(found.error) if found.error is not None else str(found.answer)


def _asked() -> tuple[str, str, str]:
    """Test, name of the run there is ("" for a new one), and its file as it is: that it changed is told when saving."""
    test, name = request.form.get("specimen.test", ""), request.form.get("file", "")
    return test, name, decoded(desk().folder.read(name) or b"", name) if name else START


def _table() -> str:
    """The table of readings that is there already, for a new run; "" for a new one."""
    name = "" if request.values.get("file") else request.values.get("table", "")
    if name:
        desk().folder.path(name)
    return name


def _checked(text: str, name: str, test: str, values: dict[str, Any], table_file: str = "") -> FilledForm:
    def mistakes(data: dict[str, Any]) -> list[InputError]:
        own = {"readings": {"file": table_file}} if table_file else data
        table = readings_table(own, name, desk().folder.root) if "readings" in own else None
        return run_mistakes(data, test, name or "new run", table)

    form = form_of(text, run_tables(test), values, mistakes)
    within = {place: said.replace(f"{desk().folder.root}/", "") for place, said in form.mistakes.items()}
    return replace(form, mistakes=within)


def _file_name(form: FilledForm, name: str) -> str:
    """The name of the file: as it is, or from material and specimen."""
    if name:
        return name
    run = form.values.get("run", {})
    return f"{slug(' '.join(filter(None, (run.get('material', ''), run.get('specimen', '')))))}.toml"


def _form(
    form: FilledForm,
    test: str,
    name: str,
    opened: str,
    now: str = "",
    whole: str = "",
    untouched: bool = False,
    planned: str = "",
) -> str:
    loose = [] if name else desk().cards.loose_tables()
    return render_template(
        "run_form.html", form=form, test=test, run=name, opened=opened, now=now, whole=whole, untouched=untouched,
        planned=planned, file_name=_file_name(form, name), table=_table(), loose=loose,
    )  # fmt: skip
