"""The folder a desk keeps: names that cannot lead out of it, what a run's files hold now, and the way back of a change."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from creepfit.desk.quiet import Quiet
from creepfit.errors import InputError
from creepfit.inference.sources import SHEET
from creepfit.records.file_content import read_toml
from creepfit.records.outputs import BACKUP, write_bytes
from creepfit.records.sheets import WORKBOOK_SUFFIXES

T = TypeVar("T")
SUFFIXES = (".toml", ".csv", ".txt", ".tsv", *WORKBOOK_SUFFIXES)
"""Files that the desk shows and takes."""


LONG_FILE = 5_000_000
"""Bytes from which on a file is not read to see whether it changed."""


class ChangedError(InputError):
    """A file is not any more what it was when its form was opened; `now` is what stands in it."""

    now: bytes = b""


@dataclass(frozen=True)
class Change:
    """One file before and after; `before` is None where there was none."""

    name: str
    before: bytes | None
    after: bytes


class Folder:
    """Files of one folder. Writing is done by one at a time."""

    def __init__(self, root: Path) -> None:
        self.root = root.resolve()
        self.lock = threading.RLock()
        self.quiet = Quiet()

    def path(self, name: str) -> Path:
        """Return the path of a file of the folder.

        Raises
        ------
        InputError
            A name that leads out of the folder, is hidden, or is of a kind that is none of the desk's.
        """
        path = self.root / name
        expected = "the name of a file in this folder"
        if not name or "\0" in name or Path(name).name != name or "\\" in name or name.startswith((".", "~$")):
            raise InputError("not a file of this folder", found=name, expected=expected)
        if path.suffix.casefold() not in SUFFIXES:
            raise InputError(
                "no kind of file that is kept here", file=name, expected=f"one ending in {', '.join(SUFFIXES)}"
            )
        self.check_within(path, name)
        return path

    def check_within(self, path: Path, name: str) -> None:
        """Raise InputError where a path leads out of the folder, by dots or by a link."""
        try:
            inside = path.resolve().is_relative_to(self.root)
        except (OSError, RuntimeError, ValueError):
            inside = False
        if not inside:
            raise InputError("this leads out of the folder", file=name, expected="a file within the folder of the desk")

    def run_path(self, name: str) -> str:
        """Return a run's path as the rest of the program names it: a file, or "book.xlsx, sheet A"."""
        file, sheet = self.split(name)
        path = self.path(file)
        self.quiet.wait([path])
        if not path.is_file():
            raise InputError("there is no such file", file=file)
        return f"{path}{SHEET}{sheet}" if sheet else str(path)

    def split(self, name: str) -> tuple[str, str]:
        """Return the file and the sheet of a run's name; "" for none."""
        if (self.root / name).exists():
            return name, ""
        file, _, sheet = name.partition(SHEET)
        return file, sheet

    def files_of(self, name: str) -> tuple[Path, ...]:
        """Return the files a run or a part is made of: its own, and those it names.

        Raises
        ------
        InputError
            As `path`; a file that cannot be read, or that takes something from outside the folder.
        """
        file, _ = self.split(name)
        path = self.path(file)
        self.quiet.wait([path])
        if path.suffix.casefold() != ".toml":
            return (path,)
        return (path, *self.files_in(read_toml(path, file)))

    def files_in(self, data: Mapping[str, Any]) -> tuple[Path, ...]:
        """Return the files that the tables of a run or a part name: its readings, its climate.

        Raises
        ------
        InputError
            One of them is outside the folder.
        """
        files = []
        for table in (data.get(name) for name in ("readings", "climate")):
            named = table.get("file") if isinstance(table, dict) else None
            if isinstance(named, str):
                beside = self.root / named
                self.check_within(beside, named)
                files += [beside] if beside.is_file() else []
        return tuple(files)

    def steady(self, name: str, read: Callable[[], T]) -> T:
        """Return what is read of a run or a part whose files stay as they are meanwhile; see `Quiet.steady`."""
        return self.quiet.steady(lambda: self.files_of(name), read)

    def state(self, paths: Iterable[Path]) -> str:
        """Return what stands for the content of files, all together."""
        whole = hashlib.sha256()
        for path in paths:
            whole.update(path.name.encode() + b"\0" + _stamp(path).encode())
        return whole.hexdigest()[:24]

    def run_state(self, name: str) -> str:
        """Return what stands for the content of a run's files."""
        return self.state(self.files_of(name))

    def read(self, name: str) -> bytes | None:
        """Return a file's content, None where there is none."""
        path = self.path(name)
        self.quiet.wait([path])
        return _content(path)

    def replace(self, name: str, content: bytes, opened: str) -> Change:
        """Write a file that is still what it was when its form was opened; its last state stays beside it as FILE.bak.

        Parameters
        ----------
        name : str
        content : bytes
        opened : str
            `mark` of the file then.

        Raises
        ------
        ChangedError
            It is not the same any more.
        """
        with self.lock:
            path, before = self.path(name), self.read(name)
            if mark(before) != opened:
                said = "the file is gone" if before is None else "the file changed meanwhile"
                error = ChangedError(said, file=name, expected="what was typed compared with what stands in it now")
                error.now = before or b""
                raise error
            if before is not None and before != content:
                write_bytes(path.with_name(path.name + BACKUP), before, force=True)
            if before != content:
                write_bytes(path, content, force=before is not None)
                self.quiet.note([path])
            return Change(name, before, content)

    def take_back(self, changes: Mapping[str, tuple[str, str]]) -> tuple[str, ...]:
        """Put files back to their last state: name to the marks of what stands there and of what is to.

        Raises
        ------
        InputError
            One of them was changed again since; then none is put back.
        """
        with self.lock:
            ready = []
            for name, (now, last) in changes.items():
                path = self.root / name
                self.check_within(path, name)
                content = _content(path)
                backup = None if last == mark(None) else _content(path.with_name(path.name + BACKUP))
                if mark(content) != now or mark(backup) != last:
                    raise InputError("changed again since", file=name, expected="a change of the file by hand")
                ready.append((path, content, backup))
            for path, content, _ in ready:  # all of them first: by that they are known to belong together
                assert content is not None
                write_bytes(path.with_name(path.name + BACKUP), content, force=True)
            for path, _, backup in ready:
                if backup is None:
                    path.unlink()
                else:
                    write_bytes(path, backup, force=True)
            self.quiet.note(path for path, _, _ in ready)
            return tuple(changes)


def _stamp(path: Path) -> str:
    """What stands for a file's content: of a logger's, which is long, when it was written and how long it is."""
    try:
        status = path.stat()
    except OSError:
        return mark(None)
    if status.st_size > LONG_FILE:
        return f"{status.st_mtime_ns} {status.st_size} {status.st_ino}"
    return mark(_content(path))


def mark(content: bytes | None) -> str:
    """Return what stands for a file's content; "none" where there is no file."""
    return "none" if content is None else hashlib.sha256(content).hexdigest()[:24]


def token(*parts: str) -> str:
    """Return what stands for several texts together."""
    return mark("\0".join(parts).encode("utf-8", "surrogatepass"))


def _content(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise InputError(f"cannot be read ({error.strerror or error})", file=path.name) from None
