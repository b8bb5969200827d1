"""What a page takes of the figures of a run, without what draws them: it passes between processes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

Content = dict[str, Any]
"""One figure: its id, name, title, alternative text and SVG."""


@dataclass(frozen=True)
class RunFigures:
    """Figures of a run, of its time line, of a part by it and of a part held bent; `files` are all of them by name."""

    run: list[Content]
    timeline: list[Content]
    part: list[Content]
    held: list[Content]
    files: tuple[tuple[str, bytes], ...]


DrawRun = Callable[..., Callable[[], RunFigures]]
"""Takes what `drawn.run_figures` takes, and gives what returns the figures when they are needed."""
