"""Which figures a report has: one list for a run, one for a part."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from creepfit.answers.part.sag import Sag
from creepfit.report.figures.answers import modulus_figure, recovery_figure, shares_figure
from creepfit.report.figures.hindcast import hindcast_figure
from creepfit.report.figures.part import sag_figure, shape_figure
from creepfit.report.figures.rate import rate_figure
from creepfit.report.figures.run import history_figure, readings_figure
from creepfit.report.figures.style import Drawing, inline, png, svg
from creepfit.report.figures.timeline import timeline_figure
from creepfit.report.page.findings import Findings

__all__ = ["Drawing", "each_with_run", "inline", "png", "svg", "with_part", "with_run"]


def with_run(findings: Findings, brief: bool = False) -> list[Drawing]:
    """Figures of a run, the most important first; `brief` where a page holds many runs."""
    return [readings_figure(findings, brief)] if brief else list(each_with_run(findings))


def each_with_run(findings: Findings) -> Iterator[Drawing]:
    """The same, each drawn when it is asked for: whoever wants one need not wait for all."""
    for draw in _OF_RUN:
        drawing = draw(findings)
        if drawing is not None:
            yield drawing


_OF_RUN: tuple[Callable[[Findings], Drawing | None], ...] = (
    readings_figure, timeline_figure, history_figure, rate_figure, hindcast_figure, recovery_figure, modulus_figure,
    shares_figure,
)  # fmt: skip


def with_part(result: Sag) -> list[Drawing]:
    """Figures of a part; one known by an analysis made elsewhere has no shape to draw."""
    drawn = [None if result.part.analysed is not None else shape_figure(result), sag_figure(result)]
    return [d for d in drawn if d is not None]
