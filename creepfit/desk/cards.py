"""A card for each run of the folder, from its files alone: how far it is, what moved last, when to read next."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from creepfit.answers.specimen.first_day import first_day
from creepfit.answers.specimen.schedule import default_schedule
from creepfit.answers.wording import clock_time, size
from creepfit.desk.folder import Folder
from creepfit.errors import CreepfitError, InputError
from creepfit.inference.saved import Saved
from creepfit.inference.sources import Source, may_be_run, sources_of
from creepfit.records.begun import BegunRun, UnfinishedRunError
from creepfit.records.editing.additions import Added
from creepfit.records.file_content import read_toml
from creepfit.records.run import Reading, Run
from creepfit.records.sheets import WORKBOOK_SUFFIXES
from creepfit.units import show_number, show_time

SOON = 1.05
"""A time of the schedule closer to the last reading than this factor counts as read."""

ENOUGH = 0.3
"""Share of the time under load for which the recovery was read, from which on a run counts as finished."""

PART_MARKS = ("part", "segment", "elastic", "coil", "crank")


@dataclass(frozen=True)
class Card:
    """What is shown of a run. `state` is "begun", "in progress", "finished" or "unreadable"; `due` in words."""

    name: str
    label: str
    state: str
    test: str = ""
    count: int = 0
    last: str = ""
    change: str = ""
    due: str = ""
    late: bool = False
    problem: str = ""
    clock: datetime | None = None

    def at(self, now: datetime) -> Card:
        """Return the card with its next reading told apart from one that is overdue."""
        if self.clock is None:
            return self
        moment = now if self.clock.tzinfo is None else now.astimezone()
        late = self.clock < moment
        words = f"{'due since' if late else 'due'} {clock_time(self.clock)}"
        return Card(**{**self.__dict__, "late": late, "due": f"{self.due} ({words})" if self.due else words})


class Cards:
    """Cards of a folder; a run is read again only where one of its files is another than before."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self._kept: dict[str, tuple[tuple[tuple[str, int, int, int], ...], tuple[Card, ...]]] = {}

    def all(self, now: datetime | None = None) -> list[Card]:
        """Return the cards: what is in progress first, what is due first among them."""
        now = datetime.now() if now is None else now
        found = [card.at(now) for path in self._files() for card in self._of(path)]
        order = {"in progress": 0, "begun": 1, "unreadable": 2, "finished": 3}
        return sorted(found, key=lambda c: (order[c.state], not c.late, _stamp(c.clock), c.name.casefold()))

    def parts(self) -> list[str]:
        """Return the names of the folder's part files."""
        return [p.name for p in self._paths() if p.suffix.casefold() == ".toml" and _is_part(p)]

    def loose_tables(self) -> list[str]:
        """Return the names of tables that no run takes its readings from."""
        self.all()
        taken = {Path(stamp[0]).name for stamps, cards in list(self._kept.values()) if cards for stamp in stamps}
        suffixes = (".csv", ".tsv", ".txt", *WORKBOOK_SUFFIXES)
        return [p.name for p in self._paths() if p.suffix.casefold() in suffixes and p.name not in taken]

    def _paths(self) -> list[Path]:
        try:
            return sorted(p for p in self.folder.root.iterdir() if p.is_file() and not p.name.startswith((".", "~$")))
        except OSError as error:
            raise InputError(f"cannot be read ({error.strerror or error})", file=str(self.folder.root)) from None

    def _files(self) -> Iterator[Path]:
        for path in self._paths():
            if path.suffix.casefold() in (".toml", *WORKBOOK_SUFFIXES):
                yield path

    def _of(self, path: Path) -> tuple[Card, ...]:
        kept = self._kept.get(path.name)
        if kept is not None and _stamps(Path(s[0]) for s in kept[0]) == kept[0]:
            return kept[1]
        beside, cards = self._read(path)
        self._kept[path.name] = (_stamps((path, *beside)), cards)
        return cards

    def _read(self, path: Path) -> tuple[tuple[Path, ...], tuple[Card, ...]]:
        """Files beside it that a run depends on, and its cards; none where the file is no run."""
        if path.suffix.casefold() == ".toml" and not may_be_run(path):
            return (), ()
        try:
            files = self.folder.files_of(path.name)
        except InputError as error:
            return (), (_spoilt(path.name, error),)
        return files[1:], tuple(_card(source, self.folder) for source in sources_of([path]) if not _no_run(source))


def _no_run(source: Source) -> bool:
    """A workbook without a run: it may hold readings."""
    return source.problem is not None and Path(source.path).suffix.casefold() in WORKBOOK_SUFFIXES


