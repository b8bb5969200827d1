"""The command `report`: runs, and a part if there is one, to one page and its figures."""

from __future__ import annotations

import itertools
import shlex
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from creepfit.cli.beside import drawing_beside
from creepfit.cli.options import (
    ANYWAY_HELP,
    KNOWN_HELP,
    Common,
    collect_rarely,
    debug_option,
    debugging,
    error_line,
    exit_code,
    force_option,
    level_option,
    moment_option,
    progress,
    runs_argument,
    seed_option,
    time_option,
)
from creepfit.cli.output import message
from creepfit.cli.runs import each, fit_of, named_apart, sources_of
from creepfit.errors import CreepfitError, InputError
from creepfit.units import YEAR, show_time

if TYPE_CHECKING:
    from creepfit.cli.runs import Source
    from creepfit.inference.fitting import Fit
    from creepfit.inference.saved import Saved
    from creepfit.records.part import Part
    from creepfit.records.run import Run
    from creepfit.report.page.html import RunPage
    from creepfit.report.page.run_figures import DrawRun

FULL = 3
"""Runs that a page shows in full; of more, each gets its readings with forecast, and its main tables."""

MANY = 6
"""Runs from which on it pays to start further processes."""


@click.command()
@runs_argument
@click.option("-o", "--output", metavar="FILE.html", required=True, type=click.Path(), help="The page to write.")
@click.option("--part", metavar="PART", type=click.Path(), help="A part: how far it will sag, by each run.")
@click.option("--figures", metavar="DIR", type=click.Path(), help="Also write the figures there, as SVG and PNG.")
@moment_option("--at", 'When, such as "1 year", or of one run a date; repeatable. 30 d and 1 year, or less, if not given.')
@click.option("--limit", metavar="SIZE", help='When does the specimen reach it? Such as "2 mm".')
@time_option("--life", "How long a limit is to be kept.", default="1 year", show_default=True)
@click.option("--known", multiple=True, type=click.Path(), metavar="RUN", help=KNOWN_HELP)
@click.option("--pool", is_flag=True, help="The runs of each material as one too, however many there are.")
@click.option("--anyway", is_flag=True, help=ANYWAY_HELP)
@debug_option
@force_option
@seed_option
@level_option
def report(
    runs: tuple[str, ...],
    output: str,
    part: str | None,
    figures: str | None,
    at: tuple[float | str, ...],
    limit: str | None,
    life: float,
    known: tuple[str, ...],
    pool: bool,
    anyway: bool,
    level: float | None,
    seed: int | None,
    force: bool,
) -> None:
    """Write a page to look at, of one run or several.

    It has the answers, figures, sliders, tables and doubts. The page needs no network and prints on A4 and letter.
    """
    from creepfit.records.outputs import check_ending, check_writable, write_text

    check_writable(output, force)
    check_ending(output, ".html", ".htm")
    if figures is not None:
        from creepfit.report.figures.saving import picture_folder

        picture_folder(figures)
    sources = sources_of(runs)
    dates = [time for time in at if isinstance(time, str)]
    if dates and (len(sources) > 1 or part is not None):
        problem = "a date, which is another time to each of several runs, and none to a part"
        raise InputError(problem, key="--at", found=dates[0], expected='a time since loading such as "1 year"')
    wanted = ReportOptions(
        _part(part),
        at,
        limit,
        life,
        Common(False, level, seed, None, force, known, anyway),
        len(sources) > FULL,
        figures is not None,
        len(sources) > 1,
    )
    with drawing_beside(len(sources) < MANY) as draw:  # of many each process draws what it fits
        done, fits, code = _sections(sources, wanted, draw)
    if done:
        # imported only now: where other processes do the work they shall not wait for this one
        from creepfit.report.page.html import page, pictures_of
        from creepfit.report.page.together import chapters

        joined = chapters(fits, at, [s.part for s in done if s.part is not None], pool)
        options = {"--part": part, "--limit": limit, "--level": level, "--seed": seed, "-o": output}
        write_text(output, page(done, _command(runs, options, at, life, known, anyway, pool), joined), force)
        message(f"wrote {output}")
        if figures is not None:
            from creepfit.report.figures.saving import save_pictures

            message(f"wrote {len(save_pictures(pictures_of(done, joined), figures, force))} figures to {figures}")
    if code:
        raise click.exceptions.Exit(code)


