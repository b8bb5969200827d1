"""Dependence on stress, all that runs at several stresses say of it: proportion, law, isochronous curves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from creepfit.answers.interval import Caution
from creepfit.answers.stress.isochronous import TIMES, Isochronous, isochronous
from creepfit.answers.stress.linearity import Linearity, linearity
from creepfit.asked import asked_size, asked_times
from creepfit.errors import InputError
from creepfit.inference.fitting import FARTHEST, Fit
from creepfit.inference.run_fit import asked_fits
from creepfit.shown import Shown
from creepfit.units import HOUR, MINUTE, show_number

if TYPE_CHECKING:
    from pandas import DataFrame

SHORT = (MINUTE, 10.0 * MINUTE)
"""Times besides those of ISO 899 where no stress was held until the first of them, s."""


@dataclass(frozen=True, eq=False, repr=False)
class StressDependence(Shown):
    """Whether creep is in proportion to stress, and the curves of strain against stress.

    `curves` is None where there are none, and `why` says so. `left_out` are times of ISO 899, s, that lie beyond a hundred
    times the longest test and were not asked for.
    """

    linearity: Linearity
    curves: Isochronous | None
    why: str | None
    left_out: tuple[float, ...]

    @property
    def headline(self) -> str:
        return self.linearity.text

    @property
    def cautions(self) -> tuple[Caution, ...]:
        return (*self.linearity.cautions, *(self.curves.cautions if self.curves is not None else ()))

    def table(self) -> DataFrame:
        """One row a time and stress of the curves; without any, one row a ratio."""
        return self.linearity.table() if self.curves is None else self.curves.table()

    def to_dict(self) -> dict[str, Any]:
        """What --json prints."""
        curves = self.curves
        return {
            **self.linearity.to_dict(),
            "isochronous": [] if curves is None else [p.to_dict() for p in curves.points],
            "isochronous_basis": None if curves is None else curves.basis,
            "isochronous_why": self.why,
            "left_out_h": [t / HOUR for t in self.left_out],
            "cautions": [c.to_dict() for c in self.cautions],
        }


def stress_dependence(
    fits: Sequence[Fit],
    at: Sequence[str | float] = (),
    stresses: Sequence[str | float] = (),
    level: float | None = None,
) -> StressDependence:
    """Answer everything about dependence on stress at once.

    Parameters
    ----------
    fits : sequence of Fit
        As for `linearity`.
    at : times, optional
        Of the isochronous curves, text such as "100 h" or s; by default those of ISO 899 (1 to 10 000 h) as far as a
        hundred times the longest test, and 1 and 10 min where no stress was held for an hour.
    stresses : stresses, optional
        Further ones for the curves, text such as "6 MPa" or MPa; they take a law, so three tested stresses.
    level : float, optional
        Probability of the intervals, the first fit's own if not given.

    Raises
    ------
    InputError
        Fewer than two stresses, a stress that is not known, was not tested or lies above the highest, a time that is none.
    """
    fits = asked_fits(fits)
    times = asked_times(at, "at").tolist() if len(at) else []
    further = [asked_size(stress, "stress", "stress") for stress in stresses]
    proportion = linearity(fits, level)
    highest = proportion.levels[-1].stress
    for stress in further:
        if not 0.0 < stress <= highest * (1.0 + 1e-9):
            expected = f"a stress above zero and no more than the highest tested, {show_number(highest)} MPa"
            raise InputError(key="stress", found=f"{show_number(stress)} MPa", expected=expected)
    chosen, left_out = (times, ()) if times else _usual_times(proportion)
    tested = [own.stress for own in proportion.levels]
    try:
        # without an own list, stresses without a curve are passed over
        wanted = [*tested, *(s for s in further if s not in tested)] if further else None
        curves = isochronous(proportion, chosen, wanted, proportion.level)
    except InputError as error:
        if at or further:
            raise
        return StressDependence(proportion, None, str(error), left_out)
    return StressDependence(proportion, curves, None, left_out)


def _usual_times(proportion: Linearity) -> tuple[list[float], tuple[float, ...]]:
    """Times of the curves where none were asked for, and those left out."""
    longest, held = max(run.test_length for run in proportion.runs), max(level.read[1] for level in proportion.levels)
    usual = [t for t in TIMES if t <= FARTHEST * longest]
    short = [t for t in SHORT if t <= longest] if held < TIMES[0] else []
    return [*short, *usual] or [longest], tuple(t for t in TIMES if t not in usual)
