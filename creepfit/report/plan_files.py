"""What a planned test takes to the bench: its run file, a sheet to print, reminders for a calendar, a page."""

from __future__ import annotations

import os
from datetime import datetime, timedelta
from pathlib import Path

import tomlkit

from creepfit.answers.heading import program_version
from creepfit.answers.plan.planned_reading import PlannedReading
from creepfit.answers.plan.proposal import PlannedTest
from creepfit.answers.wording import clock_time, time_words
from creepfit.errors import InputError
from creepfit.records.outputs import write_bytes, write_kept
from creepfit.report.text.plan import sheet_text
from creepfit.units import MINUTE

SUFFIXES = (".toml", ".txt", ".ics", ".html")


def check_plan_file(path: str | os.PathLike[str], plan_is_dated: bool = True) -> None:
    """Refuse a kind of file that a plan is not written as.

    Raises
    ------
    InputError
    """
    suffix = Path(path).suffix.casefold()
    if suffix not in SUFFIXES:
        expected = ".toml (run file), .txt (sheet to print), .ics (calendar) or .html (page)"
        raise InputError(file=os.fspath(path), key="output", found=suffix or "no ending", expected=expected)
    if suffix == ".ics" and not plan_is_dated:
        raise InputError(
            "a calendar needs a day", file=os.fspath(path), key="--begin", expected='a date such as "2031-05-05"'
        )


def write_plan(plan: PlannedTest, path: str | os.PathLike[str], force: bool = False) -> str:
    """Write a plan as what the ending of a path says, whole or not at all, and say so.

    A run file that it replaces, which may hold readings, is kept beside it.

    Raises
    ------
    InputError, OutputExistsError
        As `check_plan_file` and `records.outputs.write_bytes`.
    """
    check_plan_file(path, plan.dated)
    suffix = Path(path).suffix.casefold()
    if suffix == ".ics":
        content = calendar(plan)
    elif suffix == ".toml":
        content = run_file(plan).encode("utf-8")
    elif suffix == ".txt":
        content = (sheet_text(plan) + "\n").encode("utf-8")
    else:
        from creepfit.report.page.plan import plan_page

        content = plan_page(plan).encode("utf-8")
    if suffix == ".toml":
        return write_kept(path, content, force)
    write_bytes(path, content, force)
    return f"wrote {os.fspath(path)}"


def run_file(plan: PlannedTest) -> str:
    """The run file with times and no readings yet; what is empty there is passed over until it is filled in."""
    tables = {name: table for name, table in plan.tables.items() if name not in ("format", "readings", "load")}
    if plan.dated:
        tables["run"] = {**tables["run"], "start": f"{plan.begin:%Y-%m-%d %H:%M}"}
    loads = [
        {"at": "0 s", plan.load.key: plan.load.text},
        {"at": _exact(plan.unload_at), plan.load.key: plan.load.none},
    ]
    times = ", ".join(f'"{_exact(r.time)}"' for r in plan.readings)
    blank = ", ".join('""' for _ in plan.readings)
    lines = [
        "# A planned run: write each reading into its place, or add it with creepfit add FILE VALUE.",
        "# "
        + ("" if plan.dated else "Begin on a ")
        + f"{_day(plan)}; {plan.load.text} on the specimen, {plan.hours.words}.",
        "format = 1",
        "",
        tomlkit.dumps(tables).strip(),
        "",
        *(line for load in loads for line in ("[[load]]", tomlkit.dumps(load).strip(), "")),
        "[readings]",
        f"time = [{times}]",
        f"reading = [{blank}]",
    ]
    return "\n".join(lines) + "\n"


def _day(plan: PlannedTest) -> str:
    return clock_time(plan.begin) if plan.dated else f"{plan.begin:%A, %H:%M}"


def _exact(seconds: float) -> str:
    """A time that reads back as the same to the minute."""
    minutes = round(abs(seconds) / MINUTE)
    days, rest = divmod(minutes, 1440)
    hours, left = divmod(rest, 60)
    parts = [f"{count} {unit}" for count, unit in ((days, "d"), (hours, "h"), (left, "min")) if count]
    return ("-" if seconds < 0.0 else "") + (" ".join(parts) or "0 s")


def calendar(plan: PlannedTest) -> bytes:
    """Reminders as an iCalendar file (RFC 5545), one for each time somebody has to be there, in local time."""
    from icalendar import Alarm, Calendar, Event

    events = Calendar()
    events.add("prodid", f"-//creepfit {program_version()}//EN")
    events.add("version", "2.0")
    for number, (when, what) in enumerate(_tasks(plan)):
        event = Event()
        event.add("uid", f"{plan.seed}-{plan.begin:%Y%m%d%H%M}-{number}@creepfit")
        event.add("dtstamp", plan.begin)
        event.add("dtstart", when)
        event.add("dtend", when + timedelta(minutes=5))
        event.add("summary", f"{plan.label}: {what}")
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", what)
        alarm.add("trigger", timedelta(minutes=-5))
        event.add_component(alarm)
        events.add_component(event)
    return bytes(events.to_ical())


def _tasks(plan: PlannedTest) -> list[tuple[datetime, str]]:
    tasks = [
        (
            plan.begin - timedelta(minutes=10),
            f"read the gauge three times, then put {plan.load.text} on at {plan.begin:%H:%M}",
        )
    ]
    for r in plan.readings:
        if r.time > 0.0 and r.clock is not None:
            last = abs(r.time - plan.unload_at) < 1.0
            tasks.append((r.clock, _what(r) + (", then take the load off" if last else "")))
    return tasks


def _what(reading: PlannedReading) -> str:
    if reading.after is None:
        return f"read the gauge, {time_words(reading.time)} after loading"
    return f"read the gauge, {time_words(reading.after)} after unloading"
