"""`creepfit add`: what happened at the bench, put into the run's own files; and what the new reading says."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any, get_args

import click

from creepfit.cli.options import debug_option, json_option, progress
from creepfit.cli.output import message, show, show_json
from creepfit.errors import InputError
from creepfit.shown import listed

if TYPE_CHECKING:
    from creepfit.records.moments import Moment


@click.command(context_settings={"ignore_unknown_options": True})
@click.argument("run", metavar="RUN", type=click.Path())
@click.argument("value", metavar="[VALUE]", required=False)
@click.option("--at", metavar="TIME", help='When: "5 d", "2031-05-04 16:30", or "16:30" for today; now if not given.')
@click.option("--note", metavar="TEXT", help="A remark beside the reading.")
@click.option("--temperature", metavar="SIZE", help='What the room was at, such as "23 degC".')
@click.option("--loaded", metavar="LOAD", help='The load is so much from then on, such as "1.6 kg".')
@click.option("--unloaded", is_flag=True, help="The load came off then.")
@click.option("--event", metavar="KIND", help="rezeroed, new observer, bumped, slipped, stop reached or broke.")
@click.option(
    "--skip", type=int, metavar="ROW", help="Leave a reading out: its row in the table, or its place in the list."
)
@click.option("--why", metavar="TEXT", help="The reason for which it is left out; kept in reports.")
@json_option
@debug_option
def add(
    run: str,
    value: str | None,
    at: str | None,
    note: str | None,
    temperature: str | None,
    loaded: str | None,
    unloaded: bool,
    event: str | None,
    skip: int | None,
    why: str | None,
    as_json: bool,
) -> None:
    """Write a reading into a run, and say at once what it means.

    VALUE is what the gauge shows, such as "15.14 mm". It goes into the run's own CSV file, lists or sheet; comments and
    order stay, and the file's last state is kept beside it as FILE.bak. With --loaded, --unloaded or --event the VALUE is
    the reading just before. A reading below zero goes behind two dashes: creepfit add RUN -- "-0.12 mm".
    """
    from creepfit.answers.specimen.verdict import read_ahead
    from creepfit.records.editing.additions import Addition, add_to

    _check(value, loaded, unloaded, event, skip, why, note, temperature)
    done = add_to(run, Addition(_moment(at), value, temperature, note, loaded, unloaded, event, skip, why))
    last_states = ", ".join(f"{file}.bak" for file in done.files)
    message(f"wrote {'; '.join(done.said)} (last state kept in {last_states})")
    ahead = read_ahead(done.run or getattr(done.unfinished, "begun", None), done.where, datetime.now())
    if ahead:
        message(ahead)
    with progress("holding it against the forecast", 1):
        answer, text = _answer(done.run, done.unfinished, done.where)
    if as_json:
        backups = [f"{file}.bak" for file in done.files]
        extra = {"in_future": ahead} if ahead else {}
        show_json({**answer, **extra, "written": list(done.said), "files": list(done.files), "backups": backups})
    elif text:
        show(text)


def _answer(run: Any, unfinished: Any, where: str | None) -> tuple[dict[str, Any], str]:
    from creepfit.answers.specimen.first_day import first_day
    from creepfit.answers.specimen.verdict import verdict, what_next
    from creepfit.cli.first_day import as_begun
    from creepfit.report.text.bench import first_day_text, next_text, verdict_text

    begun = getattr(unfinished, "begun", None) if run is None else as_begun(run)
    if begun is not None:
        day = first_day(begun, datetime.now())
        return day.to_dict(), first_day_text(day, short=True)
    if run is None:
        return {}, ""
    if where is None:
        todo = what_next(run)
        return {"run": run.label, "next_readings": [t.to_dict() for t in todo]}, next_text(run, todo)
    said = verdict(run, where)
    return said.to_dict(), verdict_text(said)


def _check(
    value: str | None,
    loaded: str | None,
    unloaded: bool,
    event: str | None,
    skip: int | None,
    why: str | None,
    note: str | None,
    temperature: str | None,
) -> None:
    """Refuse a command that says nothing, or two things at once."""
    from creepfit.records.fields import did_you_mean
    from creepfit.records.run import EventKind

    if value is None and loaded is None and not unloaded and event is None and skip is None:
        raise InputError(
            "nothing to add", key="add", expected='a reading such as "15.14 mm", --unloaded, --event or --skip'
        )
    if loaded is not None and unloaded:
        raise InputError("the load cannot go on and come off at once", key="--loaded", found=loaded)
    if skip is not None and (value is not None or loaded is not None or unloaded or event is not None):
        raise InputError("a reading is left out by a command of its own", key="--skip", found=skip)
    if why is not None and skip is None:
        raise InputError(key="--why", found=why, expected="--skip ROW beside it; a remark on a reading is --note")
    if value is None and (note is not None or temperature is not None):
        key = "--note" if note is not None else "--temperature"
        raise InputError("beside which reading?", key=key, expected='a reading such as "15.14 mm"')
    if event is not None and event not in get_args(EventKind):
        kinds = get_args(EventKind)
        problem = f"unknown event{did_you_mean(event, kinds)}"
        raise InputError(problem, key="--event", found=event, expected=listed(kinds, "or"))


def _moment(at: str | None) -> Moment:
    from creepfit.records.moments import moment_or_now

    try:
        return moment_or_now("now" if at is None else at)
    except InputError as error:
        raise error.within(None, "--at") from None
