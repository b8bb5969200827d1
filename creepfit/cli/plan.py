"""The command `plan`: a test before it begins, and what to read next on a run."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

import click

from creepfit.cli.options import Common, QuantityParam, ScatterParam, answer_options, moment_option, progress, time_option
from creepfit.cli.output import message, show_answer
from creepfit.cli.runs import fit_of, one_fit, read_source
from creepfit.errors import InputError

if TYPE_CHECKING:
    from creepfit.answers.plan.proposal import PlannedTest
    from creepfit.answers.plan.question import QuestionKind

RUNNING = ("question", "limit", "other", "within")
BEFORE = (
    "wanted",
    "lasts",
    "stress",
    "begin",
    "earlier",
    "part",
    "material",
    "test",
    "size",
    "gauge",
    "resolution",
    "load",
    "output",
)


@click.command()
@click.argument("run", metavar="[RUN]", type=click.Path(), required=False)
@moment_option(
    "--by",
    'The time that the answer is for, of a RUN a date too; "1 year" if neither given nor the life of --part.',
    multiple=False,
)
@click.option("--hours", metavar="HOURS", help='When somebody is there to read, "8-17" if not given.')
@click.option("--weekends", is_flag=True, help="Also read on Saturday and Sunday.")
@click.option(
    "--for",
    "question",
    type=click.Choice(["forecast", "set", "limit", "compare"]),
    help="Running test: what is asked, the deformation to come, what stays after unloading, whether --limit is kept, "
    "whether it gives way less than --other. By default what --limit or --other say, else the forecast.",
)
@click.option("--limit", metavar="SIZE", help='Running test: a deformation not to be exceeded, such as "2 mm".')
@click.option("--other", metavar="RUN", type=click.Path(), help="Running test: a run of the material to compare with.")
@time_option("--within", 'Running test: how long there is time from the last reading on; "20 d" if not given.')
@click.option("--wanted", type=ScatterParam(), metavar="PERCENT", help='Before: half width wanted, "15 %" if not given.')
@time_option("--lasts", 'Before: how long the load is to stay on, "5 d" if not given, nor in the file.')
@click.option("--material", metavar="NAME", help='Before: such as "PETG".')
@click.option("--test", metavar="TEST", help='Before: "cantilever", "three-point-bending", "tension" and so on.')
@click.option(
    "--size", metavar="NAME=SIZE", multiple=True, help='Before: a size as in [specimen], "length=60 mm"; repeatable.'
)
@click.option("--gauge", metavar="NAME", help='Before: what it is read with, "dial gauge" if not given.')
@click.option("--resolution", metavar="SIZE", help='Before: of the gauge, "0.01 mm" if not given.')
@click.option("--load", metavar="LOAD", help='Before: the load, such as "0.4 kg"; one is proposed if not given.')
@click.option(
    "--stress", type=QuantityParam("stress", "above zero"), metavar="STRESS", help="Before: the part's, to test at."
)
@click.option("--part", metavar="PART", type=click.Path(), help="Before: the part to answer for: its sag is asked.")
@click.option("--begin", metavar="DATE", help='Before: first day on which it can begin, "2031-05-05".')
@click.option(
    "--earlier", metavar="RUN", type=click.Path(), help="Before: a run of the material, instead of what is usual."
)
@click.option(
    "-o",
    "output",
    metavar="FILE",
    multiple=True,
    type=click.Path(),
    help="Before: also write a run file with the times (.toml), a sheet to print (.txt), reminders (.ics), a page (.html); "
    "repeatable.",
)
@answer_options
def plan(run: str | None, by: float | str | None, hours: str | None, weekends: bool, common: Common, **given: Any) -> None:
    """Plan a test before it begins, or say what to read next on a RUN.

    Before: load, length, number of bars and reading times that a person can keep, with what they are expected to give.
    Say what is known with --material, --test and --size, or name a run file without readings.

    While it runs: the best one, two and three readings together, what more days would buy, and whether to unload.
    """
    from creepfit.records.planned import read_planned

    tables = _tables(given) if run is None else None
    if run is not None and run.casefold().endswith(".toml"):
        planned = read_planned(run)
        tables = _with_options(planned, given, run) if isinstance(planned, dict) else None
    if tables is None:
        assert run is not None
        _refuse(given, BEFORE, "a run with readings")
        _running(run, by, hours, weekends, common, given)
    else:
        _refuse(given, RUNNING, "a test before it begins")
        _before(tables, run, by, hours, weekends, common, given)


def _running(
    run: str, by: float | str | None, hours: str | None, weekends: bool, common: Common, given: dict[str, Any]
) -> None:
    from creepfit.answers.plan.plan import plan as answer
    from creepfit.report.text.plan import running_text

    question: QuestionKind | None = given["question"]
    with progress("planning", 1):
        other = given["other"]
        rival = None if other is None else fit_of(read_source(other), other, replace(common, save_to=None))
        planned = answer(
            fit_of(read_source(run), run, common),
            "1 year" if by is None else by,
            question=question,
            limit=given["limit"],
            other=rival,
            within="20 d" if given["within"] is None else given["within"],
            hours=hours,
            weekends=weekends,
        )
    show_answer(planned, running_text, common.as_json)


def _before(
    tables: dict[str, Any],
    file: str | None,
    by: float | str | None,
    hours: str | None,
    weekends: bool,
    common: Common,
    given: dict[str, Any],
) -> None:
    from creepfit.answers.plan.hours import first_day, working_hours
    from creepfit.answers.plan.proposal import plan_test
    from creepfit.records.part_files import read_part
    from creepfit.report.text.plan import planned_text

    if common.save_to is not None:
        raise InputError("a plan is not a result", key="--save", expected="-o FILE.toml, which is the run to come")
    _check_outputs(given["output"], given["begin"] is not None or "start" in tables.get("run", {}), common.force)
    earlier = given["earlier"]
    more = {} if common.seed is None else {"seed": common.seed}
    with progress("planning", 1):
        planned = plan_test(
            tables,
            by,
            wanted=0.15 if given["wanted"] is None else given["wanted"],
            level=0.9 if common.level is None else common.level,
            lasts=given["lasts"],
            stress=given["stress"],
            begin=first_day(given["begin"]),
            hours=working_hours(hours, weekends),
            earlier=None if earlier is None else one_fit(earlier, common),
            part=None if given["part"] is None else read_part(given["part"]),
            file=file,
            **more,
        )
    show_answer(planned, planned_text, common.as_json)
    _write(planned, given["output"], common.force)


def _check_outputs(paths: tuple[str, ...], dated: bool, force: bool) -> None:
    if not paths:
        return
    from creepfit.records.outputs import check_writable
    from creepfit.report.plan_files import check_plan_file

    for path in paths:
        check_plan_file(path, dated)
        check_writable(path, force)


def _write(plan: PlannedTest, paths: tuple[str, ...], force: bool) -> None:
    if not paths:
        return
    from creepfit.report.plan_files import write_plan

    for path in paths:
        message(write_plan(plan, path, force))
    if plan.dated and plan.begin < datetime.now():
        message(f"this plan begins {plan.begin:%Y-%m-%d %H:%M}, which is over: its dates and reminders are past")


def _refuse(given: dict[str, Any], names: tuple[str, ...], what: str) -> None:
    for name in names:
        if given[name] not in (None, ()):
            option = {"question": "--for", "output": "-o"}.get(name, f"--{name}")
            raise InputError(key=option, found=what, expected="none: it is not for this")


def _tables(given: dict[str, Any]) -> dict[str, Any]:
    """Tables of a run file from options."""
    from creepfit.records.specimen_tables import read_specimen

    for name in ("material", "test"):
        if given[name] is None:
            expected = "--material, --test and --size, a run file without readings, or a run"
            raise InputError("missing", key=f"--{name}", expected=expected)
    tables = _with_options({"run": {}, "specimen": {}, "gauge": {}}, given, None)
    try:
        read_specimen(tables, None, "length")
    except InputError as error:
        table, _, name = (error.key or "").partition(".")
        if table != "specimen" or name == "test":
            raise
        key = f"--size {name}".rstrip()
        raise InputError(error.problem, key=key, found=error.found, expected=error.expected) from None
    return tables


def _with_options(tables: dict[str, Any], given: dict[str, Any], file: str | None) -> dict[str, Any]:
    """The tables with what options say besides; what stands in a file is not overruled."""
    for name in ("run", "specimen", "gauge"):
        if not isinstance(tables.get(name, {}), dict):
            raise InputError(file=file, key=name, found=tables[name], expected=f"a table [{name}]")
    out = {name: dict(table) if isinstance(table, dict) else table for name, table in tables.items()}
    wanted = {
        ("run", "material"): given["material"],
        ("specimen", "test"): given["test"],
        ("gauge", "instrument"): given["gauge"],
        ("gauge", "resolution"): given["resolution"],
    }
    for one in given["size"]:
        name, sign, value = one.partition("=")
        if not sign or not name.strip() or not value.strip():
            raise InputError(key="--size", found=one, expected='a name and a size such as "length=60 mm"')
        wanted["specimen", name.strip()] = value.strip()
    for (table, key), value in wanted.items():
        if value is None:
            continue
        if key in out.get(table, {}):
            raise InputError("twice", file=file, key=f"{table}.{key}", found=value, expected="it once, in file or option")
        out.setdefault(table, {})[key] = value
    if file is None or "gauge" not in tables:
        out.setdefault("gauge", {}).setdefault("resolution", "0.01 mm")
        out["gauge"].setdefault("instrument", "dial gauge")
    if given["load"] is not None:
        if out.get("load"):
            raise InputError("twice", file=file, key="load", found=given["load"], expected="it once, in file or option")
        out["load"] = [{"at": "0 s", _kind_of_load(given["load"]): given["load"]}]
    return out


def _kind_of_load(text: str) -> str:
    return "mass" if text.rstrip().endswith("g") else "force"
