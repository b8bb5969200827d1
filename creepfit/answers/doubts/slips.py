"""Slips of the bench that have a name: each is one question, asked before all else, where the readings point to it.

Beside such a slip nothing else that is said of a run means much, so the list of doubts begins with it, and where a
deflection is larger than the specimen can have no forecast is shown first (`withheld.py`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from creepfit.answers.doubts.catalogue import readings as words
from creepfit.answers.interval import Caution
from creepfit.answers.wording import size
from creepfit.inference.freest_curve import Finding, FreestCurve, stages
from creepfit.records.run import Reading, Run
from creepfit.units import HOUR, show_number

CAME_BACK = (0.6, 1.7)
"""A fall within these shares of what came when the load went on may be the load coming off."""

NOTHING = 0.15
"""The gauge moved by less than this share of what it moved when the load came off: the load was on before."""

OTHER_ZERO = (-0.3, 2.5)
"""Times what went back at once when all of the load came off that came when it went on: outside of that it did not."""

ODD, ALIKE, ODD_AMONG = 15.0, 10.0, 5
"""K that one temperature is from the nearest other at least, and all others from one another at most; and of how many."""

MOST_CREEP = 3.0
"""Creep in a test, of a plastic that bears its load, is less than so many times what came at once (from memory)."""


def deflects_too_far(run: Run, curve: FreestCurve) -> float | None:
    """The largest deflection read, mm, where a bar of this length cannot have it; else None."""
    span, share = run.specimen.geometry.span, run.specimen.largest_share
    largest = float(np.max(np.abs(curve.observed.deformation)))
    return None if span is None or share is None or largest <= share * span else largest


def larger_than_specimen(run: Run, curve: FreestCurve) -> Caution | None:
    """A deflection that a bar of this length cannot have."""
    largest, enters = deflects_too_far(run, curve), run.specimen.length_enters
    if largest is None or enters is None:
        return None
    return words.LARGER_THAN_SPECIMEN(largest=size(largest, "mm", 3), span=run.specimen.geometry.span, name=enters.name)


def other_zero(run: Run, curve: FreestCurve) -> Caution | None:
    """An initial reading far from all others: the load moved the gauge far more when it went on than off, or back."""
    observed = curve.observed
    load = run.history.at(observed.times)
    zero, moves = np.flatnonzero(observed.times <= 0.0), _moves(run, curve)
    sound = run.unit == "mm" and observed.has_initial and observed.zeros.shape[1] == 1 and not run.rig.preload
    if not sound or not zero.size or len(moves) < 2:
        return None
    *on, (last, off, moved) = moves
    if load[last] != 0.0 or off >= 0.0 or any(change <= 0.0 for _, change, _ in on) or on[0][0] - 1 != zero[-1]:
        return None
    came, went = sum(m for _, _, m in on), -moved
    noise = 4.0 * observed.noise.stated
    late = 2.0 if observed.times[on[0][0]] > HOUR else 1.0  # what is read late has crept, and does not go back at once
    if went <= noise or OTHER_ZERO[0] * went <= came <= late * OTHER_ZERO[1] * went:
        return None
    shown = float(np.mean([run.used[i].value for i in zero]))
    return words.OTHER_ZERO(
        came=size(came, run.unit),
        off=size(went, run.unit),
        zero=show_number(shown, digits=4),
        fits=show_number(shown + run.gauge.sign * observed.direction * (came - went), digits=4),
    )


def other_way_round(run: Run, curve: FreestCurve) -> Caution | None:
    """A gauge that falls as the specimen gives way, in a file that says it rises (or the reverse)."""
    moves = [m for m in _moves(run, curve) if abs(m[2]) > 4.0 * curve.observed.noise.stated]
    if not moves or not all(change * moved < 0.0 for _, change, moved in moves):
        return None
    where, change, _ = moves[0]
    shown = float(run.used[where].value - run.used[where - 1].value)
    return words.READS_THE_OTHER_WAY(
        down=shown < 0.0,
        shown=size(abs(shown), run.unit),
        went_on=change > 0.0,
        both=len(moves) > 1,
        falls=run.gauge.falls,
    )


def loaded_before(run: Run, curve: FreestCurve) -> Caution | None:
    """An initial reading taken with the weight already on: the load hardly moved the gauge when it went on."""
    moves = _moves(run, curve)
    if not curve.observed.has_initial or not moves or moves[0][1] <= 0.0 or run.rig.preload:
        return None
    first, _, came = moves[0]
    values = curve.observed.values * curve.observed.direction
    stage = next(s for s in stages(curve.observed) if first in s)
    creep = float(values[stage[-1]] - values[stage[0]])
    off = next((-moved for _, change, moved in moves[1:] if change < 0.0), None)
    noise = 4.0 * curve.observed.noise.stated
    hardly = off is not None and off > noise and abs(came) < NOTHING * off
    if not hardly and not (creep > noise and creep > MOST_CREEP * max(abs(came), 0.25 * noise)):
        return None
    unit = run.unit
    other = off if hardly and off is not None else creep
    return words.ZERO_WITH_THE_WEIGHT_ON(came=size(abs(came), unit), other=size(other, unit), hardly=hardly)


def came_off(run: Run, curve: FreestCurve) -> Caution | None:
    """A load that came off without a note: the readings go back by what came when it went on."""
    came = _at_once(run, curve)
    if came is None:
        return None
    observed = curve.observed
    values, load = observed.values * observed.direction, run.history.at(observed.times)
    sizes = [abs(step.value) for step in run.steps]
    lowered = [step.at for step, before in zip(run.steps[1:], sizes, strict=False) if abs(step.value) < before]
    for stage in stages(observed):
        if load[stage[0]] == 0.0 or observed.times[stage[-1]] <= 0.0:
            continue
        for i in stage[1:]:
            fell = float(values[i - 1] - values[i])
            share = abs(load[i]) / abs(run.peak_load)
            if any(at > observed.times[i - 1] for at in lowered):  # then it is that load, at another time than noted
                continue
            if CAME_BACK[0] * came * share <= fell <= CAME_BACK[1] * came * share and _stays_back(values, stage, i, fell):
                return _came_off(run, i, fell, came * share)
    return None


def _stays_back(values: np.ndarray, stage: range, i: int, fell: float) -> bool:
    """Whether all that follows under the same load stays where it fell to."""
    after = [float(values[k]) for k in stage if k > i]
    return all(v < values[i] + 0.3 * fell for v in after)


def _came_off(run: Run, i: int, fell: float, came: float) -> Caution:
    before, after = run.used[i - 1], run.used[i]
    return words.LOAD_CAME_OFF(
        before=before,
        after=after,
        fell=size(fell, run.unit),
        came=size(came, run.unit),
        about=_about(before, after),
        alone=i == len(run.used) - 1,
    )


def _about(before: Reading, after: Reading) -> float:
    """The moment [s] between two readings that a person would name: the later one's where they are close."""
    return before.time if after.time - before.time < 0.1 * before.time else 0.5 * (before.time + after.time)


