"""What load and what thickness keep a limit where bending far counts: searched on the bent shape."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from creepfit.answers.part.bent import BentSag
from creepfit.answers.part.loads import CourseCreep, Courses, Leverage
from creepfit.mechanics.beam import Beam
from creepfit.mechanics.frame import Frame
from creepfit.mechanics.loading import Array

FACTORS = np.geomspace(0.02, 3.0, 41)
"""On the linear answer, or on what buckles, between which the load is searched; beyond nothing is promised."""

NO_LOAD = 1e12
"""Factor from which on the loads as they are move the part by nothing."""

UNDER, OVER = 0.7, 1.5
"""Times the limit: beams whose largest sag is under the first keep it, those whose least is over the second do not."""


def factor_when_bent(bent: BentSag, creep: CourseCreep, lever: Leverage, limit: float, linear: Array) -> Array:
    """Factor on the loads at which each draw's largest sag is the limit, shape (N,); `linear` is that of the shape as made.

    Both signs of the sag count.
    """
    standing = creep.sag(*lever.of_own)
    added = creep.sag(*lever.of_loads)
    decisive = np.unique(np.argmax(np.abs(standing + added), axis=1))
    creep = creep.at(creep.times[decisive])
    standing, added = standing[:, decisive], added[:, decisive]
    base = np.minimum(np.where(np.abs(linear) < NO_LOAD, linear, 1.0), bent.buckling_factor(creep))
    worst = np.empty((base.size, FACTORS.size))
    straight = 0.0
    for i in range(FACTORS.size - 1, -1, -1):  # from the top, so that one path serves all
        factor = base * FACTORS[i]
        sag, more = standing + factor[:, None] * added, bent.extra(creep, factor)
        worst[:, i] = np.abs(sag + more).max(axis=1)
        straight = max(straight, float(np.abs(more).max()))
    if straight == 0.0:
        return linear
    over = worst > limit
    first = np.where(over.any(axis=1), np.argmax(over, axis=1), FACTORS.size - 1)
    inner = np.maximum(first, 1)
    rows = np.arange(base.size)
    # near buckling the sag grows ever faster with the load: even on logarithms a chord lies above it, on the safe side
    below, above = (np.log(np.maximum(worst[rows, i], 1e-12 * limit)) for i in (inner - 1, inner))
    rise = np.where(above > below, above - below, 1.0)
    part = np.clip((np.log(limit) - below) / rise, 0.0, 1.0)
    smallest = base * FACTORS[inner - 1] * (FACTORS[inner] / FACTORS[inner - 1]) ** part
    return np.asarray(np.where(first == 0, 0.0, smallest))


class BentBeams:
    """A part's loads on the bent axes of beams of growing thickness, each worked out when first asked for."""

    def __init__(self, courses: Courses, beams: Sequence[Beam]) -> None:
        self._courses, self._beams = courses, beams
        self._known: dict[int, BentSag] = {}

    def __len__(self) -> int:
        return len(self._beams)

    def __getitem__(self, place: int) -> BentSag:
        if place not in self._known:
            self._known[place] = BentSag(self._courses, self._beams[place])
        return self._known[place]

    @property
    def bends_far(self) -> bool:
        """Whether bending far is followed for them: of beams, and not of frames."""
        return isinstance(self._courses.part.body, Beam) and not isinstance(self._courses.part.body, Frame)


def worst_when_bent(beams: BentBeams, creep: CourseCreep, levers: list[Leverage], limit: float, worst: Array) -> Array:
    """Largest sag of each draw for beams of growing thickness, shape (N, F); `worst` is that of the shapes as made.

    The thicker a beam, the less it sags and the less bending far adds, so only those near the limit are worked out:
    thicker ones keep it as they did, thinner ones are set to infinity.
    """
    if not beams.bends_far:
        return worst
    largest = worst.copy()
    low, high = 0, len(beams)  # from `high` on all are far under the limit
    while low < high:
        middle = (low + high) // 2
        if beams[middle].bound(creep) < UNDER * limit:
            high = middle
        else:
            low = middle + 1
    for k in range(high - 1, -1, -1):
        more = beams[k].again().extra(creep)
        if not more.any() and worst[:, k].min() > limit:
            break
        largest[:, k] = np.abs(creep.sag(*levers[k].all) + more).max(axis=1)
        if largest[:, k].min() > OVER * limit:
            largest[:, :k] = np.inf
            break
    return largest
