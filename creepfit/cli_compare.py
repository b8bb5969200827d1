"""The command `compare`: runs, saved results, workbooks or folders of them, side by side in one property."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from creepfit.cli_options import Common, answer_options, runs_argument, show, show_json, time_option
from creepfit.cli_runs import each, fit_of, sources_of

if TYPE_CHECKING:
    from creepfit.answers.comparison import Property
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
@answer_options
def compare(runs: tuple[str, ...], at: tuple[float, ...], by: Property | None, common: Common) -> None:
    """Say which material gives way less, by how much, and whether these readings can tell."""
    from creepfit.answers.comparison import compare as answer
    from creepfit.report.text_compare import compare_text

    sources = sources_of(runs, "results")

    def work(name: str, source: Run | Saved) -> Fit:
        return fit_of(source, name, common, len(sources) > 1)

    fits, code = each(sources, "fitting", work)
    result = answer(fits, at or ("5 d",), by=by, level=common.level)
    if common.as_json:
        show_json(result.to_dict())
    else:
        show(compare_text(result))
    if code:
        raise click.exceptions.Exit(code)