def _at_once(run: Run, curve: FreestCurve) -> float | None:
    """What came when the largest load went on, at the first reading under it, in the sense of the load."""
    came = 0.0
    for _, change, moved in _moves(run, curve):
        if change <= 0.0:
            break
        came += moved
    return came if came > 4.0 * curve.observed.noise.stated else None


def _moves(run: Run, curve: FreestCurve) -> list[tuple[int, float, float]]:
    """Load changes that were read: place of the first reading behind, change of load and movement in the load's sense."""
    observed = curve.observed
    load = run.history.at(observed.times) * observed.direction
    values = observed.values * observed.direction
    return [
        (i, float(load[i] - load[i - 1]), float(values[i] - values[i - 1]))
        for i in range(1, load.size)
        if load[i] != load[i - 1] and (observed.zeros[i] == observed.zeros[i - 1]).all()
    ]


def events_by_one_reading(run: Run, curve: FreestCurve) -> Iterator[Caution]:
    """A new zero that a single reading speaks for: had that been mistyped, the event would hide it."""
    observed = curve.observed
    zeros = curve.plain.extra[: observed.zeros.shape[1]]
    moved = [e for e in run.events if not e.ends_run]
    for event in moved:
        behind = np.flatnonzero(observed.times > event.at)
        before = np.flatnonzero(observed.times <= event.at)
        if not behind.size or not before.size:
            continue
        i, j = int(behind[0]), int(before[-1])
        stage = next(s for s in stages(observed) if i in s)
        shift = float(observed.zeros[i] @ zeros - observed.zeros[j] @ zeros)
        if len(stage) == 1 and abs(shift) > 4.0 * np.sqrt(2.0) * observed.noise.stated:
            yield words.EVENT_BY_ONE_READING(
                at=event.at, kind=event.kind, shift=size(abs(shift), run.unit), alone=run.used[i]
            )


def undone_event(run: Run, curve: FreestCurve, f: Finding) -> Caution | None:
    """A jump right behind the first reading after an event, back by about what the event brought: one reading was wrong."""
    observed, size_back = curve.observed, f.size or 0.0
    times = observed.times
    at = [e for e in run.events if not e.ends_run and f.first >= 2 and times[f.first - 2] <= e.at < times[f.first - 1]]
    if not at:
        return None
    zeros = curve.plain.extra[: observed.zeros.shape[1]]
    shift = float(observed.values[f.first - 1] - observed.values[f.first - 2])
    if zeros.size < 2 or shift * size_back >= 0.0 or not 0.5 < abs(size_back / shift) < 2.0:
        return None
    return words.EVENT_UNDONE(
        at=at[0].at,
        kind=at[0].kind,
        shift=size(abs(shift), run.unit),
        back=run.used[f.first],
        alone=run.used[f.first - 1],
    )


def odd_temperature(run: Run) -> tuple[Caution, Run] | None:
    """One temperature far from all others, which are alike, so rather mistyped; and the run with theirs."""
    known = [r for r in run.used if r.temperature is not None]
    if len(known) < ODD_AMONG:
        return None
    degrees = np.array([r.temperature for r in known], dtype=float)
    place = int(np.argmax(np.abs(degrees - np.median(degrees))))
    others = np.delete(degrees, place)
    apart = float(np.min(np.abs(others - degrees[place])))
    if np.ptp(others) > ALIKE or apart < ODD:
        return None
    odd, usual = known[place], float(np.median(others))
    low, high = float(others.min()), float(others.max())
    caution = words.ODD_TEMPERATURE(at=odd, odd=float(degrees[place]), alike=low == high, low=low, high=high)
    put_right = tuple(replace(r, temperature=usual) if r is odd else r for r in run.readings)
    return caution, replace(run, readings=put_right)
