"""What broke in the workshop: named beside every answer that it speaks to, with a line of life where there are enough."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from creepfit.answers.interval import Caution
from creepfit.inference.fitting import Fit
from creepfit.inference.life import LifeLine, Survival
from creepfit.inference.pooling import PooledFit
from creepfit.records.run import Run
from creepfit.units import show_number, show_time

NAMED = 4
"""Breaks that a caution names one by one."""

GUESS = 10.0
"""Times the longest test beyond which a life is a guess."""


def tested_runs(fit: Fit) -> tuple[Run, ...]:
    """The runs that a fit is of."""
    return fit.runs if isinstance(fit, PooledFit) else (fit.run,)


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
    more = f"; and {len(broken) - NAMED} more, at higher stresses" if len(broken) > NAMED else ""
    sees = "" if stress is None else f" {what[:1].upper()}{what[1:]} sees {show_number(stress)} MPa."
    text = f"{'; '.join(named)}{more}.{sees}"
    if stress and LifeLine.possible(bars):
        text += " " + _line_words(LifeLine(bars), stress, until)
    else:
        text += " From three breaks at two stresses on a line of life against stress is drawn through them."
    yield Caution("broke", text, "bars left under a stress near that one until they break, or for as long as it matters")


def _line_words(line: LifeLine, stress: float, until: float) -> str:
    """What the line says at a stress."""
    low, median = line.life(stress, 0.1), line.life(stress, 0.5)
    broken = sum(bar.broke for bar in line.bars)
    through = f"{broken} breaks" + (f" and {n} that did not break" if (n := len(line.bars) - broken) else "")
    found = (
        f"A line of life against stress through {through} says that nine in ten bars last {_about(low)} at this stress "
        f"(median {_about(median)})."
    )
    if low < until:
        found += f" That is less than the {show_time(until)} asked about: it may well BREAK before."
    if min(low, until) > GUESS * line.longest:
        found += f" Beyond ten times the longest test, {show_time(line.longest)}, this is a guess with a number on it."
    return found


def _about(seconds: float) -> str:
    """A life in two digits; of ages only that they are long."""
    years = seconds / (365.25 * 86400.0)
    if years > 1000.0:
        return "more than 1000 years"
    return show_time(float(f"{seconds:.2g}")) if years < 1.0 else f"{show_number(years, digits=2)} years"
