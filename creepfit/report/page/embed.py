"""Draws of compliance for the page's sliders: few, quantised, and true to the quantiles of all of them.

The page holds no creep engine: it scales these draws by a load, adds what acts in any case, and interpolates in the
logarithm of time.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from creepfit.answers.outlook import outlook
from creepfit.answers.part.checks import tested_stresses, worst_stress
from creepfit.answers.part.sag import Sag
from creepfit.asked import tails
from creepfit.inference.fitting import FARTHEST
from creepfit.inference.response import Predicted, promised, quantiles, response, standing_load
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.records.load_unit import LoadUnit
from creepfit.records.run import Run
from creepfit.report.page.findings import Findings
from creepfit.report.text.pieces import shown_unit
from creepfit.unit_tables import KINDS
from creepfit.units import MINUTE, STANDARD_GRAVITY, Kind, show_number, show_time

COUNT = 310
"""Draws in a page. The levels (k + 1/2)/310 hold 5 %, 50 % and 95 % themselves."""

TIME_POINTS = 72
STEPS = 65535
"""A draw is kept as a number of two bytes between the least and the greatest of its time."""


@dataclass(frozen=True, eq=False)
class Sliders:
    """What the page computes with.

    Attributes
    ----------
    times : ndarray, shape (T,)
        s, ascending.
    scaled, fixed : ndarray, shape (COUNT, T)
        Response in the unit shown to the load as it is, and what comes on top whatever the load (None for nothing), both
        counted along the load.
    sign : float
        -1 where that is not the way the gauge counts.
    outer : ndarray, shape (T,)
        What the upper end is multiplied by, 1 and more: it is never below that without ageing.
    promised : ndarray, shape (T,)
        What the upper end is multiplied by where it decides how long a limit is kept: as a promise counts flow.
    load : float
        The load as it is, in `typed.internal`; the slider ends at `most`.
    typed : LoadUnit
        What loads are shown in; `others` are the units that one may be typed in, with what one of each is in the same.
    """

    name: str
    quantity: str
    unit: str
    times: Array
    scaled: Array
    fixed: Array | None
    outer: Array
    promised: Array
    load: float
    most: float
    typed: LoadUnit
    load_words: str
    test: float
    asked: float
    limit: float | None
    level: float
    no_life: str | None
    sign: float = 1.0
    others: dict[str, float] = field(default_factory=dict)

    def data(self) -> dict[str, Any]:
        """For the page, as JSON."""
        return {
            "name": self.name,
            "quantity": self.quantity,
            "unit": self.unit,
            "level": self.level,
            "times": [float(f"{t:.7g}") for t in self.times],
            "count": self.scaled.shape[0],
            "scaled": _packed(self.scaled),
            "fixed": None if self.fixed is None else _packed(self.fixed),
            "outer": [round(float(f), 5) for f in self.outer],
            "promised": [round(float(f), 5) for f in self.promised],
            "load": {
                "now": self.load,
                "most": self.most,
                "shown_in": self.typed.name,
                "units": {self.typed.internal: 1.0, **self.others, self.typed.name: self.typed.size},
            },
            "test": self.test,
            "asked": self.asked,
            "limit": self.limit,
            "horizon": float(self.times[-1]),
            "farthest": FARTHEST * self.test,
            "farthest_words": show_time(FARTHEST * self.test),
            "no_life": self.no_life,
            "sign": self.sign,
        }

    def ends(self, time: float, load: float) -> tuple[float, float, float]:
        """Low, median and high as the page shows them, for the table that needs no sliders; the load without its sign."""
        share = load / self.load
        draws = share * self.scaled if self.fixed is None else share * self.scaled + self.fixed
        at = np.log(self.times)
        column = np.array([np.interp(np.log(time), at, row) for row in draws])
        low, median, high = np.quantile(column, tails(self.level), method="hazen")
        high *= np.interp(np.log(time), at, self.outer)
        if self.sign < 0.0:
            low, median, high = -high, -median, -low
        return float(low), float(median), float(high)


def run_sliders(findings: Findings) -> Sliders:
    """Sliders of a run: its last load, held from the start, up to the highest tested."""
    fit, run = findings.fit, findings.fit.run
    asked = _in_reach(findings.test, [row.time for row in findings.forecast.rows])
    times = _times(findings.curve.times[0], findings.test, asked)
    nothing = LoadHistory.from_steps([])
    unit, sign = shown_unit(fit.unit), fit.observed.direction
    along = sign * unit.factor
    whole = outlook(fit).response(times).map(lambda draws: along * draws)
    # hanger and plunger go on creeping whatever is added
    fixed = None if standing_load(fit).change.size == 0 else along * response(fit, fit.draws, nothing, times)
    chosen = _representatives(whole.draws)
    drawn = _like_all(whole.draws, chosen)
    still = None if fixed is None else _like_all(fixed, chosen)
    limit = findings.forecast.limit
    why = None if limit is None or limit.life is not None else limit.why
    if not fit.observed.has_initial:
        why = "the deformation at once was not read, so no limit on the whole can be answered"
    return Sliders(
        findings.label, fit.quantity, unit.name, times, drawn if still is None else drawn - still, still,
        *_outer(whole, promised(fit, whole), fit.level),
        abs(run.working_load), abs(run.peak_load), run.load_unit, "load, up to the highest tested", findings.test,
        float(asked[-1]),
        None if limit is None else unit.factor * limit.value, fit.level, why, sign,
        _load_units(run),
    )  # fmt: skip


def _load_units(run: Run) -> dict[str, float]:
    """Units that another load of a run may be typed in, with what one of each is in N (MPa)."""
    kinds: tuple[Kind, ...] = ("stress",) if run.specimen.load_quantity == "stress" else ("force", "mass")
    on_hanger = {"mass": STANDARD_GRAVITY * run.rig.lever}
    return {name: size * on_hanger.get(kind, 1.0) for kind in kinds for name, size in KINDS[kind].units.items()}


PROPORTIONAL = 0.02
"""Of the sag: what bending far changes at most for a load to be slid upward in proportion."""


def part_sliders(result: Sag) -> Sliders:
    """Sliders of a part: a factor on all its loads but its own weight, up to the stress tested."""
    answer, test = result.response, result.fit.run.test_length
    lever = answer.leverage
    asked = _in_reach(test, [row.time for row in result.rows])
    run_on = result.curve.times[result.curve.times <= FARTHEST * test]
    times = _times(MINUTE, test, asked) if answer.courses.always_on else np.union1d(run_on, asked)
    # what bends far is followed to the last of the times, so those asked for are worked out by themselves, as in `sag`
    beside, creep = answer.creep(times), tuple(c.at(asked) for c in answer.creep(asked))
    place = np.searchsorted(times, asked)
    whole = Predicted.of(map(partial(_with, place), answer.sag(beside).both, answer.sag(creep).both))
    own = _with(place, beside[0].sag(*lever.of_own), creep[0].sag(*lever.of_own))
    chosen = _representatives(np.abs(whole.draws))
    sign = float(np.sign(np.median(whole.draws[:, -1]))) or 1.0
    drawn = sign * _like_all(whole.draws, chosen)
    still = sign * _like_all(own, chosen) if own.any() else None
    most = most_factor(result)
    bent = result.checks.bent
    if bent is not None:
        most /= bent.stress_factor
        if abs(bent.change) > PROPORTIONAL:  # sag is not in proportion to load: below, the slider is on the safe side
            most = min(most, 1.0)
    return Sliders(
        result.part.name or "part", "sag", "mm", times, drawn if still is None else drawn - still, still,
        *_outer(whole.map(np.abs), promised(result.fit, whole.map(np.abs)), result.level), 1.0, most,
        LoadUnit("× the loads", 1.0, "× the loads"),
        f"all loads together (up to {show_number(tested_stresses(result.fit.run)[1])} MPa, the highest stress tested)",
        test, float(asked[-1]), None if result.design is None else result.design.limit, result.level, None,
        others={"×": 1.0},
    )  # fmt: skip


def most_factor(result: Sag) -> float:
    """Largest factor on the loads (own weight apart) that stays within the stress tested, 0 where none does."""
    tested, checks = tested_stresses(result.fit.run)[1], result.checks
    last = checks.strain.high / checks.stress.value if checks.stress.value else 0.0
    ends = (result.response.compliance_at_once, last) if last else ()

    def worst(factor: float) -> float:
        return worst_stress(result.response.courses, factor=factor, compliances=ends).value

    least = worst(0.0)
    if least >= tested:
        return 0.0
    low, high = 0.0, 1.0
    while worst(high) < tested and high < 1e3:
        low, high = high, 2.0 * high
    for _ in range(24):
        # the stress is convex and close to linear in the factor: the chord finds the end in a few steps
        below, above = worst(low), worst(high)
        if above - below < 1e-9 * tested or high - low < 1e-6 * high:
            break
        middle = low + (tested - below) / (above - below) * (high - low)
        if worst(middle) <= tested:
            if middle - low < 1e-6 * high:
                break
            low = middle
        else:
            high = middle
    return float(low)


def _with(place: NDArray[np.intp], beside: Array, asked: Array) -> Array:
    """Draws at all times (N, T), those asked for in their places."""
    out = beside.copy()
    out[:, place] = asked
    return out


def _in_reach(test: float, asked: Sequence[float]) -> Array:
    """Times asked for, ascending, those beyond 100 times the data cut to that: no number is given for them anywhere."""
    return np.unique(np.minimum(asked, FARTHEST * test))


def _times(first: float, test: float, asked: Array) -> Array:
    """Even in log time up to 100 times the data.

    Those asked for are among them: between two times an end is off by up to 0.6 %, and there it stands beside its own.
    """
    return np.union1d(np.geomspace(min(first, MINUTE), FARTHEST * test, TIME_POINTS), asked)


def _representatives(draws: Array) -> Array:
    """Rows of draws, shape (COUNT,), evenly spread over the order of the draws at the last time."""
    order = np.argsort(draws[:, -1], kind="stable")
    places = ((np.arange(COUNT) + 0.5) / COUNT * draws.shape[0]).astype(int)
    return np.asarray(order[places])


def _like_all(draws: Array, chosen: Array) -> Array:
    """The chosen draws, moved at each time to the quantiles of all of them; their order is kept."""
    levels = tuple((np.arange(COUNT) + 0.5) / COUNT)
    ranks = np.argsort(np.argsort(draws[chosen], axis=0, kind="stable"), axis=0, kind="stable")
    return np.take_along_axis(quantiles(draws, levels, "hazen"), ranks, axis=0)


def _outer(drawn: Predicted, promised: Predicted, level: float) -> tuple[Array, Array]:
    """By how much what is said lies above all draws, 1 where it does not: `Sliders.outer` and `Sliders.promised`."""
    plain = Predicted(drawn.draws).ends(level)[2]

    def above(high: Array) -> Array:
        return np.where(plain > 0.0, np.maximum(high / np.where(plain > 0.0, plain, 1.0), 1.0), 1.0)

    return above(drawn.ends(level)[2]), above(promised.ends(level)[2])


def _packed(draws: Array) -> dict[str, Any]:
    """Two bytes a number, time by time, with the least and the step of each time."""
    low, high = draws.min(axis=0), draws.max(axis=0)
    step = np.where(high > low, (high - low) / STEPS, 1.0)
    numbers = np.rint((draws - low) / step).astype("<u2")
    return {
        "low": [float(f"{v:.9g}") for v in low],
        "step": [float(f"{v:.9g}") for v in step],
        "draws": base64.b64encode(np.ascontiguousarray(numbers.T).tobytes()).decode("ascii"),
    }
