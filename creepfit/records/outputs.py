"""Files that are written whole or not at all, and never over another one unless that was asked for."""

from __future__ import annotations

import contextlib
import functools
import hashlib
import itertools
import os
import platform
import re
import tempfile
from collections.abc import Iterator
from pathlib import Path

from creepfit.errors import InputError, OutputExistsError

BACKUP = ".bak"


def write_kept(path: str | os.PathLike[str], content: bytes, force: bool = False) -> str:
    """Write a file of a kind that people type into; one that it replaces stays beside it, under a name that is free.

    Parameters
    ----------
    path, content, force
        As `write_bytes`.

    Returns
    -------
    str
        What is to be said of it: which file was written, and where the last state is.

    Raises
    ------
    OutputExistsError, InputError
        As `write_bytes`.
    """
    shown = os.fspath(path)
    check_writable(path, force)
    with _complaining(shown):
        before = Path(path).read_bytes() if os.path.isfile(shown) else content
    if before == content:
        write_bytes(path, content, force)
        return f"wrote {shown}"
    names = (f"{shown}{BACKUP}{number or ''}" for number in itertools.chain([0], itertools.count(2)))
    kept = next(name for name in names if not os.path.lexists(name))
    write_bytes(kept, before)
    write_bytes(path, content, force)
    return f"wrote {shown} (last state kept in {kept})"


def write_text(path: str | os.PathLike[str], text: str, force: bool = False) -> None:
    """Write a text file as UTF-8; see `write_bytes`."""
    write_bytes(path, text.encode("utf-8"), force)


def write_bytes(path: str | os.PathLike[str], content: bytes, force: bool = False) -> None:
    """Write a file under a temporary name beside its place, then move it there in one step.

    Parameters
    ----------
    path : path
        Where to; its directory must exist.
    content : bytes
    force : bool
        Replace a file that is already there.

    Raises
    ------
    OutputExistsError
        The file exists and `force` is false.
    InputError
        It cannot be written: a directory, no such directory, no permission, no space.
    """
    shown = os.fspath(path)
    check_writable(path, force)
    with _complaining(shown):
        if os.path.exists(shown) and not os.path.isfile(shown):  # a pipe or a terminal: nothing can be moved there
            Path(path).write_bytes(content)
            return
        target = Path(path).resolve()  # so that a link goes on pointing at the file it points at
        mode = target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~_umask()
        _remove_left_over(target.parent)
        handle, name = tempfile.mkstemp(prefix=f"{_PREFIX}{os.getpid()}-", suffix=_SUFFIX, dir=target.parent)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(content)
                stream.flush()
                os.fsync(stream.fileno())
            os.chmod(name, mode)
            os.replace(name, target)
        except BaseException:
            with contextlib.suppress(OSError):
                os.unlink(name)
            raise


def check_writable(path: str | os.PathLike[str], force: bool = False) -> None:
    """Refuse a place that cannot be written to, before any long work is done for it.

    Raises
    ------
    OutputExistsError, InputError
        As `write_bytes`.
    """
    shown = os.fspath(path)
    if not shown:
        raise InputError("no name", expected="the name of a file to write")
    with _complaining(shown):
        target = Path(path).resolve()
        if target.is_dir() or shown.endswith(("/", os.sep)):
            raise InputError("this is a directory", file=shown, expected="the name of a file to write")
        if not target.parent.is_dir():
            parent = str(Path(path).parent)
            raise InputError("there is no such directory", file=parent, expected="one that exists")
        exists = target.is_file()
    if exists and not force:
        raise OutputExistsError("the file exists already", file=shown, expected="another name, or --force to replace it")


def made_folder(folder: str | os.PathLike[str], expected: str, parents: bool = False) -> Path:
    """The folder, made where it does not exist; those above it too, if asked for.

    Raises
    ------
    InputError
        No name, a file, or it cannot be made; `expected` says what it is for.
    """
    target, shown = Path(folder), os.fspath(folder)
    if not shown:
        raise InputError("no name", expected=expected)
    if os.path.exists(target) and not target.is_dir():
        raise InputError("this is no folder", file=shown, expected=expected)
    if not parents and not os.path.isdir(target.parent):
        raise InputError("there is no such directory", file=str(target.parent), expected="one that exists")
    try:
        target.mkdir(exist_ok=True, parents=parents)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"cannot be made ({reason})", file=shown, expected=expected) from None
    return target


_HOST = hashlib.sha256(platform.node().encode()).hexdigest()[:8]
_PREFIX, _SUFFIX = f".creepfit-{_HOST}-", ".part"
"""Temporary files name machine and process, so that another process can tell those that nobody will finish."""


def slug(text: str) -> str:
    """A label as a name of a file: small letters, digits, single hyphens, at most 40; "run" where nothing is left."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:40].strip("-") or "run"


@functools.lru_cache(maxsize=64)
def _remove_left_over(folder: Path) -> None:
    """Remove what killed processes of this machine left behind in a folder; looked for once a process."""
    with contextlib.suppress(OSError):
        for file in folder.iterdir():
            number = file.name.removeprefix(_PREFIX).split("-")[0]
            ours = file.name.startswith(_PREFIX) and file.name.endswith(_SUFFIX) and number.isdigit()
            if ours and not _is_running(int(number)):
                with contextlib.suppress(OSError):
                    file.unlink()


def _is_running(process: int) -> bool:
    """Whether a process is there; where that cannot be asked, it is taken to be."""
    if os.name != "posix":
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        pass
    return True


@contextlib.contextmanager
def _complaining(shown: str) -> Iterator[None]:
    try:
        yield
    except InputError:
        raise
    except (OSError, RuntimeError, ValueError) as error:  # the last two: a loop of links, a null byte in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"cannot be written ({reason})", file=shown) from None


def _umask() -> int:
    """The only way to ask for it is to set it."""
    mask = os.umask(0)
    os.umask(mask)
    return mask


def check_figure(path: str | os.PathLike[str], force: bool = False) -> None:
    """Refuse a figure's file that is of another kind or cannot be written, before the work for it is done.

    Raises
    ------
    InputError, OutputExistsError
    """
    check_ending(path, ".svg", ".png")
    check_writable(path, force)


def check_ending(path: str | os.PathLike[str], *endings: str) -> None:
    """Refuse a name of another ending: with --force a slip would put a page or a result in place of a run or its readings.

    Raises
    ------
    InputError
    """
    if Path(path).suffix.casefold() not in endings:
        raise InputError(file=os.fspath(path), expected=f"a file name that ends in {' or '.join(endings)}")
