"""The command line: each command reads, calls one function, and shows what came out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import click

from creepfit.cli.add import add
from creepfit.cli.compare import compare
from creepfit.cli.desk import desk
from creepfit.cli.draw import draw
from creepfit.cli.first_day import as_begun, begun_too, first_day_of
from creepfit.cli.many import batch, shelf
from creepfit.cli.new import new
from creepfit.cli.options import (
    Commands,
    Common,
    TemperatureOptions,
    answer_options,
    broke_option,
    collect_rarely,
    debug_option,
    figure_option,
    full_option,
    known_option,
    known_options,
    moment_option,
    one_thread,
    part_options,
    pool_options,
    progress,
    run_argument,
    runs_argument,
    time_option,
    warmth_options,
)
from creepfit.cli.output import check_drawing, draw_answer, fit_to_terminal, message, show, show_json
from creepfit.cli.plan import plan
from creepfit.cli.relax import relax
from creepfit.cli.report import report
from creepfit.cli.runs import each, fit_of, in_warmth, material_in_warmth, pooled_fit, read_runs, sources_of
from creepfit.cli.soften import soften
from creepfit.cli.stress import stress
from creepfit.cli.temperature import temperature

if TYPE_CHECKING:
    from creepfit.answers.part.sag import Sag
    from creepfit.inference.fitting import Fit
    from creepfit.inference.saved import Saved
    from creepfit.records.run import Run

PrintedAnswer = tuple[dict[str, Any], str]


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="creepfit", message="creepfit %(version)s")
@debug_option
def main() -> None:
    """Judge from a few creep readings how far a plastic part will sag, and how sure that is.

    A RUN is a run file (creepfit new run FILE writes one to start from), a workbook with a run on each of its sheets, a
    result kept with --save, or a folder of run files. Numbers go to standard output, messages to standard error. Exit
    code 0: done; 2: something in what was given; 1: a fault of ours.
    """
    one_thread()
    collect_rarely()
    fit_to_terminal()


main.add_command(new)


@main.command()
@runs_argument
@click.option("--against", type=click.Path(), metavar="SAVED", help="Score an older forecast by the readings since.")
@answer_options
def check(runs: tuple[str, ...], against: str | None, common: Common) -> None:
    """Say what is doubtful about a run, and what to read next; from its first day on."""
    from creepfit.answers.specimen.check import check as answer
    from creepfit.inference.saved import load_saved
    from creepfit.records.begun import BegunRun
    from creepfit.report.text.answers import check_text

    sources = begun_too(sources_of(runs))
    old = None if against is None else load_saved(against)

    def work(name: str, source: Run | Saved | BegunRun) -> PrintedAnswer:
        begun = as_begun(source)
        if begun is not None:
            return first_day_of(begun)
        assert not isinstance(source, BegunRun)
        checked = answer(fit_of(source, name, common, len(sources) > 1), old)
        return checked.to_dict(), check_text(checked)

    _show(*each(sources, "checking", work), common.as_json, len(sources) > 1)


@main.command()
@runs_argument
@pool_options
@figure_option
@full_option
@answer_options
@known_option
def fit(runs: tuple[str, ...], pool: bool, anyway: bool, figure: str | None, full: bool, common: Common) -> None:
    """Fit all creep models and say what the run means.

    How far it has moved, whether creep has stopped, and what is most doubtful; with --full the models with their errors,
    creep from reading to reading, the creep modulus and every doubt. With --pool several runs of one material are fitted
    as one, and answers are for a new specimen.
    """
    from creepfit.answers.specimen.summary import summarise
    from creepfit.report.text.answers import fit_text
    from creepfit.report.text.short import short_fit

    if pool:
        check_drawing(figure, common.force)
        from creepfit.answers.materials.pool import summarise_pool
        from creepfit.report.text.pool import pool_text, short_pool

        with progress("fitting together", 1):
            summary = summarise_pool(pooled_fit(runs, common, anyway))
            draw_answer(summary, figure, common.force)
            shown = summary.to_dict(), pool_text(summary) if full else short_pool(summary)
        _show([shown], 0, common.as_json, several=False)
        return
    sources = sources_of(runs)
    check_drawing(figure, common.force, len(sources) > 1)

    def work(name: str, source: Run | Saved) -> PrintedAnswer:
        answer = summarise(fit_of(source, name, common, len(sources) > 1))
        draw_answer(answer, figure, common.force)
        return answer.to_dict(), fit_text(answer) if full else short_fit(answer)

    _show(*each(sources, "fitting", work), common.as_json, len(sources) > 1)


@main.command()
@runs_argument
@pool_options
@moment_option("--at", 'When, such as "1 year", or a date; repeatable.', required=True)
@click.option("--load", metavar="LOAD", help='Another load held from the start, such as "0.3 kg".')
@click.option(
    "--history",
    type=click.Path(),
    metavar="FILE",
    help="A load that changes: a TOML file of steps [[load]] or a cycle [duty]; creepfit new history FILE writes one.",
)
@click.option("--limit", metavar="SIZE", help='When is it reached? Such as "2 mm".')
@time_option("--life", "And which load keeps the limit for so long?", default="1 year", show_default=True)
@click.option("--reading", is_flag=True, help="Intervals of the gauge's next reading, not of the mean curve.")
@broke_option
@full_option
@warmth_options
@figure_option
@answer_options
@known_option
def forecast(
    runs: tuple[str, ...],
    pool: bool,
    anyway: bool,
    at: tuple[float | str, ...],
    load: str | None,
    history: str | None,
    limit: str | None,
    life: float,
    reading: bool,
    broke: tuple[str, ...],
    full: bool,
    warmth: TemperatureOptions,
    figure: str | None,
    common: Common,
) -> None:
    """Say how far the specimen will have moved at later times."""
    from creepfit.answers.specimen.forecast import forecast as answer
    from creepfit.records.history_file import read_history
    from creepfit.report.text.answers import forecast_text
    from creepfit.report.text.short import short_forecast

    kind: Literal["curve", "reading"] = "reading" if reading else "curve"
    bars = read_runs(broke) if broke else ()

    def said(fitted: Fit) -> PrintedAnswer:
        fitted = in_warmth(fitted, warmth, common)
        plan = None if history is None else read_history(history, fitted.run)
        result = answer(fitted, at, load=load, history=plan, limit=limit, life=life, kind=kind, breaks=bars)
        draw_answer(result, figure, common.force)
        return result.to_dict(), forecast_text(result) if full else short_forecast(result)

    if pool:
        check_drawing(figure, common.force)
        with progress("forecasting", 1):
            shown = said(pooled_fit(runs, common, anyway))
        _show([shown], 0, common.as_json, several=False)
        return
    sources = sources_of(runs)
    check_drawing(figure, common.force, len(sources) > 1)

    def work(name: str, source: Run | Saved) -> PrintedAnswer:
        return said(fit_of(source, name, common, len(sources) > 1))

    _show(*each(sources, "forecasting", work), common.as_json, len(sources) > 1)


@main.command()
@run_argument
@moment_option("--after", 'How long after unloading, such as "1 d", or a date; repeatable.', required=True)
@figure_option
@warmth_options
@answer_options
@known_options
def recover(
    run: str, after: tuple[float | str, ...], figure: str | None, warmth: TemperatureOptions, common: Common
) -> None:
    """Say what goes back after unloading, and what stays."""
    from creepfit.answers.specimen.recovery import recovery
    from creepfit.report.text.answers import recovery_text

    sources = sources_of([run])
    check_drawing(figure, common.force, len(sources) > 1)

    def work(name: str, source: Run | Saved) -> PrintedAnswer:
        fitted = in_warmth(fit_of(source, name, common, len(sources) > 1), warmth, common)
        result = recovery(fitted, after)
        draw_answer(result, figure, common.force)
        return result.to_dict(), recovery_text(result)

    _show(*each(sources, "working out the recovery", work), common.as_json, len(sources) > 1)


@main.command()
@part_options
@click.option("--limit", metavar="SIZE", help='Sag allowed, such as "2 mm"; the part file\'s own if not given.')
@time_option("--life", "How long the limit is to be kept; the part file's own if not given.")
@time_option("--unload-at", "When the loads come off: what is left then?")
@full_option
@warmth_options
@click.option("--figure", type=click.Path(), metavar="FILE.svg", help="Also draw the part as made and bent: .svg or .png.")
@broke_option
@answer_options
@known_options
def sag(
    part: str,
    material: tuple[str, ...],
    at: tuple[float, ...],
    limit: str | None,
    life: float | None,
    scatter: float | None,
    unload_at: float | None,
    full: bool,
    warmth: TemperatureOptions,
    figure: str | None,
    broke: tuple[str, ...],
    common: Common,
) -> None:
    """Say how far a PART will sag, from a run on its material."""
    from creepfit.answers.part.sag import sag as answer
    from creepfit.records.part_files import read_part
    from creepfit.report.text.part import render_sag
    from creepfit.report.text.short import short_sag

    check_drawing(figure, common.force)
    with progress("working out the sag", 1):
        read = read_part(part)
        fitted, dependence = material_in_warmth(material, warmth, common)
        result = answer(
            read,
            fitted,
            at,
            limit=limit,
            life=life,
            specimen_scatter=scatter,
            unload_at=unload_at,
            dependence=dependence,
            breaks=read_runs(broke) if broke else (),
        )
        shown = result.to_dict(), render_sag(result) if full else short_sag(result)
    _show([shown], 0, common.as_json, several=False)
    if figure is not None:
        _save_shape(result, figure, common.force)
        message(f"wrote {figure}")


main.add_command(add)
main.add_command(desk)
main.add_command(draw)
main.add_command(plan)
main.add_command(relax)
main.add_command(stress)
main.add_command(temperature)
main.add_command(soften)
main.add_command(compare)
main.add_command(shelf)
main.add_command(batch)
main.add_command(report)


def _save_shape(result: Sag, path: str, force: bool) -> None:
    from creepfit.report.figures.part import shape_figure
    from creepfit.report.figures.saving import save_drawing
    from creepfit.report.showing import drawn

    save_drawing(drawn(result, shape_figure(result)), path, force)


def _show(answers: list[PrintedAnswer], code: int, as_json: bool, several: bool) -> None:
    """Print answers and leave with the exit code of the last failure."""
    if as_json and several:
        show_json([content for content, _ in answers])
    elif as_json:
        show_json(answers[0][0])
    elif answers:
        show("\n\n\n".join(text for _, text in answers))
    if code:
        raise click.exceptions.Exit(code)
