"""The answer of a run as it stands: worked out beside the page, the last one shown until there is a newer."""

from __future__ import annotations

from datetime import datetime

from flask import Blueprint, Response, make_response, render_template, request

from creepfit.answers.specimen.first_day import FirstDay, first_day
from creepfit.desk.answers import AnswerOptions, Fits, answered, movement_words, to_do
from creepfit.desk.desk import desk
from creepfit.desk.folder import Folder, token
from creepfit.desk.worker import Outcome
from creepfit.errors import CreepfitError
from creepfit.inference.saved import Saved
from creepfit.inference.sources import SHEET, sources_of
from creepfit.records.begun import UnfinishedRunError
from creepfit.records.files import read_run
from creepfit.records.run import Run

screens = Blueprint("answers", __name__)
FITS = Fits()
PATIENCE = 0.4
"""Seconds that a page waits for its answer before it comes without."""


def run_of(name: str, folder: Folder | None = None) -> Run:
    """Read a run of the folder (outside of a request it is to be named): a file, or a sheet of a workbook."""
    return run_and_state(name, folder)[0]


def run_and_state(name: str, folder: Folder | None = None) -> tuple[Run, str]:
    """Read a run, and what stands for the content of the files that it was read from."""
    where = desk().folder if folder is None else folder

    def read() -> tuple[Run, str]:
        state = where.run_state(name)  # before the run: of files that never rest it is at worst too old, and asked again
        return _read(where.run_path(name)), state

    return where.steady(name, read)


def _read(path: str) -> Run:
    if SHEET not in path:
        return read_run(path)
    read = sources_of([path])[0].read()
    return read.run if isinstance(read, Saved) else read


def asked_of() -> AnswerOptions:
    """What the address asks for."""
    return AnswerOptions(*(request.args.get(key, "").strip() for key in ("at", "limit", "life")))


def outcome(name: str, asked: AnswerOptions, wait: float) -> tuple[Outcome | None, str]:
    """The last answer of a run, and the state it would have now."""
    desk().folder.run_path(name)  # what is wrong with a name is said on a page of its own
    try:
        run, files = run_and_state(name)
    except UnfinishedRunError as error:
        state = token(desk().folder.run_state(name), str(asked))
        begun = error.begun
        return (Outcome(state, error=error) if begun is None else Outcome(state, first_day(begun, datetime.now()))), state
    except CreepfitError as error:
        state = token(str(error), str(asked))
        return Outcome(state, error=error), state
    state = token(files, str(asked))
    latest = desk().worker.ask(f"answer {name}", state, lambda: answered(FITS.of(run, files), asked), wait)
    return latest, state


@screens.get("/answer")
def answer() -> str:
    """The first screen of a run's page, live."""
    name, asked = request.args.get("run", ""), asked_of()
    latest, state = outcome(name, asked, 30.0 if request.args.get("wait") else PATIENCE)
    ready = latest is None or not isinstance(latest.answer, FirstDay)
    return render_template(
        "answer.html", run=name, asked=asked, fragment=_fragment(latest, state), state=_known(latest), ready=ready
    )


@screens.get("/answer/part")
def part_of_answer() -> Response:
    """The answer alone, where it is newer than the one shown."""
    name, asked, have = request.args.get("run", ""), asked_of(), request.args.get("have", "")
    latest, state = outcome(name, asked, 1.5)
    known = _known(latest)
    response = make_response("" if known == have else _fragment(latest, state))
    response.headers["X-State"] = known
    response.headers["X-Current"] = "1" if known == state else "0"
    return response


def _known(outcome: Outcome | None) -> str:
    return "" if outcome is None else outcome.state


def _fragment(outcome: Outcome | None, state: str) -> str:
    error = "" if outcome is None or outcome.error is None else desk().said(outcome.error)
    content = None if outcome is None else outcome.answer
    begun = content if isinstance(content, FirstDay) else None
    return render_template(
        "answer_part.html",
        content=content if begun is None else None,
        begun=begun,
        moved="" if begun is None else movement_words(begun),
        todo=[] if begun is None else to_do(begun, datetime.now()),
        error=error,
        current=outcome is not None and outcome.state == state,
    )
