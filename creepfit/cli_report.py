"""The command `report`: runs, and a part if there is one, to one page and its figures."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from creepfit.cli_options import (
    Common,
    debug_option,
    force_option,
    level_option,
    message,
    runs_argument,
    seed_option,
    time_option,
)
from creepfit.cli_runs import each, fit_of, sources_of
from creepfit.units import YEAR, show_time

if TYPE_CHECKING:
    from creepfit.answers.sag import Sag
    from creepfit.inference.saved import Saved
    from creepfit.records.run import Run
    from creepfit.report.findings import Findings


@click.command()
@runs_argument
@click.option("-o", "--output", metavar="FILE.html", required=True, type=click.Path(), help="The page to write.")
@click.option("--part", metavar="PART", type=click.Path(), help="A part: how far it will sag, by each run.")
@click.option("--figures", metavar="DIR", type=click.Path(), help="Also write the figures there, as SVG and PNG.")
@time_option("--at", 'When, such as "1 year"; repeatable. 30 d and 1 year, or less after a short test.', multiple=True)
@click.option("--limit", metavar="SIZE", help='When does the specimen reach it? Such as "2 mm".')
@time_option("--life", "How long a limit is to be kept.", default="1 year", show_default=True)
@debug_option
@force_option
@seed_option
@level_option
def report(
    runs: tuple[str, ...],
    output: str,
    part: str | None,
    figures: str | None,
    at: tuple[float, ...],
    limit: str | None,
    life: float,
    level: float | None,
    seed: int | None,
    force: bool,
) -> None:
    """Write a page to look at: answers, figures, sliders, tables and doubts of one run or several.

    The page needs no network and prints on A4 and letter.
    """
    from creepfit.records.outputs import check_writable, write_text
    from creepfit.records.part_files import read_part
    from creepfit.report.findings import find
    from creepfit.report.html import page
    from creepfit.report.saving import save_figures

    check_writable(output, force)
    read = None if part is None else read_part(part)
    sources = sources_of(runs)
    common = Common(False, level, seed, None, force)

    def work(name: str, source: Run | Saved) -> tuple[Findings, Sag | None]:
        from creepfit.answers.doubts import about_fit
        from creepfit.answers.sag import sag

        found = find(fit_of(source, name, common, len(sources) > 1), at, limit, life)
        if read is None:
            return found, None
        times = [row.time for row in found.forecast.rows]
        return found, sag(read, found.fit, times, cautions=about_fit(found.fit))

    options = {"--part": part, "--limit": limit, "--level": level, "--seed": seed, "-o": output}
    command = _command(runs, options, at, life)
    done, code = each(sources, "writing the report", work)
    if done:
        found, sags = zip(*done, strict=True)
        write_text(output, page(found, sags, command), force)
        message(f"wrote {output}")
        if figures is not None:
            message(f"wrote {len(save_figures(found, figures, sags, force))} figures to {figures}")
    if code:
        raise click.exceptions.Exit(code)


def _command(runs: Sequence[str], options: dict[str, object], at: Sequence[float], life: float) -> str:
    """How to ask for the same page again."""
    words = ["creepfit", "report", *runs]
    for time in at:
        words += ["--at", show_time(time)]
    words += [str(word) for name, value in options.items() if value is not None for word in (name, value)]
    if life != YEAR:
        words += ["--life", show_time(life)]
    return shlex.join(words)
