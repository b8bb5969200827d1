"""What can be said of a part's bent shape: how far it turns, what that does to sag and stress, and when it buckles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from creepfit.answers.outlook import first_passage
from creepfit.answers.part.bent import upper_compliance
from creepfit.answers.part.loads import CourseCreep
from creepfit.answers.part.response import PartResponse
from creepfit.inference.fitting import FARTHEST
from creepfit.mechanics.frame import Frame

NEAR = 1.0 / 3.0
"""Of the compliance at which a part buckles from which on it is said: the sag has grown by about a half then."""


@dataclass(frozen=True)
class BentCheck:
    """A part bent under all its loads, held, at the latest time that counts.

    Attributes
    ----------
    turn : float
        Largest rotation, rad, at the upper end of the compliance.
    change : float
        Sag over that of the shape as made, less 1, at the median.
    stress_factor : float
        Largest stress over that of the shape as made, at the upper end; 1 or more.
    buckling_share : float or None
        Compliance (upper end) over that at which the part buckles; None where it never does.
    buckles : tuple of float or None
        When it does: lower end and median, s; infinite where not within `horizon`. None where that was not asked.
    horizon : float
        100 times the test, s.
    found : bool
        Whether there is an equilibrium at all.
    """

    turn: float
    change: float
    stress_factor: float
    buckling_share: float | None
    buckles: tuple[float, float] | None
    horizon: float
    found: bool


def check_bent(response: PartResponse, held: tuple[CourseCreep, ...], level: float) -> BentCheck | None:
    """Look at a part's bent shape under loads `held` to one time; None where it is not drawn as a beam."""
    bent = response.bent
    if bent is None:
        return None
    draws = [c.compliance[0][:, 0] for c in held]
    high = max(float(np.quantile(d, 0.5 + level / 2.0)) for d in draws)
    upper, middle = bent.state(high), bent.state(float(np.median(draws[0])))
    share = None if upper.buckles_at is None else high / upper.buckles_at
    horizon = FARTHEST * response.fit.run.test_length
    buckles = None
    if upper.buckles_at is not None and share is not None and share > NEAR:
        buckles = _buckles(response, upper.buckles_at, horizon, level)
    change = middle.sag / middle.linear - 1.0 if middle.linear else 0.0
    reached = upper.found and not bent.lost
    return BentCheck(upper.turn, change, upper.stress_factor, share, buckles, horizon, reached)


def frame_turn(response: PartResponse, held: tuple[CourseCreep, ...], level: float) -> float | None:
    """By how much the axis of a frame turns by then, rad, upper end, by its shape as made; None of no frame."""
    frame = response.part.body
    if not isinstance(frame, Frame):
        return None
    along = np.linspace(frame.axis.start, frame.axis.end, 9)
    compliance = upper_compliance(held, level)
    moved = np.zeros((2, along.size))
    for load, size in response.part.full_load:
        creeps, gives = frame.at(compliance).shape(load, along)
        moved += size * (compliance * creeps + gives)
    turn = np.hypot(*np.diff(moved, axis=1)) / np.diff(along)
    return float(turn.max())


def _buckles(response: PartResponse, compliance: float, horizon: float, level: float) -> tuple[float, float]:
    """When the compliance under loads that are held reaches one, s: lower end and median."""
    times = np.geomspace(min(60.0, horizon / 10.0), horizon, 60)
    passed = [first_passage(c.compliance[0], c.times, compliance) for c in response.creep(times, held=True)]
    ends = [np.quantile(p, [0.5 - level / 2.0, 0.5], method="inverted_cdf") for p in passed]
    return float(min(e[0] for e in ends)), float(ends[0][1])