def _part(path: str | None) -> Part | None:
    if path is None:
        return None
    from creepfit.records.part_files import read_part

    return read_part(path)


@dataclass(frozen=True)
class ReportOptions:
    """What is asked of every run."""

    part: Part | None
    at: tuple[float | str, ...]
    limit: str | None
    life: float
    common: Common
    brief: bool
    pictures: bool
    several: bool


@dataclass(frozen=True)
class Failure:
    """The line and the exit code of what went wrong with a run."""

    line: str
    code: int


def _section(
    name: str, source: Run | Saved, number: int, wanted: ReportOptions, draw: DrawRun | None = None
) -> tuple[RunPage, Fit]:
    """What the page says of one run, and its fit."""
    from creepfit.answers.part.relaxation import relax
    from creepfit.answers.part.sag import sag
    from creepfit.report.page.findings import FEW_POINTS, POINTS, find
    from creepfit.report.page.html import section

    points = FEW_POINTS if wanted.brief else POINTS
    findings = find(fit_of(source, name, wanted.common, wanted.several), wanted.at, wanted.limit, wanted.life, points)
    part, sagging, held = wanted.part, None, None
    times = [row.time for row in findings.forecast.rows]
    if part is not None and (part.held is None or part.all_loads):
        sagging = sag(part, findings.fit, times)
    if part is not None and part.held is not None:
        held = relax(part, findings.fit, times, cautions=None if sagging is None else ())
    return section(findings, sagging, number, wanted.brief, wanted.pictures, held, draw), findings.fit


def _sections(
    sources: Sequence[Source], wanted: ReportOptions, draw: DrawRun | None
) -> tuple[list[RunPage], list[Fit], int]:
    """Sections of all runs in order, their fits, and the exit code; many runs are shared out among the processors."""
    sources = named_apart(sources)
    if len(sources) < MANY or debugging():
        number = itertools.count(1)

        def work(name: str, source: Run | Saved) -> tuple[RunPage, Fit]:
            return _section(name, source, next(number), wanted, draw)

        done, code = each(sources, "writing the report", work)
        return [one for one, _ in done], [fit for _, fit in done], code
    from joblib import Parallel, delayed

    jobs = (delayed(_attempt)(name, read, i + 1, wanted) for i, (name, read) in enumerate(sources))
    pages: list[tuple[RunPage, Fit]] = []
    code = 0
    with progress("writing the report", len(sources)) as step:
        for done in Parallel(n_jobs=-1, return_as="generator")(jobs):
            if isinstance(done, Failure):
                message(done.line)
                code = done.code
            else:
                pages.append(done)
            step()
    return [one for one, _ in pages], [fit for _, fit in pages], code


def _attempt(
    name: str, read: Callable[[], Run | Saved], number: int, wanted: ReportOptions
) -> tuple[RunPage, Fit] | Failure:
    """A section and its fit, or what went wrong: one run must not cost the others their answers."""
    collect_rarely()  # in a process of its own
    try:
        return _section(name, read(), number, wanted)
    except Exception as error:
        line = error_line(error)
        return Failure(line if isinstance(error, CreepfitError) else f"{name}: {line}", exit_code(error))


def _command(
    runs: Sequence[str],
    options: Mapping[str, object],
    at: Sequence[float | str],
    life: float,
    known: Sequence[str],
    anyway: bool,
    pool: bool = False,
) -> str:
    """How to ask for the same page again."""
    words = ["creepfit", "report", *runs]
    for run in known:
        words += ["--known", run]
    words += ["--anyway"] if anyway else []
    words += ["--pool"] if pool else []
    for time in at:
        words += ["--at", time if isinstance(time, str) else show_time(time)]
    words += [str(word) for name, value in options.items() if value is not None for word in (name, value)]
    if life != YEAR:
        words += ["--life", show_time(life)]
    return shlex.join(words)
