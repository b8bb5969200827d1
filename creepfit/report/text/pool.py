"""The answer of `fit --pool` in words: what only several runs can say, then what a fit says."""

from __future__ import annotations

from creepfit.answers.interval import Interval
from creepfit.answers.materials.pool import PoolSummary
from creepfit.report.text.answers import cautions, title
from creepfit.report.text.fit import fit_lines, headline, tested
from creepfit.report.text.pieces import paragraph, percent, ratio_cells, several, table
from creepfit.report.text.short import foremost_doubts
from creepfit.shown import listed


def pool_text(summary: PoolSummary) -> str:
    """Text of `fit --pool --full`."""
    return "\n".join([*_head(summary), *fit_lines(summary.summary), *cautions(summary.cautions)])


def short_pool(summary: PoolSummary) -> str:
    """The same without the tables of a fit."""
    what = "models, creep from reading to reading and creep modulus"
    first = headline(summary.summary)
    return "\n".join([*_head(summary), *paragraph(first), *foremost_doubts(summary.cautions, what, first)])


def _head(summary: PoolSummary) -> list[str]:
    """What was pooled, under which load, and how far the specimens differ."""
    fit = summary.fit
    labels = [run.label for run in fit.runs]
    lines = title(f"{fit.run.material}: {several(len(labels), 'run')} of {several(fit.stacked.count, 'specimen')}")
    lines += paragraph(f"together: {listed(labels)}; all below is for a new specimen, shaped and loaded as {fit.run.label}")
    return [*lines, *tested(fit.run), "", *_scatter(summary), ""]


def _scatter(summary: PoolSummary) -> list[str]:
    fit = summary.fit
    stiffness, creep = (
        f"{100.0 * s.median:.2g} % ({percent(fit.level)}: {100.0 * s.low:.2g} to {100.0 * s.high:.2g} %)"
        for s in (fit.scatter, fit.creep_scatter)
    )
    lines = paragraph(
        f"Scatter between specimens, {fit.scatter.source}: {stiffness} in stiffness, and of the creep besides {creep}."
    )
    rows = []
    for factor in fit.factors:
        low, median, high = ratio_cells(Interval(factor.low, factor.median, factor.high))
        rows.append([factor.specimen, low, median, high])
    lines += [
        "",
        "Compliance at the end of the test over the average specimen's",
        *table(["specimen", "low", "median", "high"], rows),
    ]
    if fit.shared_shape is not None:
        lines += ["", *paragraph(f"Short and long tests: {fit.shared_shape.text}.")]
    return lines