def _is_part(path: Path) -> bool:
    if may_be_run(path):
        return False
    try:
        return any(table in read_toml(path, path.name) for table in PART_MARKS)
    except InputError:
        return False


def _stamps(paths: Iterator[Path] | tuple[Path, ...]) -> tuple[tuple[str, int, int, int], ...]:
    found = []
    for path in paths:
        try:
            status = path.stat()
            found.append((str(path), status.st_mtime_ns, status.st_size, status.st_ino))
        except OSError:
            found.append((str(path), 0, 0, 0))
    return tuple(found)


def _stamp(clock: datetime | None) -> float:
    return math.inf if clock is None else clock.timestamp()


def _spoilt(name: str, error: Exception) -> Card:
    return Card(name, name, "unreadable", problem=" ".join(str(error).split()))


def _card(source: Source, folder: Folder) -> Card:
    name = source.name.removeprefix(f"{folder.root}/").removeprefix(f"{folder.root}\\")
    try:
        read = source.read()
    except UnfinishedRunError as error:
        return _spoilt(name, error) if error.begun is None else _begun(name, error.begun)
    except CreepfitError as error:
        return _spoilt(name, error)
    return of_run(name, read.run if isinstance(read, Saved) else read)


def _begun(name: str, begun: BegunRun) -> Card:
    todo = first_day(begun).next[0]
    text = todo.text.partition(":")[0] if "creepfit add" in todo.text else todo.text.partition(" (")[0]
    last = _shown(begun.counted[-1], begun.unit) if begun.counted else ""
    return Card(name, begun.label, "begun", begun.specimen.describe(), len(begun.counted), last, due=text, clock=todo.clock)


def of_run(name: str, run: Run) -> Card:
    """Return the card of a run that can be fitted."""
    unit, used = run.unit, run.used
    last = used[-1]
    stopped = next((e for e in run.events if e.ends_run), None)
    due, time = ("", None) if stopped is not None else _due(run, last.time)
    clock = None if time is None or run.began is None else run.began + timedelta(seconds=time)
    return Card(
        name,
        run.label,
        "finished" if not due else "in progress",
        run.specimen.describe(),
        len(used),
        f"{_shown(last, unit)} at {_moment(run, last)}",
        _change(run, unit),
        due,
        problem="" if stopped is None else f"{stopped.kind} at {show_time(stopped.at)}",
        clock=clock,
    )


def due_after(added: Added, now: datetime) -> str:
    """Return what is to be read next once an addition is written: what the run's card will say then."""
    if added.run is not None:
        return of_run("", added.run).at(now).due
    begun = None if added.unfinished is None else added.unfinished.begun
    return "" if begun is None else _begun("", begun).at(now).due


def _due(run: Run, last: float) -> tuple[str, float | None]:
    """The next reading of the usual schedule in words, and its time; "" where all is read."""
    off = run.unloading
    under_load, after = default_schedule(off if off is not None and off > 0.0 else "5 d")
    if off is None or last < off - 1.0:
        due = next((t for t in under_load if t > SOON * last), None)
        if due is None:
            return "take the load off, and read what goes back", None
        words = " and take the load off" if due == under_load[-1] else ""
        return f"read {show_time(due)} after loading{words}", due
    if last - off >= ENOUGH * off:
        return "", None
    due = next((t for t in after if t > SOON * max(last - off, 1.0)), None)
    return ("", None) if due is None else (f"read {show_time(due)} after the unloading", off + due)


def _change(run: Run, unit: str) -> str:
    """What came between the last two readings under one load, and how it stands against the gauge's noise."""
    if len(run.used) < 2:
        return ""
    before, last = run.used[-2:]
    load = run.history.at(np.array([before.time, last.time]))
    if load[0] != load[1] or any(before.time <= e.at < last.time for e in run.events):
        return "the load or the zero changed since the reading before"
    step = abs(last.value - before.value)
    noise = math.sqrt(2.0) * math.hypot(run.gauge.repeatability, run.gauge.resolution / math.sqrt(12.0))
    gap = show_time(max(round((last.time - before.time) / 60.0), 1) * 60.0)
    against = f"{show_number(step / noise, digits=2)} times the gauge's noise" if step > 2.0 * noise else "within the noise"
    return f"{size(step, unit, 2)} in {gap}, {against}"


def _moment(run: Run, reading: Reading) -> str:
    if run.began is None:
        return show_time(reading.time) if reading.time > 0.0 else "the beginning"
    return clock_time(run.began + timedelta(seconds=reading.time))


def _shown(reading: Reading, unit: str) -> str:
    return size(reading.value, unit, 5)
