"""`plan`: what to read next on a run."""

from __future__ import annotations

from creepfit.answers.plan.hours import working_hours
from creepfit.answers.plan.question import Kind
from creepfit.answers.plan.running import RunningPlan, plan_running
from creepfit.inference.fitting import fit
from creepfit.inference.run_fit import Fit
from creepfit.records.run import Run


def plan(
    of: Fit | Run,
    by: str | float = "1 year",
    *,
    question: Kind | None = None,
    limit: str | float | None = None,
    other: Fit | None = None,
    within: str | float = "20 d",
    hours: str | None = None,
    weekends: bool = False,
) -> RunningPlan:
    """Plan the next readings of a test.

    Parameters
    ----------
    of : Fit or Run
        One run with some readings.
    by : str or float
        Time that the answer is for, text or s; at most 100 times the data count.
    question : str, optional
        "forecast", "set" (what stays after unloading), "limit" (is `limit` kept until `by`) or "compare" (does it give way
        less than `other`); by default what `limit` or `other` say, else the forecast.
    limit : str or float, optional
        Deformation not to be exceeded: "2 mm", or a number in mm (strain).
    other : Fit, optional
        Of the other material.
    within : str or float
        How long from the last reading on there is time.
    hours : str, optional
        When somebody is there to read, "8-17", for runs whose dates are known.
    weekends : bool
        Whether also on Saturday and Sunday.

    Returns
    -------
    RunningPlan

    Raises
    ------
    InputError, FitError
        A time, limit or hours that are none; a question that the run cannot answer.
    """
    fitted = fit(of) if isinstance(of, Run) else of
    kind: Kind = question or ("limit" if limit is not None else "compare" if other is not None else "forecast")
    return plan_running(fitted, kind, by=by, limit=limit, other=other, within=within, hours=working_hours(hours, weekends))
