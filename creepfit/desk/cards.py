"""A card for each run of the folder, from its files alone: how far it is, what moved last, when to read next."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from creepfit.answers.wording import as_read, clock_time, size
from creepfit.desk.due import Due, dues_of_begun, dues_of_run, left_to_do
from creepfit.desk.folder import Folder
from creepfit.desk.quiet import HALF_WRITTEN, Stamp, stamps
from creepfit.errors import CreepfitError, InputError
from creepfit.inference.saved import Saved
from creepfit.inference.sources import Source, may_be_run, sources_of
from creepfit.records.begun import BegunRun, UnfinishedRunError
from creepfit.records.editing.additions import Added
from creepfit.records.file_content import read_toml
from creepfit.records.files import run_of_tables
from creepfit.records.run import Reading, Run
from creepfit.records.sheets import WORKBOOK_SUFFIXES
from creepfit.units import show_time

TABLES = (".csv", ".tsv", ".txt")
PART_MARKS = ("part", "segment", "elastic", "coil", "crank")


@dataclass(frozen=True)
class Card:
    """What is shown of a run. `state` is "begun", "in progress", "finished" or "unreadable"; `due` in words.

    `problem` is why it cannot be read, `ended` what ended it before its time.
    """

    name: str
    label: str
    state: str
    test: str = ""
    count: int = 0
    last: str = ""
    change: str = ""
    problem: str = ""
    ended: str = ""
    dues: tuple[Due, ...] = ()
    due: str = ""
    late: bool = False
    clock: datetime | None = None

    def at(self, now: datetime) -> Card:
        """Return the card with what is to be read next, told apart from what is overdue."""
        left = left_to_do(self.dues, now)
        if not left:
            return self
        return replace(self, due=left[0].said(now), late=left[0].is_late(now), clock=left[0].clock)


@dataclass(frozen=True)
class Kept:
    """The cards of one file, whether it is a part, and the stamps of the files that this was read of."""

    stamps: tuple[Stamp, ...]
    cards: tuple[Card, ...] = ()
    is_part: bool = False

    def has_lost(self, before: Kept) -> bool:
        """Whether less can be read than before, as of half a file."""
        spoilt, known = ({c.name for c in looked.cards if c.state == "unreadable"} for looked in (self, before))
        fewer = sum(c.count for c in self.cards) < sum(c.count for c in before.cards)
        return fewer or bool(spoilt - known) or (before.is_part and not self.is_part)


class Cards:
    """Cards of a folder; a run is read again only where one of its files is another than before."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self._kept: dict[str, Kept] = {}

    def all(self, now: datetime | None = None) -> list[Card]:
        """Return the cards: what is in progress first, what is due first among them."""
        now = datetime.now() if now is None else now
        cards = [card.at(now) for looked in self._looked() for card in looked.cards]
        order = {"in progress": 0, "begun": 1, "unreadable": 2, "finished": 3}
        return sorted(cards, key=lambda c: (order[c.state], not c.late, _stamp(c.clock), c.name.casefold()))

    def parts(self) -> list[str]:
        """Return the names of the folder's part files."""
        return [Path(looked.stamps[0][0]).name for looked in self._looked() if looked.is_part]

    def loose_tables(self) -> list[str]:
        """Return the names of tables that no run takes its readings from."""
        taken = {Path(stamp[0]).name for looked in self._looked() if looked.cards for stamp in looked.stamps}
        return [
            p.name for p in self._paths() if p.suffix.casefold() in (*TABLES, *WORKBOOK_SUFFIXES) and p.name not in taken
        ]

    def texts(self) -> list[str]:
        """Return the names of files that can be changed as text."""
        return [p.name for p in self._paths() if p.suffix.casefold() in (".toml", *TABLES)]

    def _paths(self) -> list[Path]:
        try:
            with os.scandir(self.folder.root) as entries:
                names = sorted(e.name for e in entries if not e.name.startswith((".", "~$")) and e.is_file())
        except OSError as error:
            raise InputError(f"cannot be read ({error.strerror or error})", file=str(self.folder.root)) from None
        return [self.folder.root / name for name in names]

    def _looked(self) -> list[Kept]:
        """What every file is now, by its name."""
        files, known = self._files(), dict(self._kept)  # copies: other pages look at the same time
        changed = {name: path for name, path in files.items() if not self._is_kept(name)}
        gone = [self.folder.root / name for name in known if name not in files]
        if changed or gone:
            beside = [Path(s[0]) for name in changed if name in known for s in known[name].stamps]
            self.folder.quiet.wait([*changed.values(), *beside, *gone])  # all together, not one after the other
            files = self._files()
            for name in set(known) - set(files):
                self._kept.pop(name, None)
        for name in changed:
            self._look(name)
        known = dict(self._kept)
        return [known[name] for name in files if name in known]

    def _files(self) -> dict[str, Path]:
        return {p.name: p for p in self._paths() if p.suffix.casefold() in (".toml", *WORKBOOK_SUFFIXES)}

    def _is_kept(self, name: str) -> bool:
        looked = self._kept.get(name)
        return looked is not None and stamps(Path(s[0]) for s in looked.stamps) == looked.stamps

    def _look(self, name: str) -> None:
        """Read a file anew; what lost something the moment it changed may be half of it, and waits for the next look."""
        state, last = self._read(self.folder.root / name), self._kept.get(name)
        since = self.folder.quiet.since(Path(s[0]) for s in state.stamps)
        if last is None or since >= HALF_WRITTEN or not state.has_lost(last):
            self._kept[name] = state

    def _read(self, path: Path) -> Kept:
        """What a file is. Stamps are those from before it was read: where it changes meanwhile it is read once more."""
        before = stamps([path])
        if path.suffix.casefold() != ".toml":
            return Kept(before, tuple(self._card(s.name, s.read) for s in sources_of([path]) if not _no_run(s)))
        if not may_be_run(path):
            return Kept(before, is_part=_is_part(path))
        try:
            data = read_toml(path, str(path))
            before += stamps(self.folder.files_in(data))
        except InputError as error:
            return Kept(before, (self._spoilt(path.name, error),))
        return Kept(before, (self._card(str(path), lambda: run_of_tables(data, path)),))

    def _card(self, name: str, read: Callable[[], Run | Saved]) -> Card:
        name = name.removeprefix(f"{self.folder.root}{os.sep}")
        try:
            run = read()
        except UnfinishedRunError as error:
            return self._spoilt(name, error) if error.begun is None else _begun(name, error.begun)
        except CreepfitError as error:
            return self._spoilt(name, error)
        return of_run(name, run.run if isinstance(run, Saved) else run)

    def _spoilt(self, name: str, error: Exception) -> Card:
        problem = " ".join(str(error).split()).replace(f"{self.folder.root}{os.sep}", "")
        return Card(name, name, "unreadable", problem=problem)


