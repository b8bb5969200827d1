"""What commands print: answers in words or as JSON, messages, and figures of answers.

Only click and creepfit's errors are imported here, so that `creepfit --help` answers at once.
"""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Callable
from contextlib import suppress
from typing import IO, Any

import click

from creepfit.errors import InputError


def message(text: str) -> None:
    """Print a message on stderr."""
    _print(text, sys.stderr)


def show(text: str) -> None:
    """Print data on stdout, spelled in ASCII where it can show nothing else; titles and doubts stand out on a terminal."""
    _print(_dressed(text) if sys.stdout.isatty() and not os.environ.get("NO_COLOR") else text, sys.stdout)


def _dressed(text: str) -> str:
    """The text with its titles bold and the marks of doubts coloured."""
    lines = text.split("\n")
    for i, line in enumerate(lines):
        if i + 1 < len(lines) and line and set(lines[i + 1]) == {"="}:
            lines[i] = click.style(line, bold=True)
        elif line.startswith("  ! "):
            lines[i] = f"  {click.style('!', fg='yellow', bold=True)} {line[4:]}"
    return "\n".join(lines)


def fit_to_terminal() -> None:
    """Let texts take as many columns as the terminal has, 80 in a pipe; until the command ends."""
    from creepfit.report.text.columns import PIPED, reset_columns, set_columns

    token = set_columns(shutil.get_terminal_size((PIPED, 24)).columns if sys.stdout.isatty() else PIPED)
    click.get_current_context().call_on_close(lambda: reset_columns(token))


def _print(text: str, stream: IO[str]) -> None:
    from creepfit.report.text.spelled import plain

    _echo(plain(text, getattr(stream, "encoding", None)), stream)


def _echo(text: str, stream: IO[str]) -> None:
    """Print, or say that it cannot be done: a full disk is no fault of ours. Nobody can be told on a full stderr."""
    try:
        click.echo(text, file=stream)
    except BrokenPipeError:
        raise
    except OSError as error:
        # what is buffered still would fail again, with a traceback, when the interpreter ends
        with suppress(OSError, ValueError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
        if stream is sys.stdout:
            raise InputError(f"cannot be written ({error.strerror or error})", file="standard output") from None


def show_json(content: dict[str, Any] | list[dict[str, Any]]) -> None:
    """Print an answer, or a list of them, as JSON."""
    text = json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False)
    try:
        text.encode(getattr(sys.stdout, "encoding", None) or "ascii")
    except (UnicodeEncodeError, LookupError):
        text = json.dumps(content, indent=2, allow_nan=False)
    _echo(text, sys.stdout)


def show_answer(result: Any, words: Callable[[Any], str], as_json: bool) -> None:
    """Print a result as JSON, or in words."""
    if as_json:
        show_json(result.to_dict())
    else:
        show(words(result))


def check_drawing(figure: str | None, force: bool, several: bool = False) -> None:
    """Refuse a --figure that cannot be drawn, before the work for it is done."""
    if figure is None:
        return
    from creepfit.records.outputs import check_figure

    if several:
        raise InputError("several runs", key="--figure", expected="one run for a figure; creepfit report draws them all")
    check_figure(figure, force)


def draw_answer(result: Any, figure: str | None, force: bool) -> None:
    """Draw a result into the file of --figure, if there is one."""
    if figure is None:
        return
    from creepfit.report.showing import save_figure

    save_figure(result, figure, force)
    message(f"wrote {figure}")
