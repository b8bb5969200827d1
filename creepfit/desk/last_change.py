"""The last change of a run or a part, by what stands beside its files: the way back where the desk was started anew."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from creepfit.answers.wording import clock_time
from creepfit.desk.folder import Folder, mark, token
from creepfit.errors import InputError
from creepfit.records.file_content import encoding_of
from creepfit.records.outputs import BACKUP
from creepfit.records.sheets import WORKBOOK_SUFFIXES

TOGETHER = 10.0
"""Seconds from a backup to its file within which the file was written by this program: later it is a change of others."""

MOST_LINES = 12
MOST_COMPARED = 2000
"""Lines; the time that comparing takes grows with their square."""


@dataclass(frozen=True)
class LastChange:
    """Files that were changed together: marks of what stands in each now and before, when, and which lines differ."""

    marks: dict[str, tuple[str, str]]
    when: str
    lines: tuple[str, ...]

    @property
    def state(self) -> str:
        """What stands for all of it together."""
        return token(*(f"{name} {now} {before}" for name, (now, before) in self.marks.items()))


def last_change(folder: Folder, files: Iterable[Path]) -> LastChange | None:
    """Return the last change that was written by this program and can be taken back; None where there is none.

    A file's last state stands beside it as FILE.bak. Backups of one change are all written before any of its files.
    """
    written = {}
    for path in files:
        backup = path.with_name(path.name + BACKUP)
        try:
            began, ended = backup.stat().st_mtime, path.stat().st_mtime
        except OSError:
            continue
        if 0.0 <= ended - began < TOGETHER:
            written[path] = (began, ended)
    newest = max((began for began, _ in written.values()), default=0.0)
    marks: dict[str, tuple[str, str]] = {}
    lines: list[str] = []
    for path, (_, ended) in written.items():
        if ended < newest:
            continue
        try:
            now, before = path.read_bytes(), path.with_name(path.name + BACKUP).read_bytes()
        except OSError as error:
            raise InputError(f"cannot be read ({error.strerror or error})", file=path.name) from None
        if now != before:
            marks[str(path.relative_to(folder.root))] = (mark(now), mark(before))
            lines += _difference(path.name, before, now)
    if not marks:
        return None
    more = [f"and {len(lines) - MOST_LINES} lines more"] if len(lines) > MOST_LINES else []
    return LastChange(marks, clock_time(datetime.fromtimestamp(newest)), (*lines[:MOST_LINES], *more))


def _difference(name: str, before: bytes, now: bytes) -> list[str]:
    if Path(name).suffix.casefold() in WORKBOOK_SUFFIXES:
        return [f"{name}: another workbook"]
    old, new = (content.decode(encoding_of(content), "replace").splitlines() for content in (before, now))
    same = _alike(old, new)
    old, new = old[same:], new[same:]
    ends = _alike(old[::-1], new[::-1])
    old, new = old[: len(old) - ends], new[: len(new) - ends]
    if max(len(old), len(new)) > MOST_COMPARED:
        return [f"{name}: {len(old)} lines became {len(new)}"]
    changed = [
        line for line in difflib.unified_diff(old, new, n=0, lineterm="") if not line.startswith(("+++", "---", "@@"))
    ]
    return [f"{name}: {line[0].replace('-', '−')} {line[1:]}" for line in changed]


def _alike(old: list[str], new: list[str]) -> int:
    """How many lines the two begin with alike."""
    return next((i for i, (a, b) in enumerate(zip(old, new, strict=False)) if a != b), min(len(old), len(new)))
