"""The command `compare`: runs, saved results, workbooks or folders of them, side by side in one property."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from creepfit.cli.options import (
    Common,
    answer_options,
    check_drawing,
    draw_answer,
    figure_option,
    known_option,
    pool_options,
    progress,
    runs_argument,
    show,
    show_json,
    time_option,
)
from creepfit.cli.runs import each, fit_of, pool_of, run_of, sources_of

if TYPE_CHECKING:
    from creepfit.answers.materials.comparison import Property
    from creepfit.cli.runs import Source
    from creepfit.inference.fitting import Fit
    from creepfit.inference.saved import Saved
    from creepfit.records.run import Run


@click.command()
@runs_argument
@time_option("--at", 'When, such as "5 d"; repeatable. 5 d if not given.', multiple=True)
@click.option(
    "--by",
    type=click.Choice(["deformation", "increment", "compliance", "recovered", "residual"]),
    help="What to compare. Deformation, or compliance where loads or shapes differ, if not given.",
)
@pool_options
@figure_option
@answer_options
@known_option
def compare(
    runs: tuple[str, ...],
    at: tuple[float, ...],
    by: Property | None,
    pool: bool,
    anyway: bool,
    figure: str | None,
    common: Common,
) -> None:
    """Say which material gives way less, and how surely.

    A RUN can also be a folder of saved results. With --pool runs of one material, printed alike, are fitted together and
    compared as one.
    """
    from creepfit.answers.materials.comparison import compare as answer
    from creepfit.report.text.compare import compare_text

    check_drawing(figure, common.force)
    sources = sources_of(runs, "results")

    def work(name: str, source: Run | Saved) -> Fit:
        return fit_of(source, name, common, len(sources) > 1)

    if pool:
        fits, code = _pools(sources, common, anyway)
    else:
        fits, code = each(sources, "fitting", work)
    result = answer(fits, at or ("5 d",), by=by, level=common.level)
    draw_answer(result, figure, common.force)
    if common.as_json:
        show_json(result.to_dict())
    else:
        show(compare_text(result))
    if code:
        raise click.exceptions.Exit(code)


def _pools(sources: list[Source], common: Common, anyway: bool) -> tuple[list[Fit], int]:
    """A fit for each material: of its runs together where it has several, and the exit code so far."""
    read, code = each(sources, "reading", lambda name, source: (name, source))
    groups: dict[object, list[tuple[str, Run | Saved]]] = {}
    for name, source in read:
        run = run_of(source)
        printed = frozenset((key, value.casefold()) for key, value in run.print_data)
        groups.setdefault((run.material.casefold(), printed), []).append((name, source))
    fits: list[Fit] = []
    with progress("fitting", len(groups)) as step:
        for named in groups.values():
            if len(named) > 1:
                fits.append(pool_of([run_of(source) for _, source in named], common, anyway))
            else:
                fits.append(fit_of(named[0][1], named[0][0], common, several=True))
            step()
    return fits, code
