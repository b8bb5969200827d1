"""The command `temperature`: what warmth does to a material, and whether it is a clock that runs faster."""

from __future__ import annotations

import click

from creepfit.cli.options import Common, QuantityParam, answer_options, figure_option, progress, runs_argument, time_option
from creepfit.cli.output import check_drawing, draw_answer, show_answer
from creepfit.cli.runs import fits_of_one_material, with_those_left


@click.command()
@runs_argument
@time_option("--at", 'When, such as "100 h"; repeatable. 1 min, 1 d and 1 year if not given.', multiple=True)
@click.option(
    "--to",
    type=QuantityParam("temperature"),
    metavar="TEMPERATURE",
    multiple=True,
    help='A further temperature, such as "35 degC"; repeatable.',
)
@click.option("--anyway", is_flag=True, help="Go on although material, conditioning or print data differ.")
@figure_option
@answer_options
def temperature(
    runs: tuple[str, ...], at: tuple[float, ...], to: tuple[float, ...], anyway: bool, figure: str | None, common: Common
) -> None:
    """Say what warmth does to a material.

    The RUNs are of one material at two temperatures or more, or one run whose temperature went up in steps. It says how
    much more the material gives way by each 10 K, and whether the readings show a clock that runs faster: only then is
    anything shifted along the time axis.
    """
    from creepfit.answers.temperature.dependence import DEFAULT_TIMES, temperature_dependence
    from creepfit.report.text.temperature import temperature_text

    check_drawing(figure, common.force)
    fits, code = fits_of_one_material(runs, common, anyway, but=("temperature",))
    with with_those_left(code), progress("comparing temperatures", 1):
        result = temperature_dependence(fits, at or DEFAULT_TIMES, to, common.level)
    show_answer(result, temperature_text, common.as_json)
    draw_answer(result, figure, common.force)
    if code:
        raise click.exceptions.Exit(code)
