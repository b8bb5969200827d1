"""Answers in words: for a terminal, a pipe or a mail, never wider than 100 columns."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from creepfit.answers.specimen.check import Check
from creepfit.answers.specimen.forecast import Forecast
from creepfit.answers.specimen.recovery import Recovery
from creepfit.answers.specimen.summary import Summary
from creepfit.report.text.fit import circumstances, fit_lines
from creepfit.report.text.forecast import forecast_lines
from creepfit.report.text.part import render_sag as sag_text
from creepfit.report.text.pieces import paragraph
from creepfit.report.text.recovery import recovery_lines

__all__ = ["cautions", "check_text", "fit_text", "forecast_text", "recovery_text", "sag_text", "title"]


def fit_text(summary: Summary) -> str:
    """Text of `fit`."""
    lines = [*title(summary.fit.run.label), *circumstances(summary.fit), "", *fit_lines(summary)]
    return "\n".join([*lines, *cautions([c.to_dict() for c in summary.cautions])])


def check_text(result: Check) -> str:
    """Text of `check`."""
    fit, answer = result.fit, result.to_dict()
    found = cautions(answer["cautions"])
    lines = [*title(fit.run.label), *circumstances(fit), *(found or ["", "Nothing is doubtful about these readings."])]
    lines += ["", "Readings that would narrow the forecast most"]
    for suggestion in answer["next_readings"]:
        lines += paragraph(suggestion["text"], "  - ", "    ")
    if answer["next_readings_why"]:
        lines += paragraph(answer["next_readings_why"], "  ")
    if result.against is not None:
        lines += ["", "The forecast saved earlier", *paragraph(f"{result.against.text}.", "  ")]
    return "\n".join(lines)


def recovery_text(result: Recovery) -> str:
    """Text of `recover`."""
    lines = [*title(result.fit.run.label), *circumstances(result.fit), "", *recovery_lines(result)]
    return "\n".join([*lines, *cautions([c.to_dict() for c in result.cautions])])


def title(label: str) -> list[str]:
    """The run's name, underlined so that it stands out where several follow one another."""
    return [label, "=" * len(label)]


def cautions(found: Iterable[dict[str, Any]]) -> list[str]:
    """Doubts as a list, each with the reading that would settle it."""
    lines = []
    for caution in found:
        lines += paragraph(caution["text"], "  ! ", "    ")
        if caution["settled_by"]:
            lines += paragraph(f"settled by: {caution['settled_by']}", "    ", "    ")
    return ["", "Cautions", *lines] if lines else []


def forecast_text(result: Forecast) -> str:
    """Text of `forecast`."""
    lines = [*title(result.fit.label), *circumstances(result.fit), "", *forecast_lines(result)]
    return "\n".join([*lines, *cautions([c.to_dict() for c in result.cautions])])
