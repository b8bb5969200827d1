"""What broke in the workshop: named beside every answer that it speaks to, with a line of life where there are enough."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from creepfit.answers.doubts.catalogue import forecast as words
from creepfit.answers.interval import Caution
from creepfit.inference.life import LifeLine, Survival
from creepfit.inference.run_fit import FAR
from creepfit.records.run import Run
from creepfit.shown import capital
from creepfit.units import YEAR, show_number, show_time

NAMED = 4
"""Breaks that a caution names one by one."""


def it_broke(run: Run) -> str:
    """That the run's own specimen broke, when and under what, without a capital and a full stop."""
    at = run.broke_at
    assert at is not None
    return f"it broke after {show_time(at)} under {run.load_unit.show(run.working_load)}"


def own_break(run: Run) -> Iterator[Caution]:
    """The run's own specimen broke: what that leaves of its readings."""
    if run.broke_at is not None:
        yield words.SPECIMEN_BROKE(broke=capital(it_broke(run)))


def survival_of(run: Run) -> Survival | None:
    """How long a bar was under its last stress; None without the sizes that a stress takes."""
    per_load = run.specimen.geometry.stress_per_load
    loaded = [step for step in run.steps if step.value != 0.0]
    if per_load is None or not loaded:
        return None
    last = loaded[-1]
    broke = run.broke_at
    until = broke if broke is not None else max(run.test_length, last.at)
    if until <= last.at:
        return None
    return Survival(run.label, abs(last.value * per_load), until - last.at, broke is not None)


def break_doubts(runs: Iterable[Run], stress: float | None, until: float, what: str) -> Iterator[Caution]:
    """Breaks among runs of a material; nothing where none broke.

    Parameters
    ----------
    runs : iterable of Run
    stress : float or None
        What the part or specimen sees, MPa.
    until : float
        Latest time asked for, s.
    what : str
        Who sees it: "this part".
    """
    distinct = {id(run): run for run in runs}.values()
    bars = tuple(bar for bar in map(survival_of, distinct) if bar is not None)
    broken = sorted((bar for bar in bars if bar.broke), key=lambda bar: bar.stress)
    if not broken:
        return
    named = [f"{bar.label} broke after {show_time(bar.time)} at {show_number(bar.stress)} MPa" for bar in broken[:NAMED]]
    case = {
        "named": "; ".join(named),
        "others": len(broken) > NAMED,
        "more": len(broken) - NAMED,
        "seen": stress is not None,
        "what": capital(what),
        "stress": stress,
    }
    if not stress or not LifeLine.possible(bars):
        yield words.BROKE(**case)
        return
    line = LifeLine(bars)
    low, median = line.life(stress, 0.1), line.life(stress, 0.5)
    yield words.BROKE_ON_A_LINE(
        **case,
        broken=len(broken),
        held=len(bars) > len(broken),
        unbroken=len(bars) - len(broken),
        low=_about(low),
        median=_about(median),
        before=low < until,
        until=until,
        guess=min(low, until) > FAR * line.longest,
        longest=line.longest,
    )


def _about(seconds: float) -> str:
    """A life in two digits; of ages only that they are long."""
    years = seconds / YEAR
    if years > 1000.0:
        return "more than 1000 years"
    return show_time(float(f"{seconds:.2g}")) if years < 1.0 else f"{show_number(years, digits=2)} years"
