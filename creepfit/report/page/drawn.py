"""The figures of a run as the page's templates take them.

Apart from the rest of the page, as matplotlib takes longer to load, and figures longer to draw, than all else that a page
needs: `cli/beside.py` has it done in a second process while the page's words are made.
"""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup, escape

from creepfit.answers.part.relaxation import Relaxation
from creepfit.answers.part.sag import Sag
from creepfit.records.outputs import slug
from creepfit.report.figures import drawings as figures
from creepfit.report.figures.relaxation import force_figure
from creepfit.report.figures.saving import picture_files
from creepfit.report.figures.style import Drawing
from creepfit.report.figures.timeline import TIMELINE
from creepfit.report.page.findings import Findings
from creepfit.report.page.run_figures import Content, RunFigures


def run_figures(
    findings: Findings, sag: Sag | None, held: Relaxation | None, number: int, brief: bool, pictures: bool
) -> RunFigures:
    """Draw all figures of a run's section; arguments as those of `html.section`."""
    of_run = figures.with_run(findings, brief)
    of_part = [] if sag is None or brief else figures.with_part(sag)
    force = None if held is None or brief else force_figure(held)
    of_held = [] if force is None else [force]
    key, name = f"run{number}", f"{number:02d}-{slug(findings.label)}"
    return RunFigures(
        [figure_content(d, key) for d in of_run if d.name != TIMELINE],
        [figure_content(d, key) for d in of_run if d.name == TIMELINE],
        figure_contents(of_part, f"{key}-part"),
        figure_contents(of_held, f"{key}-held"),
        picture_files(name, [*of_run, *of_part, *of_held]) if pictures else (),
    )


def figure_contents(drawn: Sequence[Drawing], key: str) -> list[Content]:
    """Figures in order; `key` makes their ids those of one part of the page."""
    return [figure_content(d, key) for d in drawn]


def figure_content(drawing: Drawing, key: str) -> Content:
    """A figure as the page's templates take it."""
    prefix = f"{key}-{drawing.name}"
    return {
        "id": prefix,
        "name": drawing.name,
        "title": drawing.title,
        "alt": drawing.alt,
        "svg": Markup(figures.inline(drawing, prefix, str(escape(drawing.alt)))),
    }
