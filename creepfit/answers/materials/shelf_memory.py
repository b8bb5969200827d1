"""Rows of a shelf kept beside the results they are of, so that a thousand results are a table in seconds.

A batch keeps the row of each result as it writes it, a shelf those that it had to fit. A row is taken up only where
everything it hangs on is as it was: the result's file to the last byte, level and seed, and the program itself.
Otherwise the run is fitted again. The file has the program's mark in its first line and rows in those that follow, so
that one more is written without the others, and what was cut short when a batch was stopped costs one row. A folder that
cannot be written to is left as it is.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Sequence
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any

from creepfit.answers.heading import program_version
from creepfit.errors import CreepfitError
from creepfit.inference.saved import is_saved
from creepfit.inference.sources import Source
from creepfit.records.outputs import write_text

MEMORY = ".creepfit-shelf.jsonl"

KeptRow = dict[str, Any]


def recalled(sources: Sequence[Source], level: float, seed: int | None) -> tuple[list[str | None], dict[str, KeptRow]]:
    """A key for each source, None for one that is no saved result; and what is kept under those keys."""
    keys = [_key(source, level, seed) for source in sources]
    remembered: dict[str, KeptRow] = {}
    for folder in {Path(s.path).parent for s, key in zip(sources, keys, strict=True) if key is not None}:
        remembered |= _read(folder / MEMORY)
    return keys, {key: remembered[key] for key in keys if key is not None and key in remembered}


def remember(result: str | os.PathLike[str], key: str, row: KeptRow) -> None:
    """Keep the row of a saved result, by its key, in the result's folder; what another program kept there goes."""
    memory = Path(result).parent / MEMORY
    with suppress(CreepfitError, OSError):
        if not _is_ours(memory):
            write_text(memory, json.dumps(_program()) + "\n", force=True)
        with open(memory, "a", encoding="utf-8") as file:
            file.write(f"\n{json.dumps([key, row])}\n")  # on a line of its own, whatever the last one was cut short to


def key_of(content: bytes, level: float, seed: int | None) -> str:
    """What the row of a saved result hangs on but for the program."""
    return hashlib.sha256(json.dumps([level, seed]).encode() + content).hexdigest()


def _key(source: Source, level: float, seed: int | None) -> str | None:
    if source.problem is not None or source.run is not None or not is_saved(source.path):
        return None
    try:
        return key_of(Path(source.path).read_bytes(), level, seed)
    except OSError:
        return None


@cache
def _program() -> list[str]:
    """The version, and the state of the sources it runs from: one that was changed by hand has the same version."""
    root = Path(__file__).parents[2]
    files = sorted(root.rglob("*.py"))
    state = [(str(f.relative_to(root)), f.stat().st_size, f.stat().st_mtime_ns) for f in files]
    return [program_version(), hashlib.sha256(json.dumps(state).encode()).hexdigest()]


def _is_ours(memory: Path) -> bool:
    """Whether a file holds rows by the program at hand."""
    try:
        with open(memory, encoding="utf-8") as file:
            return file.readline() == json.dumps(_program()) + "\n"
    except (OSError, ValueError):
        return False


def _read(memory: Path) -> dict[str, KeptRow]:
    """What is kept in a file by the program at hand; nothing where there is none."""
    kept: dict[str, KeptRow] = {}
    if not _is_ours(memory):
        return kept
    with suppress(OSError, ValueError), open(memory, encoding="utf-8") as file:
        for line in file:
            with suppress(TypeError, ValueError, RecursionError):
                key, row = json.loads(line)
                if isinstance(key, str) and isinstance(row, dict):
                    kept[key] = row
    return kept
