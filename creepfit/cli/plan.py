"""The command `plan`: what to read next on a run."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from creepfit.cli.options import (
    Common,
    answer_options,
    progress,
    run_argument,
    show,
    show_json,
    time_option,
)
from creepfit.cli.runs import fit_of, read_source

if TYPE_CHECKING:
    from creepfit.answers.plan.question import Kind


@click.command()
@run_argument
@click.option(
    "--for",
    "question",
    type=click.Choice(["forecast", "set", "limit", "compare"]),
    help="What is asked: the deformation to come, what stays after unloading, whether --limit is kept, whether the "
    "material gives way less than that of --other. By default what --limit or --other say, else the forecast.",
)
@time_option("--by", "The time it is asked for.", default="1 year", show_default=True)
@click.option("--limit", metavar="SIZE", help='A deformation not to be exceeded, such as "2 mm".')
@click.option("--other", metavar="RUN", type=click.Path(), help="A run of the material to compare with.")
@time_option("--within", "How long from the last reading on there is time.", default="20 d", show_default=True)
@click.option("--hours", metavar="HOURS", help='When somebody is there to read, "8-17" if not given; for runs with dates.')
@click.option("--weekends", is_flag=True, help="Also read on Saturday and Sunday.")
@answer_options
def plan(
    run: str,
    question: Kind | None,
    by: float,
    limit: str | None,
    other: str | None,
    within: float,
    hours: str | None,
    weekends: bool,
    common: Common,
) -> None:
    """Say which readings to take next on a run, and what more days would buy.

    The best one, two and three readings together for a question, with the load left on or taken off now.
    """
    from creepfit.answers.plan.plan import plan as answer
    from creepfit.report.text.plan import running_text

    with progress("planning", 1):
        rival = None if other is None else fit_of(read_source(other), other, _unsaved(common))
        found = answer(
            fit_of(read_source(run), run, common),
            by,
            question=question,
            limit=limit,
            other=rival,
            within=within,
            hours=hours,
            weekends=weekends,
        )
    if common.as_json:
        show_json(found.to_dict())
    else:
        show(running_text(found))


def _unsaved(common: Common) -> Any:
    from dataclasses import replace

    return replace(common, save_to=None)
