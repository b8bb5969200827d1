"""A file of the folder as text, to be changed by hand; files dropped on the desk; what stands in the folder."""

from __future__ import annotations

import difflib
from pathlib import Path

from flask import Blueprint, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from creepfit.desk.desk import desk
from creepfit.desk.folder import ChangedError, mark
from creepfit.errors import CreepfitError, InputError
from creepfit.records.file_content import encoding_of
from creepfit.records.sheets import WORKBOOK_SUFFIXES

screens = Blueprint("files", __name__)


@screens.get("/file")
def file() -> str:
    """A text file of the folder."""
    name = request.args.get("name", "")
    content = desk().folder.read(name)
    if content is None:
        raise InputError("there is no such file", file=name)
    if Path(name).suffix.casefold() in WORKBOOK_SUFFIXES:
        raise InputError("a workbook is no text", file=name, expected="a spreadsheet program to change it")
    return _page(name, content.decode(encoding_of(content), "replace"), mark(content))


@screens.post("/file")
def save() -> AnyResponse | str:
    """Write the text, unless the file changed meanwhile: then both are shown."""
    name, opened = request.form.get("name", ""), request.form.get("opened", "")
    text = request.form.get("text", "").replace("\r\n", "\n")
    folder = desk().folder
    try:
        content = _in_its_encoding(folder.read(name), text)
        change = folder.replace(name, content, opened)
    except ChangedError as error:
        now = error.now.decode(encoding_of(error.now), "replace")
        return _page(name, text, opened, said=desk().said(error), now=now, now_mark=mark(error.now))
    except InputError as error:
        return _page(name, text, opened, said=desk().said(error))
    done = desk().wrote(f"wrote {name}", [change])
    return redirect(url_for("files.file", name=name, done=done.key))


@screens.post("/drop")
def drop() -> AnyResponse:
    """Take a file into the folder; one of the same name is never overwritten."""
    given = request.files.get("file")
    if given is None or not given.filename:
        raise InputError("no file was chosen", expected="a CSV file, a workbook, or a run or part file")
    name = Path(given.filename.replace("\\", "/")).name
    content = given.read()
    if not content.strip():
        raise InputError("the file is empty", file=name)
    there = desk().folder.read(name)
    if there is not None and there != content:
        raise InputError("a file of this name is there already, with another content", file=name, expected="another name")
    changes = [desk().folder.replace(name, content, mark(None))] if there is None else []
    done = desk().wrote(f"took {name}", changes)
    return redirect(url_for("runs.runs", done=done.key))


def _in_its_encoding(before: bytes | None, text: str) -> bytes:
    """Text as bytes with the encoding, the mark and the line ends that the file had."""
    if before is None:
        return text.encode("utf-8")
    encoding = encoding_of(before)
    if encoding == "utf-8-sig" and not before.startswith(b"\xef\xbb\xbf"):
        encoding = "utf-8"
    if b"\r\n" in before or (encoding.startswith("utf-16") and b"\r\x00\n" in before):
        text = text.replace("\n", "\r\n")
    try:
        return text.encode(encoding)
    except UnicodeEncodeError:
        return text.encode("utf-8-sig")


def _page(name: str, text: str, opened: str, said: str = "", now: str = "", now_mark: str = "") -> str:
    """The text with what is wrong with it; where the file changed meanwhile, what differs."""
    lines = list(difflib.unified_diff(now.splitlines(), text.splitlines(), "the file now", "as typed here", lineterm=""))
    return render_template(
        "file.html", name=name, text=text, opened=opened, said=said, now=now, now_mark=now_mark,
        difference=lines[:400] if now else [], problem=_problem(name), changed=desk().last_change(name),
    )  # fmt: skip


def _problem(name: str) -> str:
    """What is wrong with a run or part file as it stands."""
    card = next((c for c in desk().cards.all() if c.name == name), None)
    if card is not None:
        return card.problem if card.state == "unreadable" else ""
    if name in desk().cards.parts():
        try:
            desk().part(name)
        except CreepfitError as error:
            return desk().said(error)
    return ""
