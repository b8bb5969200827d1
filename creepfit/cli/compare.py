"""The command `compare`: runs, saved results, workbooks or folders of them, side by side in one property."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import click

from creepfit.cli.options import (
    Common,
    answer_options,
    figure_option,
    known_option,
    pool_options,
    progress,
    runs_argument,
    time_option,
)
from creepfit.cli.output import check_drawing, draw_answer, message, show, show_json
from creepfit.cli.runs import each, fit_of, pool_of, run_of, sources_of, with_those_left
from creepfit.errors import CreepfitError, InputError

if TYPE_CHECKING:
    from creepfit.answers.materials.compared_property import Property
    from creepfit.inference.fitting import Fit
    from creepfit.inference.saved import Saved
    from creepfit.records.run import Run


@click.command()
@runs_argument
@time_option(
    "--at",
    'When, such as "5 d"; repeatable. As late as the shortest test answers for, a year at most, if not given.',
    multiple=True,
)
@click.option(
    "--by",
    type=click.Choice(["deformation", "increment", "compliance", "recovered", "residual"]),
    help="What to compare. Deformation, or compliance where loads or shapes differ, if not given.",
)
@click.option("--each", "each_run", is_flag=True, help="Every run by itself, not materials.")
@pool_options
@figure_option
@answer_options
@known_option
def compare(
    runs: tuple[str, ...],
    at: tuple[float, ...],
    by: Property | None,
    each_run: bool,
    pool: bool,
    anyway: bool,
    figure: str | None,
    common: Common,
) -> None:
    """Say which material gives way less, and how surely.

    A RUN can also be a folder of saved results. Several runs of several materials are compared as materials: those of one,
    printed alike, are fitted together where they may be, and each run is listed below. With --pool they have to be, with
    --each every run stands by itself.
    """
    from creepfit.answers.materials.comparison import compare as answer
    from creepfit.answers.materials.grouping import groups_of, worth_grouping
    from creepfit.report.text.compare import compare_text

    if pool and each_run:
        raise InputError("--pool and --each", expected="one of them")
    check_drawing(figure, common.force)
    read, code = each(sources_of(runs, "results"), "reading", lambda name, source: (name, source))
    if any(os.path.isdir(path) for path in runs):
        read = _once(read)
    groups = groups_of([run_of(source) for _, source in read])
    together = pool or (not each_run and not common.known and worth_grouping(groups))
    fits, alone, failed = _fitted(read, groups if together else [[i] for i in range(len(read))], common, pool, anyway)
    with with_those_left(failed or code):
        result = answer(fits, at or None, by=by, level=common.level)
        listed = answer(alone, at or None, by=by, level=common.level) if len(alone) > len(fits) else None
    draw_answer(result, figure, common.force)
    if common.as_json:
        below = {} if listed is None else {"each_run": [moment.to_dict() for moment in listed.moments]}
        show_json({**result.to_dict(), **below})
    else:
        show(compare_text(result, listed))
    if failed or code:
        raise click.exceptions.Exit(failed or code)


def _once(read: list[tuple[str, Run | Saved]]) -> list[tuple[str, Run | Saved]]:
    """Runs of folders, where a copy beside its original is no second run."""
    first: dict[str, str] = {}
    kept = []
    for name, source in read:
        other = first.setdefault(run_of(source).source, name)
        if other == name:
            kept.append((name, source))
        else:
            message(f"creepfit: {name}: the same run as in {other}, which is compared once")
    return kept


def _fitted(
    read: list[tuple[str, Run | Saved]], groups: list[list[int]], common: Common, pool: bool, anyway: bool
) -> tuple[list[Fit], list[Fit], int]:
    """A fit for each material, the fits of runs by themselves where materials were not asked for, and the exit code.

    Runs that cannot be pooled stand by themselves, and it is said why; where they have to be pooled that is an error.
    """
    fits: list[Fit] = []
    alone: list[Fit] = []
    code = 0
    with progress("fitting", len(read)) as step:
        for group in groups:
            named = [read[i] for i in group]
            own: list[Fit] = []
            if len(named) == 1 or not pool:
                own, failed = each(
                    [(name, _known(source)) for name, source in named], "", _by_itself(common, len(read) > 1)
                )
                code = failed or code
            joined: Fit | None = None
            if len(named) > 1:
                joined = _pooled([run_of(source) for _, source in named], common, pool, anyway)
            fits += own if joined is None else [joined]
            alone += own
            for _ in named:
                step()
    return fits, alone, code


def _known(source: Run | Saved) -> Callable[[], Run | Saved]:
    return lambda: source


def _by_itself(common: Common, several: bool) -> Callable[[str, Run | Saved], Fit]:
    return lambda name, source: fit_of(source, name, common, several)


def _pooled(runs: list[Run], common: Common, pool: bool, anyway: bool) -> Fit | None:
    """The runs as one material; None where they cannot be, which is said."""
    from creepfit.answers.materials.grouping import MOST

    if pool:
        return pool_of(runs, common, anyway)
    if len(runs) > MOST:
        message(f"{runs[0].material}: {len(runs)} runs stand by themselves; --pool fits them together, which takes a while")
        return None
    try:
        return pool_of(runs, replace(common, save_to=None), anyway)
    except CreepfitError as error:
        message(f"creepfit: {runs[0].material}: its runs stand by themselves: {error}")
        return None
