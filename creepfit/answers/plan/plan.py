"""`plan`: a test before it begins, and what to read next while it runs."""

from __future__ import annotations

import os
from datetime import datetime
from typing import overload

from creepfit.answers.plan.hours import first_day, working_hours
from creepfit.answers.plan.proposal import PlannedTest, plan_test
from creepfit.answers.plan.question import QuestionKind
from creepfit.answers.plan.running import RunningPlan, plan_running
from creepfit.inference.fitting import fit
from creepfit.inference.mixture import DEFAULT_SEED
from creepfit.inference.run_fit import Fit, asked_fit
from creepfit.records.part import Part, asked_part
from creepfit.records.planned import Tables, read_planned
from creepfit.records.run import Run


@overload
def plan(
    of: Fit | Run,
    by: str | float = ...,
    *,
    hours: str | None = ...,
    weekends: bool = ...,
    question: QuestionKind | None = ...,
    limit: str | float | None = ...,
    other: Fit | None = ...,
    within: str | float = ...,
) -> RunningPlan: ...


@overload
def plan(
    of: Tables,
    by: str | float | None = ...,
    *,
    hours: str | None = ...,
    weekends: bool = ...,
    wanted: str | float = ...,
    level: str | float = ...,
    lasts: str | float | None = ...,
    stress: str | float | None = ...,
    begin: str | datetime | None = ...,
    earlier: Fit | None = ...,
    part: Part | None = ...,
    seed: int = ...,
) -> PlannedTest: ...


@overload
def plan(of: str | os.PathLike[str], by: str | float = ...) -> RunningPlan | PlannedTest: ...


def plan(
    of: Fit | Run | Tables | str | os.PathLike[str],
    by: str | float | None = None,
    *,
    hours: str | None = None,
    weekends: bool = False,
    question: QuestionKind | None = None,
    limit: str | float | None = None,
    other: Fit | None = None,
    within: str | float = "20 d",
    wanted: str | float = 0.15,
    level: str | float = 0.9,
    lasts: str | float | None = None,
    stress: str | float | None = None,
    begin: str | datetime | None = None,
    earlier: Fit | None = None,
    part: Part | None = None,
    seed: int = DEFAULT_SEED,
) -> RunningPlan | PlannedTest:
    """Plan a test before it begins, or the next readings of one that runs.

    Parameters
    ----------
    of : Fit, Run, dict or path
        A run with readings, for what to read next; or what is known of a test before it: the tables of a run file as a
        dict, {"run": {"material": "PETG"}, "specimen": {...}, "gauge": {...}}, or a run file without readings.
    by : str or float, optional
        Time that the answer is for, text or s, or of a running test a date; at most 100 times the data, or the test,
        count. By default a year, or the life of `part`.
    hours : str, optional
        When somebody is there to read, "8-17".
    weekends : bool
        Whether also on Saturday and Sunday.
    question : str, optional
        Of a running test: "forecast", "set" (what stays after unloading), "limit" (is `limit` kept until `by`) or
        "compare" (does it give way less than `other`); by default what `limit` or `other` say, else the forecast.
    limit : str or float, optional
        Deformation not to be exceeded: "2 mm", or a number in mm (strain).
    other : Fit, optional
        Of the other material.
    within : str or float
        How long from the last reading on there is time.
    wanted : str or float
        Before a test: half width of the interval over the deformation, 0.15 or "15 %".
    level : str or float
        Before a test: probability of that interval; a fit has its own.
    lasts : str or float, optional
        Before a test: how long the load is to stay on; by default until the file takes it off, else 5 d.
    stress : str or float, optional
        Before a test: stress of the part, text or MPa, to test at; a load in `of` comes first.
    begin : str or datetime, optional
        Before a test: first day on which it can begin, "2031-05-05".
    earlier : Fit, optional
        Before a test: a run of the material, in place of what is usual for its kind.
    part : Part, optional
        Before a test: the part that the answer is for, whose sag is then asked for.
    seed : int
        Before a test: of the specimens that it is tried on.

    Returns
    -------
    RunningPlan or PlannedTest

    Raises
    ------
    InputError, FitError
        A time, size, date or hours that are none; a question that the run cannot answer; a mistake in the tables.
    """
    keeping = working_hours(hours, weekends)
    file = os.fspath(of) if isinstance(of, str | os.PathLike) else None
    known = read_planned(of) if isinstance(of, str | os.PathLike) else of
    if isinstance(known, dict):
        return plan_test(
            known,
            by,
            wanted=wanted,
            level=level,
            lasts=lasts,
            stress=stress,
            begin=first_day(begin),
            hours=keeping,
            earlier=None if earlier is None else asked_fit(earlier),
            part=None if part is None else asked_part(part),
            seed=seed,
            file=file,
        )
    fitted = fit(known) if isinstance(known, Run) else known
    kind: QuestionKind = question or ("limit" if limit is not None else "compare" if other is not None else "forecast")
    return plan_running(
        fitted, kind, by="1 year" if by is None else by, limit=limit, other=other, within=within, hours=keeping
    )
