"""The unit that loads were typed in, so that answers name loads in the same."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from creepfit.units import STANDARD_GRAVITY, Kind, show_number, unit_factor, unit_of


@dataclass(frozen=True)
class LoadUnit:
    """A unit as it was typed, "g" or "lbf", and what one of it is on the specimen or part.

    `size` is in `internal`, which is N, MPa, N/mm or N mm; gravity and the rig's lever are in it.
    """

    name: str
    size: float
    internal: str

    def show(self, load: float, digits: int = 3) -> str:
        """Return a load, given in the internal unit, as "300 g (2.94 N)"; without brackets where that is the same."""
        own = self.own(load, digits)
        return own if self.name == self.internal or not load else f"{own} ({show_number(load)} {self.internal})"

    def own(self, load: float, digits: int = 3) -> str:
        """Return it as "300 g" alone."""
        return f"{show_number(load / self.size, digits=digits)} {self.name}"


def load_unit(loads: Iterable[tuple[Kind, object]], internal: str, lever: float = 1.0) -> LoadUnit:
    """Return the unit of the last load that has one and is not zero; `internal` itself where none has.

    Parameters
    ----------
    loads : iterable of (kind, text)
        As they stand in a file that was read: "300 g" as a mass, "2 lbf" as a force.
    internal : str
        What they are computed in.
    lever : float
        What a mass is multiplied by besides gravity.
    """
    unit = LoadUnit(internal, 1.0, internal)
    for kind, text in loads:
        name = unit_of(str(text))
        if name:
            factor = unit_factor(name, kind)[0]
            unit = LoadUnit(name, factor * (STANDARD_GRAVITY * lever if kind == "mass" else 1.0), internal)
    return unit
