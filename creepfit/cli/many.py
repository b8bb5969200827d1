"""Commands for many runs: fit a folder on all cores or a cluster, and put a folder of results into one table."""

from __future__ import annotations

import click

from creepfit.cli.options import (
    FAULT,
    debug_option,
    force_option,
    json_option,
    level_option,
    progress,
    runs_argument,
    seed_option,
)
from creepfit.cli.output import draw_answer, message, show, show_json
from creepfit.errors import InputError

jobs_option = click.option(
    "--jobs", type=int, default=-1, metavar="N", help="Processes to work with; one a core if not given."
)


def _not_output(_: click.Context, __: click.Parameter, value: str | None) -> None:
    if value is not None:
        expected = f"a folder for them: --into {value}"
        raise InputError("a result is written for each run", key="-o", expected=expected)


@click.command()
@runs_argument
@click.option(
    "-o", "--output", hidden=True, expose_value=False, is_eager=True, callback=_not_output, help="Not here: see --into."
)
@click.option("--into", metavar="FOLDER", required=True, type=click.Path(), help="Where results go, a file for each run.")
@jobs_option
@click.option("--cluster", metavar="ADDRESS", help='Work on a Dask cluster: its scheduler, such as "tcp://10.0.0.5:8786".')
@debug_option
@force_option
@seed_option
@level_option
def batch(
    runs: tuple[str, ...], into: str, jobs: int, cluster: str | None, level: float | None, seed: int | None, force: bool
) -> None:
    """Fit many runs at once and save every result.

    A RUN can be a folder: of all run files and workbooks in it. A run that cannot be fitted costs one line on standard
    error and the rest is done. Results that are there already, of the same run and options, are kept, so that a batch
    that was stopped goes on where it stopped.
    """
    from creepfit.answers.materials.batch import fit_sources
    from creepfit.inference.sources import sources_of
    from creepfit.inference.spreading import check_jobs

    check_jobs(jobs)
    sources = sources_of(runs)
    with progress("fitting", len(sources)) as step:
        done = fit_sources(sources, into, jobs, cluster, force, level=level, seed=seed, failed=_complain, step=step)
    there_already = f", {len(done.kept)} there already" if done.kept else ""
    lost = f", {len(done.failed)} failed" if done.failed else ""
    message(f"{len(done.saved)} fitted{there_already}{lost}: {into}")
    if done.failed:
        raise click.exceptions.Exit(_code(done.failed))


@click.command()
@runs_argument
@click.option("-o", "--output", metavar="FILE", type=click.Path(), help="Write the table there: .csv or .xlsx.")
@click.option("--figure", metavar="FILE", type=click.Path(), help="Draw all results there: .svg or .png.")
@jobs_option
@json_option
@debug_option
@force_option
@seed_option
@level_option
def shelf(
    runs: tuple[str, ...],
    output: str | None,
    figure: str | None,
    jobs: int,
    as_json: bool,
    level: float | None,
    seed: int | None,
    force: bool,
) -> None:
    """Put all results in a folder into one table.

    RUN is a folder of saved results, made with --save or batch. The table is made anew from it each time: modulus at
    1 h, creep at 5 d, 30 d and 1 year, and what has gone back, as far as there is room for the columns. -o and --json
    also give the set, the test, and the doubts about each result. With -o or --figure it goes to files instead of
    standard output.
    """
    from creepfit.answers.materials.shelf import shelf_of
    from creepfit.inference.sources import sources_of
    from creepfit.report.text.shelf import shelf_text

    _check_outputs(output, figure, force)
    sources = sources_of(runs, "results")
    with progress("fitting", len(sources)) as step:
        table = shelf_of(sources, jobs, level, seed, failed=_complain, step=step)
    for note in table.notes:
        message(note)
    if table.rows:
        if output is not None:
            from creepfit.report.shelf_table import write_table

            message(write_table(table, output, force))
        if figure is not None:
            draw_answer(table, figure, force)
    if as_json:
        show_json(table.to_dict())
    elif table.rows and output is None and figure is None:
        show(shelf_text(table))
    if table.failed:
        raise click.exceptions.Exit(_code(table.failed))


def _check_outputs(output: str | None, figure: str | None, force: bool) -> None:
    """Refuse names and places that cannot be written to before the work for them is done."""
    from creepfit.records.outputs import check_figure, check_writable

    if output is not None:
        from creepfit.report.shelf_table import check_table_name

        check_table_name(output)
        check_writable(output, force)
    if figure is not None:
        check_figure(figure, force)


def _complain(line: str) -> None:
    message(f"creepfit: {line}")


def _code(failures: tuple[str, ...]) -> int:
    """Exit code: 2 for what the user gave, 1 where any failure is a fault of ours."""
    from creepfit.inference.spreading import OUR_FAULT

    return FAULT if any(OUR_FAULT in line for line in failures) else 2
