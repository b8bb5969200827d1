"""Whether creep is in proportion to stress, as an answer: ratios of compliances, the law, the verdict and its words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from creepfit.answers.heading import heading
from creepfit.answers.interval import Caution, Interval, in_hours
from creepfit.answers.stress.laws import RatioLaw, SinhLaw
from creepfit.answers.stress.levels import StressLevel
from creepfit.inference.fitting import Fit
from creepfit.inference.stress_law import RATIO_SPREAD, STEEPEST
from creepfit.records.run import Run
from creepfit.shown import Tabled
from creepfit.units import show_number

CLEAR = 0.95

TOO_CLOSE, TOO_COARSE = "stresses-too-close", "readings-too-coarse"
"""Codes of the cautions that say which test would tell."""

SMALL_DEPARTURE = 0.05
"""Departure from proportion at the highest stress, in tension, that does not matter: less than bars of one print differ by
(common practice, no source)."""

ProportionVerdict = Literal["yes", "no", "cannot be told"]


@dataclass(frozen=True)
class StressRatio:
    """Compliance at one stress over that at a lower one, as the specimens show it.

    `time` in s since loading, None where it is that of the whole curve, from steps within one run. `probability_softer`
    is that of a ratio above 1; `distinguishable` whether the interval leaves 1 out.
    """

    low_stress: float
    high_stress: float
    time: float | None
    ratio: Interval
    probability_softer: float

    @property
    def distinguishable(self) -> bool:
        return not self.ratio.low <= 1.0 <= self.ratio.high

    def to_dict(self) -> dict[str, Any]:
        return {
            "of_MPa": self.high_stress,
            "to_MPa": self.low_stress,
            "time_h": in_hours(self.time),
            **self.ratio.to_dict(),
            "probability_softer": self.probability_softer,
            "distinguishable": self.distinguishable,
        }


@dataclass(frozen=True, eq=False, repr=False)
class Linearity(Tabled):
    """Whether creep is in proportion to stress.

    Attributes
    ----------
    levels : tuple of StressLevel
        Stresses tested, ascending.
    ratios : tuple of StressRatio
    law : SinhLaw or None
        None where fewer than three stresses were tested or the law cannot be used; `why` says so.
    steps : RatioLaw or None
        The ratio of the highest stress to the lowest from steps within one run, None where no run has steps.
    share : float
        Share of a departure in tension that the specimens show at the same stress.
    differences : tuple of str
        In what else the runs differ, in words.
    """

    fit: Fit
    runs: tuple[Run, ...]
    levels: tuple[StressLevel, ...]
    ratios: tuple[StressRatio, ...]
    law: SinhLaw | None
    steps: RatioLaw | None
    why: str | None
    share: float
    differences: tuple[str, ...]
    cautions: tuple[Caution, ...]
    level: float

    @property
    def headline(self) -> str:
        return self.text

    @property
    def top(self) -> StressRatio | None:
        """The ratio at the highest stress that is known best; None where there is none."""
        top = [r for r in self.ratios if r.high_stress == max(s.high_stress for s in self.ratios)]
        return min(top, key=lambda r: r.ratio.high - r.ratio.low, default=None)

    @property
    def departure(self) -> Interval | None:
        """How much more than in proportion the highest stress strains in tension, as a share; None where unknown.

        By the law where there is one, and then as if proportion were ruled out beforehand, so that it is no promise; else
        from the best known ratio, as if the departure grew with the square of stress.
        """
        if self.law is not None:
            return Interval(*(f - 1.0 for f in self.law.factor_if_not_linear.to_dict().values()))
        if self.top is None:
            return None
        gain = self.share * (1.0 - (self.top.low_stress / self.top.high_stress) ** 2)
        return Interval(*((r - 1.0) / gain for r in self.top.ratio.to_dict().values()))

    @property
    def proportional(self) -> ProportionVerdict:
        """ "no" where that is clear; "yes" where at most a small departure is left; else it cannot be told."""
        top, departure = self.top, self.departure
        if self.law is None:
            clear = top is not None and top.distinguishable
        else:  # the law knows no stiffening, so that is for the ratio to tell
            clear = self.law.probability_linear <= 1.0 - CLEAR or (top is not None and top.ratio.high < 1.0)
        if clear:
            return "no"
        if departure is not None and max(-departure.low, departure.high) <= SMALL_DEPARTURE:
            return "yes"
        return "cannot be told"

    @property
    def next_test(self) -> str | None:
        """The test that would tell; None where it is clear already or nothing can be compared."""
        return next((c.settled_by for c in self.cautions if c.code in (TOO_CLOSE, TOO_COARSE)), None)

    @property
    def text(self) -> str:
        """The finding in a sentence."""
        low, high = self.levels[0].stress, self.levels[-1].stress
        if self.law is None and self.top is not None:
            low, high = self.top.low_stress, self.top.high_stress
        span = f"between {show_number(low)} and {show_number(high)} MPa"
        verdict, departure = self.proportional, self.departure
        if verdict == "no":
            return f"creep is not in proportion to stress {span}: {self._told()}"
        if departure is None:
            return f"whether creep is in proportion to stress {span} cannot be told: {self.why}"
        size = max(-departure.low, departure.high)
        most = f"{show_number(100.0 * size, digits=2)} %"
        if verdict == "yes":
            kind = "softening" if self.law is not None else "one"
            return (
                f"no departure from proportion to stress can be told {span}; if there is {kind}, it is no more than {most} "
                "at the highest, in tension"
            )
        advice = self.next_test
        hidden = "one as large as proportion itself" if size > 1.0 else f"one of {most} at the highest, in tension,"
        open_ = "the readings say nothing for or against softening, and" if self._even else "no departure shows, but"
        shows = self._hint() or f"{open_} {hidden} could hide"
        return f"whether creep is in proportion to stress {span} cannot be told with these stresses: {shows}" + (
            f"; next: {advice}" if advice else ""
        )

    def _hint(self) -> str | None:
        """A departure that is likelier than not and yet not clear, in words."""
        if self.law is not None and self.law.probability_linear < 0.5 and not self._even:
            chance = 1.0 - self.law.probability_linear
            return f"softening is likelier than not (probability {chance:.2f}), but errors and unlike bars may feign it"
        return None

    @property
    def _even(self) -> bool:
        """Whether softening is as likely after the readings as before, in the digits that are shown."""
        return self.law is not None and round(self.law.probability_linear, 2) == 0.5

    def _told(self) -> str:
        if self.law is not None and self.law.probability_linear <= 1.0 - CLEAR:
            return f"{_softer(self.law.factor)} at the highest, in tension"
        assert self.top is not None
        return f"{_softer(self.top.ratio)} at the highest over the lowest, as tested"

    @property
    def assumptions(self) -> tuple[str, ...]:
        """What is taken for granted, and what was assumed before the readings."""
        assumed = [
            "one curve of time for all stresses, so that stress changes how much it creeps and not how fast; loads put on "
            "one after another add what the new load does and take off what the old one did (modified superposition)",
        ]
        if self.law is not None:
            highest = self.law.highest
            assumed.append(
                "hyperbolic sine: as likely as proportion; where it holds, the highest stress over the sinh stress is "
                f"anything from 0 to {STEEPEST:g} with one probability, so the sinh stress is at least "
                f"{show_number(highest / STEEPEST)} MPa (there {show_number(np.sinh(STEEPEST) / STEEPEST)} times the creep "
                "in proportion)"
            )
        if self.steps is not None:
            assumed.append(
                f"ratio from steps within one run: normal around 1, {100.0 * RATIO_SPREAD:.0f} % (logarithm); in between "
                "it goes with the square of stress"
            )
        if len({name for level in self.levels for name in level.specimens}) > 1:
            assumed.append(
                "scatter of stiffness, and of creep besides, between specimens: log-normal with a median of 10 %"
            )
        return tuple(assumed)

    def _rows(self) -> list[dict[str, Any]]:
        """One row a ratio."""
        return [r.to_dict() for r in self.ratios]

    def to_dict(self) -> dict[str, Any]:
        departure = self.departure
        return {
            **heading(self.fit, self.level),
            "run": [r.label for r in self.runs],
            "proportional": self.proportional,
            "finding": self.text,
            "next_test": self.next_test,
            "departure_at_highest": None if departure is None else departure.to_dict(),
            "share_shown": self.share,
            "levels": [level.to_dict() for level in self.levels],
            "ratios": [r.to_dict() for r in self.ratios],
            "law": None if self.law is None else self.law.to_dict(),
            "why": self.why,
            "assumptions": list(self.assumptions),
            "cautions": [c.to_dict() for c in self.cautions],
        }


def _softer(ratio: Interval) -> str:
    low, high = 100.0 * (ratio.low - 1.0), 100.0 * (ratio.high - 1.0)
    return f"{low:+.0f} to {high:+.0f} % compliance"
