"""The desk as a web application: its screens, how they look, and what is said where something cannot be done."""

from __future__ import annotations

from collections.abc import Callable
from operator import attrgetter
from pathlib import Path

from flask import Flask, Response, g, render_template, request, send_from_directory
from jinja2 import ChoiceLoader, FileSystemLoader, StrictUndefined
from werkzeug.exceptions import HTTPException

from creepfit.answers.doubts.catalogue.entry import unsaid
from creepfit.answers.heading import program_version
from creepfit.desk import (
    answer_screens,
    download_screens,
    file_screens,
    new_run_screens,
    part_screens,
    run_screens,
    together_screens,
)
from creepfit.desk.desk import Desk, desk
from creepfit.desk.folder import Folder
from creepfit.desk.guard import Keys, guard
from creepfit.errors import CreepfitError, InputError
from creepfit.report import page
from creepfit.report.text.pieces import unbroken

HERE = Path(__file__).parent
PAGE = Path(page.__file__).parent

SCREENS = (
    run_screens, answer_screens, new_run_screens, part_screens, together_screens, file_screens, download_screens,
)  # fmt: skip


def create_app(
    root: Path,
    keys: Keys,
    port: int,
    host: str = "127.0.0.1",
    opened: Callable[[], None] | None = None,
    debug: bool = False,
) -> Flask:
    """Return the desk of a folder.

    Parameters
    ----------
    root : Path
        The folder.
    keys : Keys
    port, host
        Where it listens: requests under another name are refused.
    opened : callable, optional
        Called after a browser was let in.
    debug : bool
        Print the traceback of a fault.
    """
    app = Flask("creepfit.desk", template_folder=str(HERE / "pages"), static_folder=str(HERE / "static"))
    # macros of the page are taken from the page itself
    app.jinja_loader = ChoiceLoader([FileSystemLoader(HERE / "pages"), FileSystemLoader(PAGE)])
    app.jinja_options = {"undefined": StrictUndefined, "trim_blocks": True, "lstrip_blocks": True}
    app.jinja_env.filters["unbroken"] = unbroken
    app.jinja_env.filters["unsaid"] = unsaid
    app.jinja_env.filters["settled"] = attrgetter("settled_at_desk")  # who fills in forms types no key and no command
    app.config["MAX_CONTENT_LENGTH"] = 30_000_000
    app.config["MAX_FORM_MEMORY_SIZE"] = 5_000_000
    app.extensions["creepfit"] = Desk(Folder(root))
    guard(app, keys, port, host, opened)
    for screens in SCREENS:
        app.register_blueprint(screens.screens)

    @app.context_processor
    def shared() -> dict[str, object]:
        key = request.args.get("done", "")
        return {
            "folder": desk().folder.root.name,
            "form_token": g.get("form_token", ""),
            "version": program_version(),
            "done": desk().written(key) if key else None,
        }

    @app.get("/page/<name>")
    def page_file(name: str) -> Response:
        """The style sheet and the script of the report page."""
        return send_from_directory(PAGE, name if name in ("report.css", "report.js") else "missing")

    @app.errorhandler(CreepfitError)
    def mistake(error: CreepfitError) -> tuple[str, int]:
        file = Path(error.file or "").name if isinstance(error, InputError) else ""
        try:
            known = file in desk().cards.texts()
        except InputError:  # the folder is gone, which is what is said
            known = False
        return render_template("mistake.html", text=desk().said(error), file=file if known else ""), 400

    @app.errorhandler(HTTPException)
    def refused(error: HTTPException) -> tuple[str, int]:
        code = error.code or 500
        text = "There is no such page." if code == 404 else error.description or error.name
        return render_template("mistake.html", text=text, file=""), code

    @app.errorhandler(Exception)
    def fault(error: Exception) -> tuple[str, int]:
        if debug:
            app.logger.exception("a fault of the desk")
        return render_template("mistake.html", text=desk().said(error), file=""), 500

    return app
