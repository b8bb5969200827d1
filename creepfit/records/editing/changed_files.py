"""Files that are changed together: each is compared with what was read of it before, and its last state stays beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from creepfit.errors import InputError
from creepfit.records.file_content import read_bytes
from creepfit.records.outputs import BACKUP, write_bytes
from creepfit.records.sheets import WORKBOOK_SUFFIXES


@dataclass
class EditedFile:
    """One of a run's files: what stood in it, and what is to."""

    path: Path
    before: bytes
    after: bytes


def write_changed(files: Sequence[EditedFile]) -> None:
    """Write files, each with its last state beside it as FILE.bak.

    Raises
    ------
    InputError
        One of them changed since it was read, or cannot be written.
    """
    for f in files:
        if read_bytes(f.path, str(f.path)) != f.before:
            raise InputError("the file changed meanwhile", file=str(f.path), expected="the command once more")
    for f in files:
        write_bytes(f.path.with_name(f.path.name + BACKUP), f.before, force=True)
    for f in files:
        write_bytes(f.path, f.after, force=True)


def refuse_open(path: Path) -> None:
    """Raise InputError for a workbook that a spreadsheet program has open: it would be overwritten by that later."""
    if path.suffix.casefold() in WORKBOOK_SUFFIXES and path.with_name(f"~${path.name}").exists():
        raise InputError("open in a spreadsheet program", file=str(path), expected="the workbook saved and closed")
