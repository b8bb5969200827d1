"""The command `stress`: is creep in proportion to stress, by which law it is not, and curves of strain against stress."""

from __future__ import annotations

import click

from creepfit.cli.options import Common, QuantityParam, answer_options, figure_option, progress, runs_argument, time_option
from creepfit.cli.output import check_drawing, draw_answer, show_answer
from creepfit.cli.runs import fits_of_one_material, with_those_left


@click.command()
@runs_argument
@time_option("--at", 'When, such as "100 h"; repeatable. 1 to 10 000 h as in ISO 899 if not given.', multiple=True)
@click.option(
    "--stress",
    "stresses",
    type=QuantityParam("stress", "above zero"),
    metavar="STRESS",
    multiple=True,
    help='A further stress for the curves, such as "6 MPa"; repeatable. It takes three tested stresses.',
)
@click.option("--anyway", is_flag=True, help="Go on although material, temperature, conditioning or print data differ.")
@figure_option
@answer_options
def stress(
    runs: tuple[str, ...],
    at: tuple[float, ...],
    stresses: tuple[float, ...],
    anyway: bool,
    figure: str | None,
    common: Common,
) -> None:
    """Say whether creep is in proportion to stress.

    The RUNs are of one material: at two stresses or more, or one run whose load went up in steps. Two stresses give the
    ratio of their compliances, three and more also a law (Findley's hyperbolic sine). Isochronous curves (strain against
    stress at one time) and creep moduli are at the times of ISO 899; entries that are forecasts are marked.
    """
    from creepfit.answers.stress.dependence import stress_dependence
    from creepfit.report.text.stress import stress_text

    check_drawing(figure, common.force)
    fits, code = fits_of_one_material(runs, common, anyway)
    with with_those_left(code), progress("comparing stresses", 1):
        result = stress_dependence(fits, at, stresses, common.level)
    show_answer(result, stress_text, common.as_json)
    draw_answer(result, figure, common.force)
    if code:
        raise click.exceptions.Exit(code)
