"""The drawing of what a file describes, whichever kind it is of."""

from __future__ import annotations

from creepfit.mechanics.panel import Panel
from creepfit.mechanics.space_bar import PulledBar
from creepfit.records.begun import BegunRun
from creepfit.records.part import Part
from creepfit.records.run import Run
from creepfit.report.figures.sketch import sketch_figure, sketch_of
from creepfit.report.figures.solid_sketch import bar_figure, panel_figure
from creepfit.report.figures.style import Drawing


def described_figure(what: Part | Run | BegunRun) -> Drawing:
    """The part or the specimen to scale.

    Raises
    ------
    InputError
        What has no shape to draw.
    """
    if isinstance(what, Part) and what.analysed is not None:
        drawn, name = what.analysed.drawn, what.name or "part"
        if isinstance(drawn, PulledBar):
            return bar_figure(name, drawn.bar, drawn.pulls, drawn.read)
        if isinstance(drawn, Panel):
            return panel_figure(name, drawn, [load.label for load in what.loads])
    return sketch_figure(sketch_of(what))
