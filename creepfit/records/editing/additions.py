"""What the bench adds to a run, put into the run's own files: a reading, a load, an event, a row to leave out.

Whatever is to be written is read back first, all of it together, and compared with what was there: files change only if
the run then says what it said before and the addition. The file's last state stays beside it as FILE.bak.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from creepfit.errors import InputError
from creepfit.records.begun import UnfinishedRunError
from creepfit.records.build_run import build_run
from creepfit.records.editing.changed_files import EditedFile, refuse_open, write_changed
from creepfit.records.editing.csv_rows import CsvFile
from creepfit.records.editing.row import NewReading, elapsed_text
from creepfit.records.editing.sheet_rows import SheetFile
from creepfit.records.editing.toml_run import TomlRun, clock_or_none
from creepfit.records.fields import validated
from creepfit.records.file_content import decoded, read_bytes, read_toml
from creepfit.records.headers import times_of_steps
from creepfit.records.moments import Clock, Moment, moment
from creepfit.records.run import Run
from creepfit.records.schema import RUN_TABLES, ReadingsTable, RunTable, check_format, table_list
from creepfit.records.sheets import WORKBOOK_SUFFIXES, cells_of, table_in
from creepfit.records.step_table import inline_readings
from creepfit.records.tables import RawReading, Table, moments_of, readings_of
from creepfit.records.workbook import run_of_sheet
from creepfit.units import Kind, quantity

_LOADS: tuple[tuple[str, Kind, str], ...] = (("mass", "mass", "kg"), ("force", "force", "N"), ("stress", "stress", "MPa"))


@dataclass(frozen=True)
class Addition:
    """What is to be added; quantities as typed. `value` is what the gauge showed just before a load changed.

    With `correct`, a row of the table or a place in the list, `value` takes the place of what stands there.
    """

    at: Moment
    value: str | None = None
    temperature: str | None = None
    note: str | None = None
    load: str | None = None
    unload: bool = False
    event: str | None = None
    skip: int | None = None
    why: str | None = None
    correct: int | None = None


@dataclass(frozen=True)
class Added:
    """What was written: sentences, the files that changed, the run as it reads now (None: too short to be fitted), and the
    place of a new reading.
    """

    said: tuple[str, ...]
    files: tuple[str, ...]
    run: Run | None
    unfinished: UnfinishedRunError | None
    where: str | None


@dataclass(frozen=True)
class Prepared:
    """An addition that was tried and not written yet: `added` is what writing it comes to."""

    added: Added
    files: tuple[EditedFile, ...]

    def write(self) -> Added:
        """Write what changes, each file with its last state beside it.

        Raises
        ------
        InputError
            A file changed meanwhile, or cannot be written.
        """
        write_changed(self.files)
        return self.added


def add_to(path: str, addition: Addition) -> Added:
    """Write an addition into a run's files.

    Parameters
    ----------
    path : str
        A run file, or a workbook with a run on its only (or a named) sheet: "book.xlsx, sheet A".
    addition : Addition

    Raises
    ------
    InputError
        Any mistake in what is added or in the run; then nothing is written.
    """
    return prepare(path, addition).write()


def prepare_all(path: str, additions: Mapping[str, Addition]) -> Prepared:
    """Try several additions one after another, to be written together or not at all; `added` is about the last.

    Parameters
    ----------
    path : str
        As of `add_to`.
    additions : mapping
        By what each is called in a message, such as "row 3".

    Raises
    ------
    InputError
        The first mistake, with the name of its addition.
    """
    held: dict[Path, bytes] = {}
    before: dict[Path, bytes] = {}
    said: list[str] = []
    for name, addition in additions.items():
        try:
            last = prepare(path, addition, held)
        except InputError as error:
            raise error.within(None, name) from None
        said += last.added.said
        for file in last.files:
            before.setdefault(file.path, file.before)
            held[file.path] = file.after
    files = tuple(EditedFile(place, before[place], content) for place, content in held.items())
    names = tuple(str(f.path) for f in files)
    return Prepared(replace(last.added, said=tuple(said), files=names), files)


def prepare(path: str, addition: Addition, held: Mapping[Path, bytes] | None = None) -> Prepared:
    """Try an addition without writing it; see `add_to`. What is in `held` stands for the content of a file."""
    held = {} if held is None else held
    book, _, sheet = path.partition(", sheet ")
    if Path(book).suffix.casefold() in WORKBOOK_SUFFIXES:
        return _prepare_workbook(Path(book), sheet or None, addition, held)
    main = Path(path)
    read_toml(main, path)  # says what is wrong with it
    content = held.get(main) or read_bytes(main, path)
    edited = TomlRun(decoded(content, path), path)
    check_format(edited.data, path, RUN_TABLES)
    clock = file_clock(edited.data, path)
    files = [EditedFile(main, content, content)]
    table, own = _readings(edited.data, path, main.parent, held)
    if own is not None:
        files.append(own)
    if times_of_steps(table.header):
        expected = "the reading typed into its cell by hand"
        raise InputError("a table of steps", file=changed_name(files, own), expected=expected)
    before = readings_of(table)
    said: list[str] = []
    if addition.skip is not None:
        _skip(addition, edited, own, table)
        said.append(f"left out {'row' if own else 'reading'} {addition.skip}: {addition.why}")
    if addition.correct is not None:
        _correct(addition, edited, own)
        said.append(f"{'row' if own else 'reading'} {addition.correct} is {addition.value}")
    elif addition.value is not None:
        _add_reading(addition, edited, own, table, clock)
    said += _changes(addition, edited, clock, table, path)
    files[0].after = edited.dumped().encode("utf-8")
    new_data = edited.data
    new_table = _table_of(new_data, path, own)
    where = _check_same(before, readings_of(new_table), addition, path)
    run, unfinished = _built(new_data, new_table, path)
    if addition.value is not None and addition.correct is None:
        said.insert(0, f"{addition.value} at {_said_at(addition.at)} in {changed_name(files, own)}")
    return _prepared(files, said, run, unfinished, where)


def _prepared(
    files: list[EditedFile], said: list[str], run: Run | None, unfinished: UnfinishedRunError | None, where: str | None
) -> Prepared:
    changed = tuple(f for f in files if f.after != f.before)
    return Prepared(Added(tuple(said), tuple(str(f.path) for f in changed), run, unfinished, where), changed)


def changed_name(files: list[EditedFile], own: EditedFile | None) -> str:
    """Return the file that readings stand in."""
    return str(own.path if own is not None else files[0].path)


def file_clock(data: dict[str, Any], file: str) -> Clock | None:
    """Return the clock of a file from its start and its first load; None where it has neither yet."""
    start = validated(RunTable, data.get("run"), file=file, key="run").start
    zero = start if isinstance(start, datetime) else None
    for i, entry in enumerate(table_list(data, "load", file), start=1):
        if isinstance(entry, dict) and "at" in entry and _load_value(entry) != 0.0:
            try:
                return Clock.of(moment(entry["at"]), zero, [])
            except InputError as error:
                raise error.within(file, f"load {i}, at") from None
    return None if zero is None else Clock(zero, 0.0)


def _load_value(entry: dict[str, Any]) -> float | None:
    for key, kind, _ in _LOADS:
        if key in entry:
            try:
                return quantity(entry[key], kind)
            except InputError:
                return None
    return None


def _readings(data: dict[str, Any], file: str, folder: Path, held: Mapping[Path, bytes]) -> tuple[Table, EditedFile | None]:
    """The table of readings, and the file it stands in where that is not the run file."""
    given = data.get("readings", {})
    validated(ReadingsTable, given, file=file, key="readings")
    if isinstance(given.get("file"), str):
        path = folder / given["file"]
        if not os.path.exists(path):  # False also for a name too long
            problem = "there is no such file"
            raise InputError(problem, file=file, key="readings.file", found=given["file"])
        content = held.get(path) or read_bytes(path, str(path))
        refuse_open(path)
        own = EditedFile(path, content, content)
        return _table_of(data, file, own), own
    return _table_of(data, file, None), None


def _table_of(data: dict[str, Any], file: str, own: EditedFile | None) -> Table:
    if own is None:
        inline = {k: v for k, v in data.get("readings", {}).items() if k not in ("file", "sheet")}
        return inline_readings(inline, data, file) if inline else Table(file, ("time", "reading"), ())
    if own.path.suffix.casefold() in WORKBOOK_SUFFIXES:
        return table_in(cells_of(own.after, str(own.path)), str(own.path), data["readings"].get("sheet"))
    return CsvFile.of(own.after, str(own.path)).table


def _skip(addition: Addition, edited: TomlRun, own: EditedFile | None, table: Table) -> None:
    assert addition.skip is not None
    why = " ".join((addition.why or "").split())
    if not why:
        raise InputError(
            "a reading is left out only for a reason", key="--why", expected='such as --why "gauge was touched"'
        )
    if own is None:
        edited.skip(addition.skip, why)
    elif own.path.suffix.casefold() in WORKBOOK_SUFFIXES:
        own.after = SheetFile(own.after, _sheet_name(table), table, str(own.path)).with_skip(addition.skip, why)
    else:
        own.after = CsvFile.of(own.after, str(own.path)).with_skip(addition.skip, why).content


def _correct(addition: Addition, edited: TomlRun, own: EditedFile | None) -> None:
    assert addition.correct is not None
    if addition.value is None:
        raise InputError("nothing to put in its place", key="VALUE", expected='a reading such as "15.14 mm"')
    if own is None:
        edited.correct(addition.correct, addition.value)
    elif own.path.suffix.casefold() in WORKBOOK_SUFFIXES:
        expected = "the cell typed anew in the workbook"
        raise InputError("readings of a workbook are not corrected by this", file=str(own.path), expected=expected)
    else:
        own.after = CsvFile.of(own.after, str(own.path)).with_value(addition.correct, addition.value).content


def _add_reading(addition: Addition, edited: TomlRun, own: EditedFile | None, table: Table, clock: Clock | None) -> None:
    assert addition.value is not None
    new = NewReading(addition.value, addition.at, addition.temperature, addition.note)
    if own is None:
        edited.add_reading(new, clock)
    elif own.path.suffix.casefold() in WORKBOOK_SUFFIXES:
        own.after = SheetFile(own.after, _sheet_name(table), table, str(own.path)).with_reading(new, clock)
    else:
        own.after = CsvFile.of(own.after, str(own.path)).with_reading(new, clock).content


def _sheet_name(table: Table) -> str:
    return (table.file or "").partition(", sheet ")[2]


def _changes(addition: Addition, edited: TomlRun, clock: Clock | None, table: Table, file: str) -> list[str]:
    """Put in loads and events; say so."""
    said = []
    if addition.load is not None:
        key = next((k for k, kind, _ in _LOADS if _is(addition.load, kind)), None)
        if key is None:
            quantity(addition.load, "mass", key="--loaded")
            raise AssertionError("a mass is a load")
        at = edited.add_table("load", addition.at, clock, [(key, addition.load.strip())])
        said.append(f"the load is {addition.load.strip()} from {at} on, in {file}")
    if addition.unload:
        said.append(_unloaded(addition.at, edited, clock, table, file))
    if addition.event is not None:
        at = edited.add_table("event", addition.at, clock, [("kind", addition.event)])
        said.append(f"{addition.event} at {at}, in {file}")
    return said


def _is(text: str, kind: Kind) -> bool:
    try:
        quantity(text, kind)
    except InputError:
        return False
    return True


def _unloaded(at: Moment, edited: TomlRun, clock: Clock | None, table: Table, file: str) -> str:
    """Note that the load came off; an unloading that was planned and not read yet is moved to when it happened."""
    loads = table_list(edited.data, "load", file)
    if not loads:
        raise InputError("there is no load that could come off", file=file, key="load", expected='--loaded "0.4 kg" first')
    last, index = loads[-1], len(loads) - 1
    if _load_value(last) == 0.0:
        planned = clock_or_none(moment(last["at"]), clock)
        read = [t for _, m in moments_of(table) if (t := clock_or_none(m, clock)) is not None]
        if planned is not None and any(t > planned for t in read):
            when = str(last["at"])
            raise InputError("the load came off already", file=file, key=f"load {index + 1}", found=when)
        where = edited.move_table("load", index, at, clock)
        return f"the load came off at {where} (noted as {last['at']} before), in {file}"
    known = [(k, u) for k, _, u in _LOADS if k in last]
    if not known:
        where, expected = f"load {index + 1}", 'what comes off, such as mass = "0.4 kg"'
        raise InputError("no load", file=file, key=where, found=", ".join(last) or None, expected=expected)
    key, unit = known[0]
    where = edited.add_table("load", at, clock, [(key, f"0 {unit}")])
    return f"the load came off at {where}, in {file}"


def _built(data: dict[str, Any], table: Table, file: str) -> tuple[Run | None, UnfinishedRunError | None]:
    try:
        return build_run(data, table, file), None
    except UnfinishedRunError as error:
        return None, error


def _check_same(before: tuple[RawReading, ...], after: tuple[RawReading, ...], addition: Addition, file: str) -> str | None:
    """Return the place of the new reading, if any; refuse to write where anything else would change."""
    old = Counter((str(r.moment), r.values) for r in before)
    new = [r for r in after if not _taken(old, (str(r.moment), r.values))]
    if addition.correct is not None:
        if old.total() == len(new) <= 1:  # none where the same was typed again
            return new[0].where if new else None
        new = []
    if old.total() or len(new) != (0 if addition.value is None else 1):
        expected = "the row typed into the table by hand"
        raise InputError("this table cannot be changed without touching other rows", file=file, expected=expected)
    return new[0].where if new else None


def _taken(count: Counter[tuple[str, tuple[float, ...]]], entry: tuple[str, tuple[float, ...]]) -> bool:
    """Whether an entry was still to be met; it is struck off."""
    if count[entry] <= 0:
        return False
    count[entry] -= 1
    return True


def _said_at(at: Moment) -> str:
    return elapsed_text(at) if isinstance(at, float) else f"{at:%Y-%m-%d %H:%M}"


def _prepare_workbook(book: Path, sheet: str | None, addition: Addition, held: Mapping[Path, bytes]) -> Prepared:
    """Add to a run on a sheet; loads and events stand in the midst of it, so they are typed by hand."""
    file = str(book)
    if addition.load is not None or addition.unload or addition.event is not None:
        block = "event" if addition.event is not None else "load"
        expected = f"a row typed into the block [{block}] of the sheet"
        raise InputError("loads and events of a workbook are not written by this command", file=file, expected=expected)
    refuse_open(book)
    content = held.get(book) or read_bytes(book, file)
    cells = cells_of(content, file)
    name, data, table = run_of_sheet(cells, file, sheet)
    clock = file_clock(data, file)
    own = EditedFile(book, content, content)
    before = readings_of(table)
    sheet_file = SheetFile(own.after, name, table, file)
    said = []
    if addition.correct is not None:
        raise InputError(
            "readings of a workbook are not corrected by this", file=file, expected="the cell typed anew in the workbook"
        )
    if addition.skip is not None:
        why = " ".join((addition.why or "").split())
        if not why:
            expected = 'such as --why "gauge was touched"'
            raise InputError("a reading is left out only for a reason", key="--why", expected=expected)
        own.after = sheet_file.with_skip(addition.skip, why)
        said.append(f"left out row {addition.skip}: {why}")
    if addition.value is not None:
        new = NewReading(addition.value, addition.at, addition.temperature, addition.note)
        own.after = SheetFile(own.after, name, table, file).with_reading(new, clock)
        said.append(f"{addition.value} at {_said_at(addition.at)} in {file}")
    _, new_data, new_table = run_of_sheet(cells_of(own.after, file), file, name)
    where = _check_same(before, readings_of(new_table), addition, file)
    run, unfinished = _built(new_data, new_table, table.file or file)
    return _prepared([own], said, run, unfinished, where)
