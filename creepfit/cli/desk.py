"""`creepfit desk`: a page on this machine where the runs of a folder are kept."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import click

from creepfit.cli.options import debug_option, debugging
from creepfit.cli.output import message, show
from creepfit.errors import InputError


@click.command()
@click.argument("folder", metavar="FOLDER", type=click.Path())
@click.option(
    "--port", type=click.IntRange(0, 65535), default=0, metavar="N", help="Where it listens; a free port if not given."
)
@click.option(
    "--host", default="127.0.0.1", show_default=True, help="Listen for other machines too: read what it says then."
)
@click.option("--no-browser", is_flag=True, help="Do not open a browser; the address is printed.")
@debug_option
def desk(folder: str, port: int, host: str, no_browser: bool) -> None:
    """Keep the runs of a FOLDER in a browser: readings, answers, parts, side by side.

    It runs on this machine until Ctrl-C. All it shows and writes is the folder's own files; a file that was changed by
    hand in between is never overwritten.
    """
    if not folder:
        raise InputError("no name", expected="the folder where runs are kept")
    if find_spec("flask") is None:
        raise InputError("the desk needs Flask, which is not installed", expected="pip install 'creepfit[desk]'")

    from creepfit.desk.serving import Server, warning_of

    server = Server(Path(folder), port, host, show, debugging())
    warning = warning_of(host, Path(folder))
    if warning is not None:
        message(f"creepfit: {warning}")
    server.run(not no_browser)
