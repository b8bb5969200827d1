"""Rows of a shelf kept beside the results they are of, so that a thousand results are a table in seconds.

A row is taken up only where everything it hangs on is as it was: the result's file to the last byte and its name, level and
seed, and the program itself. Otherwise the run is fitted again. A folder that cannot be written to is left as it is.
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

MEMORY = ".creepfit-shelf.json"

KeptRow = dict[str, Any]


def recalled(sources: Sequence[Source], level: float, seed: int | None) -> tuple[list[str | None], dict[str, KeptRow]]:
    """A key for each source, None for one that is no saved result; and what is kept under those keys."""
    keys = [_key(source, level, seed) for source in sources]
    remembered: dict[str, KeptRow] = {}
    for folder in {Path(s.path).parent for s, key in zip(sources, keys, strict=True) if key is not None}:
        remembered |= _read(folder / MEMORY)
    return keys, {key: remembered[key] for key in keys if key is not None and key in remembered}


def remember(sources: Sequence[Source], keys: Sequence[str | None], rows: dict[str, KeptRow]) -> None:
    """Keep rows by key, in the folder of each result; what was kept of other results there goes."""
    folders: dict[Path, dict[str, KeptRow]] = {}
    for source, key in zip(sources, keys, strict=True):
        if key is not None and key in rows:
            folders.setdefault(Path(source.path).parent, {})[key] = rows[key]
    for folder, rows_of_folder in folders.items():
        with suppress(CreepfitError, OSError):
            write_text(folder / MEMORY, json.dumps(rows_of_folder), force=True)


def _key(source: Source, level: float, seed: int | None) -> str | None:
    if source.problem is not None or source.run is not None or not is_saved(source.path):
        return None
    try:
        content = Path(source.path).read_bytes()
    except OSError:
        return None
    made_from = json.dumps([source.name, level, seed, _program()]).encode()
    return hashlib.sha256(made_from + content).hexdigest()


@cache
def _program() -> list[str]:
    """The version, and the state of the sources it runs from: one that was changed by hand has the same version."""
    root = Path(__file__).parents[2]
    files = sorted(root.rglob("*.py"))
    state = [(str(f.relative_to(root)), f.stat().st_size, f.stat().st_mtime_ns) for f in files]
    return [program_version(), hashlib.sha256(json.dumps(state).encode()).hexdigest()]


def _read(path: str | os.PathLike[str]) -> dict[str, KeptRow]:
    """What is kept in a file; nothing where there is none, or it was spoilt."""
    try:
        memory = json.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
    return memory if isinstance(memory, dict) else {}
