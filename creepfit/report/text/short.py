"""Answers as short as they can be without saying too much: the answer, the two doubts that matter most, where more is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from creepfit.answers.doubts.catalogue.entry import ranked, unsaid
from creepfit.report.text.fit import circumstances
from creepfit.report.text.fit import headline as fit_headline
from creepfit.report.text.forecast import headline as forecast_headline
from creepfit.report.text.forecast import limit_lines, time_lines
from creepfit.report.text.known import with_known_lines
from creepfit.report.text.pieces import caution_lines, paragraph, several, title

if TYPE_CHECKING:
    from creepfit.answers.interval import Caution
    from creepfit.answers.part.sag import Sag
    from creepfit.answers.specimen.forecast import Forecast
    from creepfit.answers.specimen.summary import Summary

FOREMOST = 2
"""Doubts that are shown in a short answer."""


def short_fit(summary: Summary) -> str:
    """The answer of `fit` without its tables."""
    first = fit_headline(summary)
    lines = [*title(summary.fit.run.label), *circumstances(summary.fit), "", *paragraph(first)]
    what = "models, creep from reading to reading and creep modulus"
    return "\n".join([*lines, *foremost_doubts(summary.cautions, what, first)])


def short_forecast(result: Forecast) -> str:
    """The answer of `forecast` without what it is made of; further times and a limit that were asked about stay."""
    first = forecast_headline(result)
    lines = [
        *title(result.fit.label),
        *circumstances(result.fit),
        "",
        *paragraph(first),
        *with_known_lines(result.with_known),
    ]
    if len(result.rows) > 1:
        lines += ["", *time_lines(result)]
    lines += limit_lines(result)
    what = "what the interval is made of, each model, the creep modulus and what was assumed"
    return "\n".join([*lines, *foremost_doubts(result.cautions, what, first)])


def short_sag(result: Sag) -> str:
    """The answer of `sag` without stress, segments and what is included."""
    from creepfit.report.text import part  # a tenth of the time of `fit` to import, which shows no part

    name = f"{result.part.name or 'Part'}, by {result.fit.label}"
    first = part.headline(result)
    lines = [*title(name), *paragraph(first)]
    if len(result.rows) > 1:
        lines += ["", *part.time_lines(result)]
    lines += [*part.unloaded_lines(result), *part.limit_lines(result)]
    what = "stress, where the sag comes from and what the intervals include"
    return "\n".join([*lines, *foremost_doubts(result.cautions, what, first)])


def foremost_doubts(cautions: Sequence[Caution], what: str, said: str) -> list[str]:
    """The foremost doubts without what the answer has `said` of them, and one line of what more there is."""
    first = ranked(cautions)
    lines = [""] if first else []
    for caution in first[:FOREMOST]:
        lines += caution_lines(unsaid(caution, said))
    left = len(first) - FOREMOST
    more = f", and {several(left, 'further doubt')}" if left > 0 else ""
    return [*lines, "", *paragraph(f"With --full: {what}{more}.")]
