"""Figures of a report as files in a folder, under names that no label can lead out of it."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from pathlib import Path

from creepfit.answers.sag import Sag
from creepfit.errors import InputError
from creepfit.records.outputs import check_writable, write_bytes
from creepfit.report import figures
from creepfit.report.findings import FULL, Findings
from creepfit.report.style import Drawing


def save_figures(
    found: Sequence[Findings], folder: str | os.PathLike[str], sags: Sequence[Sag | None] = (), force: bool = False
) -> list[Path]:
    """Write all figures as SVG and PNG into a folder, which is made where it does not exist.

    File names are a number, the run's label in small letters, digits and hyphens, and the figure's name.

    Parameters
    ----------
    found : sequence of Findings
    folder : path
        Its own parent must exist.
    sags : sequence of Sag or None
        Sag of the part by each run.
    force : bool
        Replace files that are already there.

    Raises
    ------
    InputError, OutputExistsError
        Before anything is drawn where the folder or one of the files cannot be written.
    """
    target = _folder(folder)
    drawn: list[tuple[str, Drawing]] = [("all", d) for d in figures.together(found)]
    beside = list(sags) + [None] * (len(found) - len(sags))
    for i, (f, s) in enumerate(zip(found, beside, strict=True)):
        stem = f"{i + 1:02d}-{slug(f.label)}"
        drawn += [(stem, d) for d in figures.with_run(f, brief=len(found) > FULL)]
        drawn += [(stem, d) for d in ([] if s is None else figures.with_part(s))]
    pairs = [(d, target / f"{stem}-{d.name}.svg", target / f"{stem}-{d.name}.png") for stem, d in drawn]
    for _, vector, raster in pairs:
        check_writable(vector, force)
        check_writable(raster, force)
    for d, vector, raster in pairs:
        write_bytes(vector, figures.svg(d).encode("utf-8"), force)
        write_bytes(raster, figures.png(d), force)
    return [path for _, *both in pairs for path in both]


def slug(text: str) -> str:
    """Small letters, digits and single hyphens, at most 40 of them; "run" where nothing is left."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:40].strip("-") or "run"


def _folder(folder: str | os.PathLike[str]) -> Path:
    target, shown = Path(folder), os.fspath(folder)
    if target.exists() and not target.is_dir():
        raise InputError("this is no folder", file=shown, expected="the name of a folder for the figures")
    if not target.parent.is_dir():
        raise InputError("there is no such directory", file=str(target.parent), expected="one that exists")
    try:
        target.mkdir(exist_ok=True)
    except OSError as error:
        raise InputError(f"cannot be made ({error.strerror or error})", file=shown) from None
    return target
