"""Which figures a report has: one list for a run, one for a part."""

from __future__ import annotations

from creepfit.answers.part.sag import Sag
from creepfit.report.figures.answers import modulus_figure, recovery_figure, shares_figure
from creepfit.report.figures.hindcast import hindcast_figure
from creepfit.report.figures.part import sag_figure, shape_figure
from creepfit.report.figures.rate import rate_figure
from creepfit.report.figures.run import history_figure, readings_figure
from creepfit.report.figures.style import Drawing, inline, png, svg
from creepfit.report.figures.timeline import timeline_figure
from creepfit.report.page.findings import Findings

__all__ = ["Drawing", "inline", "png", "svg", "with_part", "with_run"]


def with_run(findings: Findings, brief: bool = False) -> list[Drawing]:
    """Figures of a run, the most important first; `brief` where a page holds many runs."""
    if brief:
        return [readings_figure(findings, brief)]
    drawn = [
        readings_figure(findings),
        timeline_figure(findings),
        history_figure(findings),
        rate_figure(findings),
        hindcast_figure(findings),
        recovery_figure(findings),
        modulus_figure(findings),
        shares_figure(findings),
    ]
    return [d for d in drawn if d is not None]


def with_part(result: Sag) -> list[Drawing]:
    """Figures of a part; one known by an analysis made elsewhere has no shape to draw."""
    drawn = [None if result.part.analysed is not None else shape_figure(result), sag_figure(result)]
    return [d for d in drawn if d is not None]
