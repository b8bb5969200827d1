"""Figures of a report as files in a folder, under names that no label can lead out of it."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from creepfit.errors import InputError
from creepfit.records.outputs import check_writable, made_folder, write_bytes

if TYPE_CHECKING:
    from creepfit.report.figures.style import Drawing


def picture_files(stem: str, drawn: Sequence[Drawing]) -> tuple[tuple[str, bytes], ...]:
    """Each figure as an SVG and a PNG file: (name, content)."""
    from creepfit.report.figures.style import png, svg

    files: list[tuple[str, bytes]] = []
    for drawing in drawn:
        files.append((f"{stem}-{drawing.name}.svg", svg(drawing).encode("utf-8")))
        files.append((f"{stem}-{drawing.name}.png", png(drawing)))
    return tuple(files)


def save_pictures(pictures: Sequence[tuple[str, bytes]], folder: str | os.PathLike[str], force: bool = False) -> list[Path]:
    """Write figures into a folder.

    Parameters
    ----------
    pictures : sequence of (name, content)
    folder : path
        Made where it does not exist; its own parent must.
    force : bool
        Replace files that are already there.

    Raises
    ------
    InputError, OutputExistsError
        Where the folder or one of the files cannot be written; then none is.
    """
    target = picture_folder(folder)
    for name, _ in pictures:
        check_writable(target / name, force)
    for name, content in pictures:
        write_bytes(target / name, content, force)
    return [target / name for name, _ in pictures]


def picture_folder(folder: str | os.PathLike[str]) -> Path:
    """The folder, made where it does not exist.

    Raises
    ------
    InputError
        It is a file, or cannot be made.
    """
    return made_folder(folder, "the name of a folder for figures")


def save_drawing(drawing: Drawing, path: str | os.PathLike[str], force: bool = False) -> None:
    """Write one figure as the file's name says, .svg or .png.

    Raises
    ------
    InputError, OutputExistsError
        Another ending, or a place that cannot be written to.
    """
    from creepfit.report.figures.style import png, svg

    write_bytes(path, svg(drawing).encode("utf-8") if picture_kind(path) == ".svg" else png(drawing), force)


def picture_kind(path: str | os.PathLike[str]) -> str:
    """The ending of a picture's name, .svg or .png; InputError for any other."""
    kind = Path(path).suffix.casefold()
    if kind not in (".svg", ".png"):
        raise InputError(
            "no kind of picture that is written here", file=os.fspath(path), expected="a name ending in .svg or .png"
        )
    return kind