def _no_run(source: Source) -> bool:
    """A workbook without a run: it may hold readings."""
    return source.problem is not None and Path(source.path).suffix.casefold() in WORKBOOK_SUFFIXES


def _is_part(path: Path) -> bool:
    try:
        return any(table in read_toml(path, path.name) for table in PART_MARKS)
    except InputError:
        return False


def _stamp(clock: datetime | None) -> float:
    return math.inf if clock is None else clock.timestamp()


def _begun(name: str, begun: BegunRun) -> Card:
    last = as_read(begun.counted[-1].value, begun.gauge, begun.unit) if begun.counted else ""
    count = len(begun.counted)
    return Card(name, begun.label, "begun", begun.specimen.describe(), count, last, dues=dues_of_begun(begun))


def of_run(name: str, run: Run) -> Card:
    """Return the card of a run that can be fitted."""
    unit, used = run.unit, run.used
    last = used[-1]
    stopped = next((e for e in run.events if e.ends_run), None)
    dues = dues_of_run(run)
    return Card(
        name,
        run.label,
        "in progress" if dues else "finished",
        run.specimen.describe(),
        len(used),
        f"{as_read(last.value, run.gauge, unit)} at {_moment(run, last)}",
        _change(run, unit),
        ended="" if stopped is None else f"{stopped.kind} {show_time(stopped.at)} after loading".capitalize(),
        dues=dues,
    )


def due_after(added: Added, now: datetime) -> str:
    """Return what is to be read next once an addition is written: what the run's card will say then."""
    if added.run is not None:
        return of_run("", added.run).at(now).due
    begun = None if added.unfinished is None else added.unfinished.begun
    return "" if begun is None else _begun("", begun).at(now).due


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
    against = "more than the gauge's noise" if step > 2.0 * noise else "within the gauge's noise"
    return f"{size(step, unit, 2)} in {gap}, {against}"


def _moment(run: Run, reading: Reading) -> str:
    if run.began is None:
        return show_time(reading.time) if reading.time > 0.0 else "the beginning"
    return clock_time(run.began + timedelta(seconds=reading.time))
