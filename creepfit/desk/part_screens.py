"""A part: drawn while its sizes are typed, with what it will sag, and which load, thickness and time keep its limit."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from typing import Any

from flask import Blueprint, Response, jsonify, redirect, render_template, request, url_for
from markupsafe import Markup
from werkzeug.wrappers import Response as AnyResponse

from creepfit.desk.answer_screens import FITS, run_and_state
from creepfit.desk.answers import AnswerOptions, part_answered
from creepfit.desk.desk import desk
from creepfit.desk.filled_forms import FilledForm, change_entries, form_of, sent, values_of
from creepfit.desk.folder import ChangedError, mark, token
from creepfit.desk.live_drawing import live_drawing
from creepfit.errors import CreepfitError, InputError
from creepfit.records.editing.toml_form import START
from creepfit.records.file_content import decoded, read_toml
from creepfit.records.form_fields import PartKind, kind_of_part, part_mistakes, part_tables
from creepfit.records.outputs import slug
from creepfit.records.part import Part
from creepfit.records.part_files import build_part
from creepfit.report.figures.described import described_figure
from creepfit.report.figures.style import png, svg

screens = Blueprint("parts", __name__)
KINDS: dict[PartKind, str] = {
    "drawn": "An arm, bracket, hook or frame", "plate": "A panel on two or four sides", "coil": "A coil spring",
    "crank": "A crank: a shaft with an arm", "elastic": "Known from an elastic analysis",
}  # fmt: skip
DRAWN = ("drawn", "plate")
FIRST: dict[PartKind, dict[str, Any]] = {
    "drawn": {"part": {"support": "cantilever"}, "segment": [{"section": "rectangle"}], "load": [{"at": "end"}]},
    "plate": {"load": [{"at": "middle"}]},
    "coil": {"coil": {"section": "round"}, "load": [{}]},
    "crank": {"crank": {"shaft.section": "round"}, "load": [{}]},
    "elastic": {"load": [{}]},
}
"""What a form has in it to begin with."""


@screens.get("/part")
def part() -> str:
    """The form of a part: a new one, or one there is."""
    name = request.args.get("part", "")
    if not name:
        kind = _kind(request.args.get("kind", ""))
        return _page(_checked(START, "", kind, FIRST[kind]), "", kind, mark(None), untouched=True)
    content = desk().folder.read(name)
    if content is None:
        raise InputError("there is no such file", file=name)
    kind = kind_of_part(read_toml(desk().folder.path(name), name))
    text, values = values_of(content, name, part_tables(kind))
    return _page(_checked(text, name, kind, values), name, kind, mark(content))


@screens.post("/part/check")
def check() -> Response:
    """Mistakes so far, the drawing, the file as it would be, and the answer where a run is chosen."""
    name, kind, text = _asked()
    form = _checked(text, name, kind, sent(part_tables(kind), request.form))
    html = {"answer": _answer(form, name, 6.0)}
    if not form.mistakes and kind in DRAWN:  # else the last drawing stays
        html["drawing"] = _drawing(form, name)
    shown = {"file-text": form.text, "file-name": _file_name(form, name)}
    return jsonify({"mistakes": form.mistakes, "text": shown, "html": html})


@screens.post("/part")
def save() -> AnyResponse | str:
    """Write the part file, or show again what is wrong with it."""
    name, kind, text = _asked()
    values = sent(part_tables(kind), request.form)
    opened = request.form.get("opened", "none")
    if fresh := change_entries(values, request.form.get("button", "")):
        return _page(_checked(text, name, kind, values), name, kind, opened, untouched=True, fresh=fresh)
    form = _checked(text, name, kind, values)
    if form.mistakes:
        return _page(form, name, kind, opened)
    file = _file_name(form, name)
    try:
        change = desk().folder.replace(file, form.text.encode("utf-8"), opened)
    except ChangedError as error:
        return _page(form, name, kind, opened, now=error.now.decode("utf-8", "replace"), whole=desk().said(error))
    except InputError as error:
        return _page(form, name, kind, opened, whole=desk().said(error))
    done = desk().wrote(f"wrote {file}", [change])
    return redirect(url_for("parts.part", part=file, material=request.form.get("material", ""), done=done.key))


@screens.get("/part-drawing")
def drawing_file() -> Response:
    """The drawing of a part file, as SVG or PNG."""
    name, folder = request.args.get("part", ""), desk().folder
    part, kind = desk().part(name), "png" if request.args.get("kind") == "png" else "svg"
    state = token(folder.run_state(name), kind)

    def drawn() -> bytes:
        drawing = described_figure(part)
        return png(drawing) if kind == "png" else svg(drawing).encode("utf-8")

    outcome = desk().worker.ask(f"drawing file {name} {kind}", state, drawn, 60.0)
    if outcome is None or outcome.state != state or outcome.answer is None:
        raise InputError("there is nothing to draw", file=name)
    response = Response(outcome.answer, mimetype="image/png" if kind == "png" else "image/svg+xml")
    response.headers.set("Content-Disposition", "attachment", filename=f"{name.removesuffix('.toml')}.{kind}")
    return response


def _asked() -> tuple[str, PartKind, str]:
    """Name of the part there is ("" for a new one), its kind, and its file as it is."""
    name = request.form.get("file", "")
    text = decoded(desk().folder.read(name) or b"", name) if name else START
    return name, _kind(request.form.get("kind", "")), text


def _kind(name: str) -> PartKind:
    return next((kind for kind in KINDS if kind == name), "drawn")


def _checked(text: str, name: str, kind: PartKind, values: dict[str, Any]) -> FilledForm:
    def mistakes(data: dict[str, Any]) -> list[InputError]:
        try:
            desk().folder.files_in(data)
        except InputError as error:
            return [error]
        own = _own_path(name)
        return [
            InputError(e.problem, file=None if e.file == own else e.file, key=e.key, found=e.found, expected=e.expected)
            for e in part_mistakes(data, own)
        ]

    form = form_of(text, part_tables(kind), values, mistakes)
    within = {place: said.replace(f"{desk().folder.root}/", "") for place, said in form.mistakes.items()}
    return replace(form, mistakes=within)


def _own_path(name: str) -> str:
    """The path of the part's file, from which others that it names are found."""
    return str(desk().folder.root / (name or "part.toml"))


