"""The command `soften`: a bar under a small load in an oven that warms."""

from __future__ import annotations

import click

from creepfit.cli.options import debug_option, figure_option, force_option, json_option, level_option, runs_argument
from creepfit.cli.output import check_drawing, draw_answer, show, show_json
from creepfit.cli.runs import run_of, sources_of


@click.command()
@runs_argument
@click.option("--strain", metavar="STRAIN", help='Strain of the outer fibre, such as "0.2 %", which is taken if not given.')
@click.option("--deflection", metavar="SIZE", help='In its place the further deflection itself, such as "0.32 mm".')
@click.option("--lag", metavar="TIME", help='By how much the thermometer runs ahead of the bar, such as "30 s".')
@level_option
@figure_option
@force_option
@json_option
@debug_option
def soften(
    runs: tuple[str, ...],
    strain: str | None,
    deflection: str | None,
    lag: str | None,
    level: float | None,
    figure: str | None,
    force: bool,
    as_json: bool,
) -> None:
    """Say where a bar softens in an oven.

    Each RUN is a bar under one small load, read with its temperature while the oven warms slowly. It says at which
    temperature the bar has bent by a chosen further deflection, and where it leaves its line of expansion.
    """
    from creepfit.answers.temperature.softening import softening
    from creepfit.inference.pool_checks import check_distinct
    from creepfit.report.text.softening import softening_text

    check_drawing(figure, force)
    read = [run_of(read()) for _, read in sources_of(runs)]
    check_distinct(read)
    level = 0.9 if level is None else level
    bars = [softening(run, strain=strain, deflection=deflection, lag=lag, level=level) for run in read]
    if as_json:
        answers = [f.to_dict() for f in bars]
        show_json(answers[0] if len(answers) == 1 else answers)
    else:
        show(softening_text(bars))
    draw_answer(bars, figure, force)
