"""A limit on a part's sag: when it is reached, and which load or which thickness keeps it for the service life."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from creepfit.answers.interval import Interval
from creepfit.answers.outlook import first_passage
from creepfit.answers.part.bent_keeping import factor_when_bent
from creepfit.answers.part.checks import tested_stresses, worst_stress
from creepfit.answers.part.keeping import Keeping, ScaledSize
from creepfit.answers.part.loads import CourseCreep
from creepfit.answers.part.response import PartResponse
from creepfit.answers.part.thickness import keeping_thickness
from creepfit.answers.specimen.limit import NOT_AS_IT_IS, UNCHECKED, Life, life_of
from creepfit.inference.response import Predicted, promised
from creepfit.mechanics.analysed import AnalysedLoad
from creepfit.mechanics.beam_loads import EndMoment, LineLoad
from creepfit.mechanics.loading import Array
from creepfit.records.part import PartLoad
from creepfit.units import show_number, show_time


@dataclass(frozen=True)
class Design:
    """All answers about a limit in mm; `life` is None where `why` says that it is not promised.

    `asked` is the service life [s] that was asked for where it lies beyond what can be answered, None elsewhere: all
    answers are then for 100 times the data, and bounds for the longer life.
    """

    limit: float
    life: Life | None
    load: Keeping
    thickness: Keeping
    why: str | None = None
    asked: float | None = None

    @property
    def cut(self) -> str | None:
        """That the life was cut to what can be answered, in a sentence without a full stop; None where it was not."""
        if self.asked is None:
            return None
        longest = show_time(self.load.life)
        return f"asked for {show_time(self.asked)}, answered for {longest}: beyond 100 times the data nothing is promised"

    def without_promise(self, why: str) -> Design:
        """The same limit where nothing is promised."""
        load, thickness = (keeping.without_promise(why) for keeping in (self.load, self.thickness))
        return Design(self.limit, None, load, thickness, why, self.asked)

    def without_life(self, why: str) -> Design:
        """The same limit where only another load or thickness is promised anything."""
        return Design(self.limit, None, self.load, self.thickness, f"{NOT_AS_IT_IS}: {why}", self.asked)


def design(response: PartResponse, limit: float, life: float, level: float) -> Design:
    """Answer the questions about a limit.

    Parameters
    ----------
    response : PartResponse
    limit : float
        Sag (of either sign) not to be exceeded, mm.
    life : float
        Service life, s; beyond 100 times the data it is answered for that, see `Design.asked`.
    level : float
        Probability of the intervals; a safe load or thickness keeps the limit with probability (1 + level)/2.
    """
    horizon = response.fit.horizon
    courses = response.courses
    asked, life = life, min(life, horizon)
    to_horizon = courses.follow(horizon)
    # under loads that are held the sag only grows, so the end of the life decides
    in_life = np.array([life]) if courses.always_on else courses.follow(life)
    times = np.union1d(to_horizon, in_life)
    creep = response.creep(times)
    sag = response.sag(tuple(c.at(to_horizon) for c in creep))
    passed = sag.map(lambda draws: first_passage(np.abs(draws), to_horizon, limit))
    reached = life_of(promised(response.fit, passed).as_drawn(), horizon, life, level)
    within = tuple(c.at(in_life) for c in creep)
    load = _load(response, within, limit, life, level)
    thickness = keeping_thickness(response, within, limit, life, level)
    if asked <= life:
        return Design(limit, reached, load, thickness)
    longer = f"for {show_time(asked)}"
    return Design(limit, reached, load.as_bound(f"no more {longer}"), thickness.as_bound(f"no less {longer}"), asked=asked)


def _load(response: PartResponse, creep: tuple[CourseCreep, ...], limit: float, life: float, level: float) -> Keeping:
    """Common factor on all loads but the part's own weight."""
    probability = 0.5 + level / 2.0
    lever = response.leverage
    if not lever.loads.any() and not lever.mount_loads.any():
        return Keeping.unknown(life, level, "there is no load but the part's own weight")
    largest = [_largest_factor(c, response, limit) for c in creep]
    if response.bent is not None:
        bent = response.bent
        largest = [factor_when_bent(bent, c, lever, limit, f) for c, f in zip(creep, largest, strict=True)]
    factors = promised(response.fit, Predicted.of(largest)).as_drawn()
    ends = factors.ends(level, more_is_safe=True)
    if ends[0] <= 0.0:
        return Keeping.unknown(life, level, "its own weight may reach the limit alone, so no load keeps it for certain")
    tested = tested_stresses(response.fit.run)[1]
    compliances = response.compliances(creep, level)
    most = _load_at_stress(response, tested, float(ends[0]), float(ends[2]), compliances)
    if most is None:
        why = f"its own weight alone brings more than the stress tested, {show_number(tested)} MPa"
        return Keeping.unknown(life, level, why)
    capped = bool(ends[2] > most)
    note = f"capped at the highest stress tested, {show_number(tested)} MPa: more was not tested; {UNCHECKED}"
    low, median, high = (float(min(end, most)) for end in ends)
    factor = Interval(low, median, high)
    sizes = tuple(
        ScaledSize(load.label, load.size, factor.times(load.size), _unit(load), load.unit)
        for load in response.part.loads
        if load.size
    )
    return Keeping(life, probability, factor, low, sizes, capped, note if capped else UNCHECKED)


def _unit(load: PartLoad) -> str:
    if isinstance(load.load, AnalysedLoad) and load.load.whole:
        return "times"
    spread = isinstance(load.load, LineLoad) or (isinstance(load.load, AnalysedLoad) and load.load.spread)
    if isinstance(load.load, EndMoment):
        return "N mm"
    return "N/mm" if spread else "N"


def _largest_factor(creep: CourseCreep, response: PartResponse, limit: float) -> Array:
    """By what each draw's loads could be multiplied before the limit is reached within the life, shape (N,)."""
    lever = response.leverage
    standing = creep.sag(*lever.of_own)
    added = creep.sag(*lever.of_loads)
    size = np.abs(added)
    room = limit - np.sign(added) * standing
    with np.errstate(over="ignore"):  # a load that moves next to nothing may be as large as one likes
        factor = np.where(size > 0.0, room / np.where(size > 0.0, size, 1.0), np.inf)
    return np.asarray(factor.min(axis=1))


def _load_at_stress(
    response: PartResponse, tested: float, low: float, high: float, compliances: tuple[float, float]
) -> float | None:
    """Largest factor on the loads that stays within the stress tested; inf where `high` does, None where none does.

    Bending far at the last of the compliances counts.
    """
    bent = response.bent

    def excess(factor: float) -> float:
        grown = 1.0 if bent is None or factor == 0.0 else bent.state(compliances[1], factor).stress_factor
        return grown * worst_stress(response.courses, factor=factor, compliances=compliances).value - tested

    if np.isfinite(high) and excess(high) <= 0.0:
        return np.inf
    if excess(0.0) > 0.0:
        return None
    from scipy.optimize import brentq  # slow to import, and few answers need it

    top = high if np.isfinite(high) else max(low, 1.0)
    while excess(top) <= 0.0:
        top *= 2.0
    return float(brentq(excess, 0.0, top, xtol=1e-5 * top))
