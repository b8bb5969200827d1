"""What a form describes, drawn while it is typed."""

from __future__ import annotations

from collections.abc import Callable

from markupsafe import Markup, escape

from creepfit.desk.desk import desk
from creepfit.records.begun import BegunRun
from creepfit.records.part import Part
from creepfit.records.run import Run
from creepfit.report.figures.described import described_figure
from creepfit.report.figures.style import inline

PATIENCE = 8.0
"""Seconds that a page waits for its drawing before it comes without."""


def live_drawing(about: str, state: str, described: Callable[[], Part | Run | BegunRun]) -> Markup:
    """Return the drawing to scale, the last one while a new one is being drawn, or why there is none.

    Parameters
    ----------
    about, state
        As of `Worker.ask`.
    described : callable
        Called beside the request, which it knows nothing of.
    """

    def drawn() -> str:
        drawing = described_figure(described())
        return inline(drawing, "sketch", str(escape(drawing.alt)))

    outcome = desk().worker.ask(f"drawing {about}", state, drawn, PATIENCE)
    again = Markup("") if outcome is not None and outcome.state == state else Markup("<span data-again hidden></span>")
    if outcome is None or outcome.answer is None:
        error = "" if outcome is None or outcome.error is None else desk().said(outcome.error)
        return Markup("<p class='note'>{}</p>").format(error or "being drawn") + again
    return Markup(outcome.answer) + again
