"""From what a user names to runs: run files, saved results, workbooks, and folders of them."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from creepfit.errors import InputError
from creepfit.inference.saved import Saved, is_saved, load_saved
from creepfit.records.file_content import read_toml
from creepfit.records.files import read_run
from creepfit.records.run import Run
from creepfit.records.sheets import WORKBOOK_SUFFIXES
from creepfit.records.workbook import NO_RUN, read_sheets

SHEET = ", sheet "
"""Between a workbook's name and a sheet's, in messages and wherever one run of a workbook is named."""

_RUN_TABLE = re.compile(r"^\s*(\[\s*run\s*\]|run\s*[.=])", re.MULTILINE)
_RUN_ONLY = ("specimen", "gauge", "readings")
"""Tables that a run file has and neither a part file nor a load history."""

SourceKind = Literal["runs", "results"]


@dataclass(frozen=True)
class Source:
    """One run as it was named: a file that is read when asked for, or a sheet that is read already.

    `name` is what messages call it; `run` that of a sheet; `problem` what is wrong with a file that holds none.
    """

    name: str
    path: str
    run: Run | None = None
    problem: InputError | None = None

    def read(self) -> Run | Saved:
        """Read the run.

        Raises
        ------
        InputError
            Any mistake in its file.
        """
        if self.problem is not None:
            raise self.problem
        if self.run is not None:
            return self.run
        return load_saved(self.path) if is_saved(self.path) else read_run(self.path)

    @property
    def stem(self) -> str:
        """Name for a file made from this run, without folder and suffix: "readings", "book-sheet"."""
        sheet = self.name.removeprefix(self.path).removeprefix(SHEET)
        stem = Path(self.path).stem + (f"-{sheet}" if sheet else "")
        return "".join(c if c.isalnum() or c in "-_. " else "-" for c in stem)


def sources_of(paths: Sequence[str | os.PathLike[str]], folders: SourceKind = "runs") -> list[Source]:
    """List the runs that are named.

    Parameters
    ----------
    paths : sequence of paths
        Run files, saved results, workbooks (every sheet that is a run), one sheet of a workbook ("book.xlsx, sheet A"),
        and folders. A file that cannot be used still has its entry, which says so when it is read.
    folders : "runs" or "results"
        What is wanted of a folder: its run files and workbooks, or its saved results (where it has none, its runs). Other
        files in it are passed over, such as part files, and so are folders within; a TOML file that cannot be read is not.

    Raises
    ------
    InputError
        A folder without any, or that cannot be read.
    """
    sources: list[Source] = []
    for path in (os.fspath(p) for p in paths):
        sources += _in_folder(path, folders) if os.path.isdir(path) else _in_file(path)
    return sources


def _in_folder(folder: str, kind: SourceKind) -> list[Source]:
    files = sorted(p for p in Path(folder).iterdir() if p.is_file() and not p.name.startswith((".", "~$")))
    kinds: tuple[SourceKind, ...] = ("results", "runs") if kind == "results" else ("runs",)
    for chosen in kinds:
        sources = [source for file in files if _wanted(file, chosen) for source in _in_file(str(file), within=True)]
        if sources:
            return sources
    expected = "run files, or workbooks with runs" if kind == "runs" else "results written by batch or --save, or run files"
    raise InputError(f"no {'run' if kind == 'runs' else 'result'} in this folder", file=folder, expected=expected)


def _wanted(file: Path, kind: SourceKind) -> bool:
    suffix = file.suffix.casefold()
    if kind == "results":
        return suffix == ".json" and is_saved(file)
    return may_be_run(file) if suffix == ".toml" else suffix in WORKBOOK_SUFFIXES


def may_be_run(file: Path) -> bool:
    """Whether a TOML file is a run or a spoilt one; nobody can say that an unreadable one is of another kind."""
    try:
        if _RUN_TABLE.search(file.read_text(encoding="utf-8", errors="replace")):
            return True  # by far the most, and found faster than by parsing
        data = read_toml(file, str(file))
    except (OSError, InputError):
        return True  # reading it says what is wrong
    return set(data) <= {"format"} or any(table in data for table in _RUN_ONLY)


def _in_file(path: str, within: bool = False) -> Iterator[Source]:
    """The runs of one file; `within` a folder, a workbook without any is passed over: it may hold readings."""
    book, _, sheet = path.partition(SHEET)
    if os.path.exists(path):
        book, sheet = path, ""
    if Path(book).suffix.casefold() not in WORKBOOK_SUFFIXES:
        yield Source(path, path)
        return
    try:
        runs = read_sheets(book)
    except InputError as error:
        if not (within and error.problem == NO_RUN):
            yield Source(path, book, problem=error)
        return
    named = {place: run for place, run in runs.items() if not sheet or place == f"{book}{SHEET}{sheet}"}
    if not named:
        expected = ", ".join(place.removeprefix(f"{book}{SHEET}") for place in runs)
        problem = InputError("no run on such a sheet", file=book, found=sheet, expected=f"one of {expected}")
        yield Source(path, book, problem=problem)
    for place, source in named.items():
        if isinstance(source, InputError):
            yield Source(place, book, problem=source)
        else:
            yield Source(place, book, source)
