"""Answers in words: for a terminal, a pipe or a mail, never wider than 100 columns."""

from __future__ import annotations

from typing import TYPE_CHECKING

from creepfit.report.text.fit import circumstances, fit_lines
from creepfit.report.text.forecast import forecast_lines
from creepfit.report.text.pieces import cautions, paragraph, title
from creepfit.report.text.recovery import recovery_lines

if TYPE_CHECKING:
    from creepfit.answers.specimen.check import Check
    from creepfit.answers.specimen.forecast import Forecast
    from creepfit.answers.specimen.recovery import Recovery
    from creepfit.answers.specimen.summary import Summary

__all__ = ["cautions", "check_text", "fit_text", "forecast_text", "recovery_text", "title"]


def fit_text(summary: Summary) -> str:
    """Text of `fit`."""
    lines = [*title(summary.fit.run.label), *circumstances(summary.fit), "", *fit_lines(summary)]
    return "\n".join([*lines, *cautions(summary.cautions)])


def check_text(result: Check) -> str:
    """Text of `check`."""
    doubts = cautions(result.cautions) or ["", "Nothing is doubtful about these readings."]
    lines = [*title(result.fit.run.label), *circumstances(result.fit), *doubts]
    lines += ["", "Readings that would tell most about the forecast"]
    for suggestion in result.schedule.suggestions:
        lines += paragraph(suggestion.text, "  - ", "    ")
    if result.schedule.suggestions:
        lines += paragraph(result.schedule.ranked_by, "  ")
    if result.schedule.why:
        lines += paragraph(result.schedule.why, "  ")
    if result.against is not None:
        lines += ["", "The forecast saved earlier", *paragraph(f"{result.against.text}.", "  ")]
    return "\n".join(lines)


def recovery_text(result: Recovery) -> str:
    """Text of `recover`."""
    lines = [*title(result.fit.run.label), *circumstances(result.fit), "", *recovery_lines(result)]
    return "\n".join([*lines, *cautions(result.cautions)])


def forecast_text(result: Forecast) -> str:
    """Text of `forecast`."""
    lines = [*title(result.fit.label), *circumstances(result.fit), "", *forecast_lines(result)]
    return "\n".join([*lines, *cautions(result.cautions)])
