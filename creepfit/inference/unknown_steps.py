"""A jump that the readings show joins the likelihood: a step whose size is unknown, one more random column."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from creepfit.inference.columns import Observations
from creepfit.inference.freest_curve import Finding, FreestCurve, column_of, findings, rivals

SUSPECTED = 2.0
"""Here a step counts from exp(2) on, sooner than it is spoken of: a step that is none costs little, one unseen misleads."""

SMALLEST = 3.0
"""A step is taken to be of the size of the one found, at least so many standard deviations of a reading."""


def steps_seen(curve: FreestCurve) -> tuple[Finding, ...]:
    """Jumps and single readings off the curve that the readings show, with other places that are nearly as likely.

    An outlier between two stages of a run, or a jump, may be either: what is left open is left open here too.
    """
    seen = [f for f in findings(curve, SUSPECTED) if f.kind in ("jump", "outlier")]
    each = {(r.kind, r.first): r for f in seen for r in rivals(curve, f)}
    return tuple(each.values())


def with_unknown_steps(observed: Observations, steps: tuple[Finding, ...]) -> Observations:
    """The same readings with a covariance that leaves the size of every step open.

    A step's size is normal around zero with the standard deviation of what was found; being a random column it is
    weighed with all else, and readings that need no step are hardly less worth.
    """
    if not steps:
        return observed
    noise = observed.noise
    correlation = noise.correlation.copy()
    for step in steps:
        spread = max(abs(step.size or 0.0) / noise.stated, SMALLEST)
        column = spread * column_of(step, observed)
        correlation += np.outer(column, column)
    return replace(observed, noise=replace(noise, correlation=correlation))
