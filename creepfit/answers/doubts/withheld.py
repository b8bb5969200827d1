"""Where no number is to stand first and nothing is promised: decided here alone, for text, page, figures, JSON and Python.

A result says so by `withheld` and `nothing_promised`; where the latter is not None, its limit has no life and no load, and
under a load that is out of reach no life.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal, Protocol, Self, TypeVar

from creepfit.answers.doubts.breaks import it_broke
from creepfit.answers.doubts.collected import about_fit, slip_of
from creepfit.answers.doubts.mistyped import MISTYPED
from creepfit.answers.doubts.readings import CONTRADICTING
from creepfit.answers.interval import Caution
from creepfit.inference.pooling import PooledFit
from creepfit.inference.run_fit import FARTHEST, Fit
from creepfit.shown import capital
from creepfit.units import show_number, show_time

FAR_ABOVE = 1.5
"""Times the highest stress tested up to which the test itself shows that the plastic bears it nearly as well."""

YIELDING = 0.02
"""Strain from which a rigid plastic may yield (common practice, no source)."""

_NAMING = (*MISTYPED, "readings-contradict", "load-came-off", "event-by-one-reading", "outlier", "load-time", "jump",
           "copied-reading", "no-model-fits-loads")  # fmt: skip
"""Doubts that name the reading or load to look at, the most telling first."""


@dataclass(frozen=True)
class Withheld:
    """Why a number is withheld.

    Attributes
    ----------
    text : str
        The sentence in place of the number.
    because : str
        Why, as it goes on behind "as"; "" for a slip that is to be settled first.
    short : str
        Where there is room for three words.
    unadvised : str
        Why no reading is advised.
    stopped : str
        Whether creep has stopped.
    of : "all", "load" or "time"
        Of what: with "all" nothing is promised; what is out of reach under this load, or so late, may be promised of
        another load or thickness, or of an earlier time, and what the models come to is said all the same, as theirs.
    leads : bool
        Whether an answer begins with the sentence, before it says that no number is given.
    """

    text: str
    because: str
    short: str
    unadvised: str = ""
    stopped: str = "cannot be told"
    of: Literal["all", "load", "time"] = "all"
    leads: bool = False

    @property
    def nothing_promised(self) -> str:
        """What is said in place of a load, a thickness or a life."""
        return f"nothing is promised{f', as {self.because}' if self.because else ' before that is settled'}"


class AnswerOfLimit(Protocol):
    """Life, load and what else is said of a limit."""

    def without_promise(self, why: str) -> Self:
        """The same limit where nothing is promised."""

    def without_life(self, why: str) -> Self:
        """The same limit where only another load or size is promised anything."""


OfLimit = TypeVar("OfLimit", bound=AnswerOfLimit)


class MayWithhold:
    """A result whose number may be withheld."""

    @property
    def instead(self) -> Withheld | None:
        """What stands in place of the number for the latest time; None where the number stands."""
        raise NotImplementedError

    @property
    def withheld(self) -> str | None:
        """Why no number for the latest time is to stand first, in a sentence; None where it may."""
        return None if self.instead is None else self.instead.text

    @property
    def unpromised(self) -> Withheld | None:
        """Why no load, thickness or life is named; None where they can be."""
        return None if self.instead is None or self.instead.of != "all" else self.instead

    @property
    def undrawn(self) -> bool:
        """Whether no band is drawn, which would be read as a forecast; far beyond the test bands are hatched."""
        return self.instead is not None and self.instead.of != "time"

    @property
    def nothing_promised(self) -> str | None:
        """The sentence in place of loads, thicknesses and lives; None where they can be named."""
        return None if self.unpromised is None else self.unpromised.nothing_promised

    def as_far_as_promised(self, modelled: OfLimit | None) -> OfLimit | None:
        """What the models say of a limit, without what is not promised."""
        if modelled is not None and self.unpromised is not None:
            return modelled.without_promise(self.unpromised.nothing_promised)
        if modelled is not None and self.instead is not None and self.instead.of == "load":
            return modelled.without_life(self.instead.because)
        return modelled


_SLIP = Withheld(
    "",
    "",
    "to be settled first",
    "first settle what is asked about sizes, columns or gauge: what a reading would tell depends on it",
)

_IN_AN_OVEN = Withheld(
    "", "", "a run in an oven", "none: where the bar softens, and not how it creeps, is what such a run tells"
)

_OF_NO_PLASTIC = Withheld(
    "",
    "no plastic has the modulus that the specimen's load and sizes come to",
    "to be settled first",
    "first settle what is asked about load and sizes",
)

_BEYOND = {
    "accelerating": Withheld(
        "",
        "every model slows down, and these readings do not",
        "creep speeds up",
        "creep speeds up, and every model slows down: none can say what a reading would tell",
        "no",
    ),
    "no-creep-seen": Withheld(
        "",
        "no plastic creeps as little as these readings say",
        "no creep was read",
        "first find out whether the gauge follows the specimen: it shows less creep than any plastic has",
    ),
}
"""Doubts beside which a number for a time beyond the test would mislead, as no model or no plastic is like the readings."""


def withheld_at(fit: Fit, time: float) -> Withheld | None:
    """Why an answer about a time [s] under the run's own load begins with no number, None where it may.

    Beside a slip that has to be settled, or readings that contradict each other, none is given at all; where creep speeds
    up or was not seen, none for a time beyond the test; none where the specimen had broken by then; and none beyond a
    hundred times the test.
    """
    of_readings = _by_readings(fit, time)
    return of_readings if of_readings is not None and not of_readings.because else _by_break(fit, time) or of_readings


def _by_break(fit: Fit, time: float) -> Withheld | None:
    """The specimen broke before that time; of a pool its own doubt says so."""
    at = None if isinstance(fit, PooledFit) else fit.run.broke_at
    if at is None or time <= at * (1.0 + 1e-9):
        return None
    because = it_broke(fit.run)
    unadvised = f"{because}: nothing is left to be read; a fresh bar at half the load tells more"
    text = f"{capital(because)}."
    return Withheld(text, because, "it broke", unadvised, "no more: it broke", leads=True)


def _by_readings(fit: Fit, time: float) -> Withheld | None:
    slip = slip_of(fit)
    if slip is not None:
        return replace(_IN_AN_OVEN if slip.code == "oven-run" else _SLIP, text=slip.text)
    beyond = time / fit.run.test_length
    doubt = _first(about_fit(fit), tuple(_BEYOND)) if beyond > 1.0 + 1e-9 else None
    if doubt is not None:
        return replace(_BEYOND[doubt.code], text=doubt.text)
    against = contradiction(fit)
    if against is not None:
        because = "the readings contradict each other or every model"
        unadvised = "first find out which reading or load is wrong: what a further one would tell depends on it"
        return Withheld(against, because, "the readings contradict each other", unadvised)
    if beyond > FARTHEST * (1.0 + 1e-9):
        because = (
            f"{show_time(time)} is {show_number(beyond, digits=2)} times longer than the test, and nobody can say whether "
            "the plastic follows the models so far"
        )
        return Withheld(f"{capital(because)}.", because, "out of reach", of="time")
    return None


def withheld_after(after: float, known: float) -> Withheld | None:
    """Why what is left `after` [s] an unloading has no number: no test or recovery of which it is a hundredth was read."""
    ratio = after / known
    if ratio <= FARTHEST * (1.0 + 1e-9):
        return None
    because = (
        f"{show_time(after)} is {show_number(ratio, digits=2)} times as long as the test or its recovery was read "
        f"({show_time(known)})"
    )
    return Withheld(f"{capital(because)}.", because, "out of reach", of="time")


def of_modulus(fit: Fit) -> Withheld | None:
    """Why nothing is said that hangs on the modulus, of a part, another load or another material; None where it may be."""
    doubt = _first(about_fit(fit), ("modulus-of-no-plastic",))
    return None if doubt is None else replace(_OF_NO_PLASTIC, text=doubt.text)


def withheld_by_stress(fit: Fit, time: float) -> Withheld | None:
    """As `withheld_at`, of what hangs on the modulus besides."""
    of_time = withheld_at(fit, time)
    return of_time if of_time is not None and of_time.of == "all" else of_modulus(fit) or of_time


def withheld_in_part(fit: Fit, time: float, times: float, strain: float) -> Withheld | None:
    """As `withheld_under`, of a part, which hangs on the modulus."""
    under = withheld_under(fit, time, times, strain)
    return under if under is not None and under.of == "all" else of_modulus(fit) or under


def unpromised(fit: Fit, time: float, instead: Withheld | None = None) -> Withheld | None:
    """Why no load, thickness or life is named for a time [s], None where they can be; `instead` is that of the number."""
    return instead if instead is not None and instead.of == "all" else withheld_at(fit, min(time, fit.horizon))


def withheld_under(fit: Fit, time: float, times: float, strain: float) -> Withheld | None:
    """As `withheld_at`, at a stress `times` the highest tested and a strain, which no proportion to the test may reach."""
    borne = abs(fit.run.working_load / fit.run.peak_load) * (1.0 - 1e-9)
    of_time = withheld_at(fit, time) if times >= borne else _by_readings(fit, time)
    return of_time if of_time is not None and of_time.of == "all" else _beyond_yield(times, strain) or of_time


def _beyond_yield(times: float, strain: float) -> Withheld | None:
    if times <= FAR_ABOVE or strain <= YIELDING:
        return None
    because = (
        f"at {show_number(times, digits=2)} times the highest stress tested the strain comes to "
        f"{show_number(100.0 * strain, digits=2)} %, where rigid plastics yield or break"
    )
    return Withheld(f"{capital(because)}.", because, "out of reach", of="load")


@lru_cache(maxsize=2)  # asked for every time of an answer, as `about_fit` is
def contradiction(fit: Fit, so: str = "") -> str | None:
    """Say that the readings lie many times the gauge's noise about every model, and `so` what follows; else None."""
    if isinstance(fit, PooledFit) or not fit.models:
        return None
    lowest = min(m.residual_sum / max(m.free, 1) for m in fit.models.values())
    ratio = math.sqrt(lowest) / fit.observed.noise.stated
    if ratio < CONTRADICTING:
        return None
    doubts = {c.code: c for c in reversed(about_fit(fit))}
    named = next((doubts[code] for code in _NAMING if code in doubts), None)
    said = "" if named is None else named.text.split(". ")[0].rstrip(".")
    look = f" {said}{'' if said.endswith('?') else '.'}" if said else ""
    far = f"they lie {show_number(ratio, digits=2)} times the gauge's noise about the best model"
    return f"The readings contradict each other or every model ({far}){so}.{look}"


def _first(cautions: tuple[Caution, ...], codes: tuple[str, ...]) -> Caution | None:
    return next((c for c in cautions if c.code in codes), None)
