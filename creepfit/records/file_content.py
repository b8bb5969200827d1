"""What a file holds, as bytes, text or TOML tables; what cannot be read is one line for its user."""

from __future__ import annotations

import re
import stat
import tomllib
from pathlib import Path
from typing import Any

from creepfit.errors import InputError

LARGEST_TEXT = 20_000_000
"""Bytes of a file that people write by hand; readings have limits of their own."""

_KIND_OF_FILE = {
    stat.S_IFREG: "",
    stat.S_IFDIR: "a directory",
    stat.S_IFCHR: "a device",
    stat.S_IFBLK: "a device",
    stat.S_IFIFO: "a pipe",
    stat.S_IFSOCK: "a socket",
}


_OTHER_KINDS = {
    ".csv": "a table",
    ".tsv": "a table",
    ".xlsx": "a workbook",
    ".xlsm": "a workbook",
    ".ods": "a workbook",
    ".json": "a JSON file",
    ".html": "a page",
    ".svg": "a picture",
    ".png": "a picture",
}
"""What is often named where a TOML file is wanted, by the ending of its name."""


def read_bytes(path: Path, file: str, most: int = LARGEST_TEXT) -> bytes:
    """Return a file's bytes; an unreadable or empty one is the user's mistake.

    Raises
    ------
    InputError
        No name, no such file, no regular file (a directory, a device, a pipe), no permission, nothing in it, or more than
        `most` bytes: its kind and size are looked at before it is opened, as some devices never end.
    """
    if not file:
        raise InputError("no name", expected="the name of a file")
    try:
        status = path.stat()
        kind = _KIND_OF_FILE.get(stat.S_IFMT(status.st_mode), "a special file")
        if kind:
            raise InputError(f"this is {kind}", file=file, expected="a file")
        if status.st_size > most:
            found, expected = f"{status.st_size / 1e6:.0f} MB", f"at most {most / 1e6:.0f} MB"
            raise InputError("too large a file", file=file, found=found, expected=expected)
        content = path.read_bytes() if status.st_size else b""  # files of /proc have no size and may have no end
    except FileNotFoundError:
        raise InputError("there is no such file", file=file) from None
    except InputError:
        raise
    except (OSError, ValueError) as error:  # ValueError: a null byte in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"cannot be read ({reason})", file=file) from None
    if not content.strip():
        raise InputError("the file is empty", file=file)
    return content


def decoded(content: bytes, file: str, spreadsheet: bool = False) -> str:
    """Return text from UTF-8, with or without a byte order mark; of a table also as a spreadsheet may have saved it.

    Parameters
    ----------
    content : bytes
    file : str
        For messages.
    spreadsheet : bool
        Understand UTF-16 and Windows-1252 too.

    Raises
    ------
    InputError
        Where it is none of these; the message names the line.
    """
    encoding = encoding_of(content) if spreadsheet else "utf-8-sig"
    try:
        return content.decode(encoding)
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        found = f"byte 0x{content[error.start]:02x}"
        raise InputError(
            f"not UTF-8 text (line {line})", file=file, found=found, expected="a file saved as UTF-8"
        ) from None


def encoding_of(content: bytes) -> str:
    """Return the encoding of a table: UTF-8 or UTF-16 with or without a byte order mark, else Windows-1252."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    start = content[:400]
    if start.count(0) > len(start) // 4:  # every second byte of plain text in UTF-16
        return "utf-16-le" if start[1::2].count(0) > start[::2].count(0) else "utf-16-be"
    for encoding in ("utf-8-sig", "cp1252"):
        try:
            content.decode(encoding)
        except UnicodeDecodeError:
            continue
        return encoding
    return "utf-8-sig"


def read_toml(path: Path, file: str) -> dict[str, Any]:
    """Return the tables of a TOML file.

    Raises
    ------
    InputError
        As `read_bytes` and `decoded`; also for what is no TOML, with the line it stopped at or what its name says it is.
    """
    content = read_bytes(path, file)
    other = _OTHER_KINDS.get(path.suffix.casefold())
    if other is not None:
        raise InputError(f"this is {other}", file=file, expected="a TOML file here, such as creepfit new writes")
    text = decoded(content, file)
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise InputError("nested too deeply", file=file, expected="a TOML file") from None
    except ValueError as error:  # TOMLDecodeError, and numbers too long for Python
        place = re.search(r"line (\d+)", str(error))
        lines = text.splitlines()
        if not isinstance(error, tomllib.TOMLDecodeError):
            raise InputError("a number with too many digits", file=file) from None
        reason = str(error).split(" (at ")[0]
        if place is None or int(place[1]) > len(lines):
            raise InputError(f"not valid TOML ({reason} at the end)", file=file) from None
        raise InputError(
            f"not valid TOML ({reason})",
            file=file,
            key=f"line {place[1]}",
            found=lines[int(place[1]) - 1].strip(),
            expected='key = value, with text and quantities in quotes, such as mass = "0.2 kg"',
        ) from None
