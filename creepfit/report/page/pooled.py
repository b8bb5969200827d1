"""Runs of one material as one: what a page of several runs says of their materials."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from creepfit.answers.doubts.pool import pool_doubts
from creepfit.answers.materials.grouping import MOST, groups_of, worth_grouping
from creepfit.answers.specimen.forecast import forecast
from creepfit.errors import CreepfitError
from creepfit.inference.pooling import PooledFit, fit_pooled
from creepfit.inference.run_fit import Fit
from creepfit.report.page.chapter import Chapter
from creepfit.report.page.tables import PageTable
from creepfit.report.text.forecast import headline
from creepfit.report.text.pieces import percent, several, shown_unit
from creepfit.shown import listed
from creepfit.units import show_number, show_time


@dataclass(frozen=True)
class Materials:
    """Fits of materials in place of their runs where those could be pooled; `why` says of which they could not."""

    fits: tuple[Fit, ...]
    pools: tuple[PooledFit, ...]
    why: tuple[str, ...]


def materials_of(fits: Sequence[Fit], pool: bool) -> Materials:
    """Pool the runs of each material where that says more, or where it was asked for.

    Parameters
    ----------
    fits : sequence of Fit
    pool : bool
        Whether it was asked for: then one material is enough, and however many runs.
    """
    groups = groups_of([f.run for f in fits])
    if not pool and not worth_grouping(groups):
        return Materials(tuple(fits), (), ())
    fits_of_material: list[Fit] = []
    pools: list[PooledFit] = []
    why: list[str] = []
    for group in groups:
        own = [fits[i] for i in group]
        if len(own) > 1 and (pool or len(own) <= MOST):
            try:
                pools.append(fit_pooled([f.run for f in own], level=own[0].level, seed=own[0].seed))
            except CreepfitError as error:
                why.append(f"{own[0].run.material}: its runs stand by themselves: {error}")
            else:
                fits_of_material.append(pools[-1])
                continue
        fits_of_material += own
    return Materials(tuple(fits_of_material), tuple(pools), tuple(why))


def as_one(pool: PooledFit, at: Sequence[float], key: str) -> Chapter:
    """A chapter on specimens of one material fitted together: what a new one will do."""
    answer = forecast(pool, at)
    unit = shown_unit(pool.unit)
    rows = tuple((show_time(row.time), *unit.interval(row.interval), show_number(row.time / pool.run.test_length, digits=2))
                 for row in answer.rows)  # fmt: skip
    heads = ("after", "low", f"median [{unit.name}]", "high", "times the test")
    count = several(len(pool.runs), "run")
    table = PageTable(f"{pool.quantity.capitalize()} of a new specimen, {percent(pool.level)} intervals", heads, rows)
    text = f"{count} as one ({listed([run.label for run in pool.runs])}), for a new specimen: {headline(answer)}"
    return Chapter(
        key, f"{pool.run.material}, {count} as one", text, (), {"forecast": table}, (*pool_doubts(pool), *answer.cautions)
    )
