"""A reading that jumps just before the specimen broke shows the break and no creep: it is left out, with that reason."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from creepfit.records.run import Run

OF_STEPS, OF_NOISE, FEWEST_STEPS = 5.0, 10.0, 2
"""Times the largest step between earlier readings under the same load, and the gauge's repeatability, that a reading has to
go on by, and how many such steps there have to be (judgement)."""

THE_BREAK = "it jumps just before the specimen broke, and is taken as the break"


def with_break_read(run: Run) -> Run:
    """The run without its last reading under load where that jumps, the way it went before, as the specimen broke."""
    if run.broke_at is None:
        return run
    since = max((s.at for s in run.steps if s.at <= run.broke_at), default=0.0)
    loaded = [r for r in run.used if r.time > max(since, 0.0)]
    steps = [b.value - a.value for a, b in pairwise(loaded)]
    if len(steps) <= FEWEST_STEPS:
        return run
    *earlier, last = steps
    most = max(abs(step) for step in earlier)
    if last * (loaded[-2].value - loaded[0].value) <= 0.0 or abs(last) <= OF_STEPS * most:
        return run
    if abs(last) <= OF_NOISE * run.gauge.repeatability:
        return run
    broken = loaded[-1]
    return replace(run, readings=tuple(replace(r, skip=THE_BREAK) if r is broken else r for r in run.readings))
