"""The command `stress`: is creep in proportion to stress, by which law it is not, and curves of strain against stress."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from creepfit.cli.options import Common, Quantity, answer_options, progress, runs_argument, show, show_json, time_option
from creepfit.cli.runs import each, fit_of, sources_of

if TYPE_CHECKING:
    from creepfit.inference.fitting import Fit
    from creepfit.inference.saved import Saved
    from creepfit.records.run import Run


@click.command()
@runs_argument
@time_option("--at", 'When, such as "100 h"; repeatable. 1 to 10 000 h as in ISO 899 if not given.', multiple=True)
@click.option(
    "--stress",
    "stresses",
    type=Quantity("stress", "above zero"),
    metavar="STRESS",
    multiple=True,
    help='A further stress for the curves, such as "6 MPa"; repeatable. It takes three tested stresses.',
)
@click.option("--anyway", is_flag=True, help="Go on although material, temperature, conditioning or print data differ.")
@answer_options
def stress(runs: tuple[str, ...], at: tuple[float, ...], stresses: tuple[float, ...], anyway: bool, common: Common) -> None:
    """Say whether creep is in proportion to stress.

    The RUNs are of one material: at two stresses or more, or one run whose load went up in steps. Two stresses give the
    ratio of their compliances, three and more also a law (Findley's hyperbolic sine). Isochronous curves (strain against
    stress at one time) and creep moduli are at the times of ISO 899; entries that are forecasts are marked.
    """
    from creepfit.answers.stress.dependence import stress_dependence
    from creepfit.inference.pool_checks import check_distinct, check_poolable
    from creepfit.report.text.stress import stress_text

    sources = sources_of(runs)

    def work(name: str, source: Run | Saved) -> Fit:
        return fit_of(source, name, common, len(sources) > 1)

    fits, code = each(sources, "fitting", work)
    check_distinct([fit.run for fit in fits])
    check_poolable([fit.run for fit in fits], anyway)
    with progress("comparing stresses", 1):
        result = stress_dependence(fits, at, stresses, common.level)
    if common.as_json:
        show_json(result.to_dict())
    else:
        show(stress_text(result))
    if code:
        raise click.exceptions.Exit(code)
