"""The command `new`: files to start from, and a run file around a table of readings that is there already."""

from __future__ import annotations

import os
import sys
from datetime import datetime

import click

from creepfit.cli.options import debug_option, force_option
from creepfit.cli.output import message
from creepfit.errors import CreepfitError, InputError


@click.command()
@click.argument("kind", type=click.Choice(["run", "part", "history", "workbook"]))
@click.argument("file", type=click.Path())
@click.option("--from", "table", metavar="CSV", type=click.Path(), help="Of a run: readings that are there already.")
@force_option
@debug_option
def new(kind: str, file: str, table: str | None, force: bool) -> None:
    """Write a commented file to start from.

    A run file, a part file, a load history (see forecast --history), or a workbook with a run on a sheet, for those who
    live in a spreadsheet. What --force replaces is kept beside it as FILE.bak. With --from a run file is put around a
    table of readings: what else it needs is asked for.
    """
    from creepfit.records.outputs import check_writable, write_kept

    if table is not None:
        if kind != "run":
            raise InputError(f"a {kind} is made of no readings", key="--from", expected="creepfit new run FILE --from CSV")
        check_writable(file, force)
        message(write_kept(file, _asked(file, table).encode("utf-8"), force))
        _read_back(file)
        return
    if kind == "workbook":
        from creepfit.records.workbook import workbook_template

        message(workbook_template(file, force))
    else:
        from creepfit.records.templates import history_template, part_template, run_template

        now = datetime.now()
        template = {"run": lambda: run_template(now), "part": part_template, "history": history_template}[kind]
        message(write_kept(file, template().encode("utf-8"), force))


def _asked(file: str, table: str) -> str:
    """The run file, from what is answered on the terminal; a wrong answer is said and asked for again."""
    from creepfit.records.from_table import questions, run_file_text, table_of_readings

    readings = table_of_readings(table)
    message(f"{len(readings)} readings in {table}. A decimal comma is understood; Enter takes what stands in brackets.")
    answers: dict[str, str] = {}
    asking = questions(readings, os.path.splitext(os.path.basename(file))[0])
    question = next(asking)
    while True:
        typed = _typed(question.words, question.usual, table)
        try:
            answers[question.key] = question.check(typed)
        except InputError as error:
            message(str(error))
            continue
        try:
            question = asking.send(answers[question.key])
        except StopIteration:
            break
    beside = os.path.relpath(table, os.path.dirname(file) or ".")
    return run_file_text(answers, beside.replace(os.sep, "/"))


def _typed(words: str, usual: str | None, table: str) -> str:
    """What is answered; without a terminal lines of standard input are the answers, as long as there are any."""
    away = sys.stdin is None or not sys.stdin.isatty()
    try:
        if sys.stdin is not None:  # closed, as by a service
            return str(click.prompt(words, default=usual, err=True))
    except click.Abort:
        click.echo(err=True)  # the question stands without an end of its line
    instead = (
        f'an answer a line on standard input, or the file that "creepfit new run FILE" writes without --from, in it file = '
        f'"{os.path.basename(table)}" under [readings]'
    )
    raise InputError("an answer is missing", key=words, expected=instead if away else "what was asked for")


def _read_back(file: str) -> None:
    """Say what is wrong with the file while its author is still there; an unfinished run is fine."""
    from creepfit.records.begun import UnfinishedRunError
    from creepfit.records.files import read_run

    try:
        run = read_run(file)
    except UnfinishedRunError:
        return
    except CreepfitError as error:
        raise InputError(f"written, but it does not read yet: {error}", file=file) from None
    message(f"{run.headline}; next: creepfit check {file}")