def _part_of(form: FilledForm, path: str) -> Part:
    return build_part(tomllib.loads(form.text), path)


def _file_name(form: FilledForm, name: str) -> str:
    return name or f"{slug(form.values.get('part', {}).get('name', '') or 'part')}.toml"


def _page(
    form: FilledForm,
    name: str,
    kind: PartKind,
    opened: str,
    now: str = "",
    whole: str = "",
    untouched: bool = False,
    fresh: str = "",
) -> str:
    given = request.values
    return render_template(
        "part.html", form=form, part=name, kind=kind, kinds=KINDS, drawn=DRAWN, opened=opened, now=now, whole=whole,
        untouched=untouched, fresh=fresh, file_name=_file_name(form, name),
        drawing="" if form.mistakes or kind not in DRAWN else _drawing(form, name),
        answer=_answer(form, name, 0.3), runs=[c for c in desk().cards.all() if c.state not in ("begun", "unreadable")],
        material=given.get("material", ""), asked=_question(), changed=desk().last_change(name) if name else None,
    )  # fmt: skip


def _question() -> AnswerOptions:
    return AnswerOptions(*(request.values.get(key, "").strip() for key in ("ask-at", "ask-limit", "ask-life")))


def _drawing(form: FilledForm, name: str) -> Markup:
    own = _own_path(name)  # known to this request, not to the worker
    return live_drawing(name, token(form.text), lambda: _part_of(form, own))


def _answer(form: FilledForm, name: str, wait: float) -> str:
    """What is said of the part by the run that is chosen; "" without one."""
    material, asked = request.values.get("material", ""), _question()
    if not material:
        return ""
    if form.mistakes:
        return render_template("part_answer.html", content=None, error="", current=False, waiting=False)
    try:
        run, files = run_and_state(material)
        beside = desk().folder.state(desk().folder.files_in(tomllib.loads(form.text)))
        part = _part_of(form, _own_path(name))
    except CreepfitError as failure:
        return render_template("part_answer.html", content=None, error=desk().said(failure), current=True, waiting=False)
    state = token(files, form.text, beside, str(asked))
    outcome = desk().worker.ask(
        f"part {name} {material}", state, lambda: part_answered(part, FITS.of(run, files), asked), wait
    )
    error = "" if outcome is None or outcome.error is None else desk().said(outcome.error)
    current = outcome is not None and outcome.state == state
    content = None if outcome is None else outcome.answer
    return render_template("part_answer.html", content=content, error=error, current=current, waiting=not current)
