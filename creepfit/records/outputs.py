"""Files that are written whole or not at all, and never over another one unless that was asked for."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from creepfit.errors import InputError, OutputExistsError


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
    target = Path(path).resolve()  # so that a link goes on pointing at the file it points at
    if target.exists() and not target.is_file():  # a pipe or a terminal: there is nothing to move into its place
        with _complaining(shown):
            target.write_bytes(content)
        return
    with _complaining(shown):
        mode = target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~_umask()
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
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
    shown, target = os.fspath(path), Path(path)
    if target.is_dir():
        raise InputError("this is a directory", file=shown, expected="the name of a file to write")
    if not target.parent.is_dir():
        raise InputError("there is no such directory", file=str(target.parent), expected="one that exists")
    if target.is_file() and not force:
        raise OutputExistsError("the file exists already", file=shown, expected="another name, or --force to replace it")


@contextlib.contextmanager
def _complaining(shown: str) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror or error})", file=shown) from None


def _umask() -> int:
    """The only way to ask for it is to set it."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
