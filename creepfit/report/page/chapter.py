"""A part of the page of its own: what several runs say together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from creepfit.answers.interval import Caution
from creepfit.report.page.tables import PageTable

if TYPE_CHECKING:
    from creepfit.report.figures.style import Drawing


@dataclass(frozen=True, eq=False)
class Chapter:
    """A part of the page of its own: an answer in a sentence, figures, tables and the doubts about it."""

    key: str
    title: str
    answer: str
    drawn: tuple[Drawing, ...]
    tables: dict[str, PageTable]
    cautions: tuple[Caution, ...]
