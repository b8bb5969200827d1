"""What keeps a limit on a part's sag: a factor on its loads or thicknesses, with the sizes it comes to."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from creepfit.answers.interval import Interval
from creepfit.records.load_unit import LoadUnit
from creepfit.units import HOUR


@dataclass(frozen=True)
class ScaledSize:
    """A load or a thickness of the part multiplied by the factor found: `now`, and the interval, in `unit`.

    `typed` is what a load was typed in, which it is answered in.
    """

    label: str
    now: float
    interval: Interval
    unit: str
    typed: LoadUnit | None = None

    @property
    def shown(self) -> tuple[str, float]:
        """The unit it is to be shown in, and how much of `unit` that is."""
        return (self.unit, 1.0) if self.typed is None else (self.typed.name, self.typed.size)

    def to_dict(self) -> dict[str, Any]:
        return {"label": self.label, "now": self.now, **self.interval.to_dict(), "unit": self.unit}


@dataclass(frozen=True)
class Keeping:
    """What keeps the limit for `life` [s]: a common factor on all loads, or on all thicknesses.

    `safe` is the end of the interval that keeps it with `probability`: the low one of a load, the high one of a
    thickness. `capped` where the stress tested decides in place of the limit; `note` is to be printed with it. All are
    None or empty where `why` says why.
    """

    life: float
    probability: float
    factor: Interval | None
    safe: float | None
    sizes: tuple[ScaledSize, ...]
    capped: bool
    note: str | None
    why: str | None = None

    @classmethod
    def unknown(cls, life: float, level: float, why: str) -> Keeping:
        """No answer, and why."""
        return cls(life, 0.5 + level / 2.0, None, None, (), False, None, why)

    def as_bound(self, what: str) -> Keeping:
        """The same answer as a bound of what was asked for."""
        return self if self.factor is None else replace(self, note=f"{what}; {self.note}")

    def without_promise(self, why: str) -> Keeping:
        """The same question where nothing is promised."""
        return Keeping(self.life, self.probability, None, None, (), False, None, why)

    def to_dict(self) -> dict[str, Any]:
        return {
            "life_h": self.life / HOUR,
            "probability": self.probability,
            "factor": None if self.factor is None else self.factor.to_dict(),
            "safe_factor": self.safe,
            "sizes": [size.to_dict() for size in self.sizes],
            "capped": self.capped,
            "note": self.note,
            "why": self.why,
        }
