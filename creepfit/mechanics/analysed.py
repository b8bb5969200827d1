"""A part of any shape, by the result of an elastic analysis that was made elsewhere.

Under given loads, with one linear material whose Poisson's ratio does not change and supports that do not give way, the
stresses stay as they are while the material creeps, and every displacement is the elastic one times E D(t)
(correspondence principle):

    sag(t) = deflection x modulus x D(t),

`modulus` being that of the analysis, whatever it was. That holds for shells, solids and ribs as for beams.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from creepfit.errors import InputError
from creepfit.mechanics.beam import Influence, StressPeak
from creepfit.mechanics.beam_axis import BeamAxis
from creepfit.mechanics.beam_loads import Direction, Load
from creepfit.mechanics.loading import Array
from creepfit.mechanics.panel import Panel
from creepfit.mechanics.space_bar import PulledBar


@dataclass(frozen=True)
class AnalysedLoad(Load):
    """A load of the analysis: per unit of it, which share of the analysed deflection and stress it brings.

    `whole` where it has no size of its own: it is the load of the analysis, once. `spread` where it is in N/mm. `of_stress`
    where its share of the stress is another than that of the deflection.
    """

    share: float = 1.0
    whole: bool = False
    spread: bool = False
    of_stress: float | None = None

    def beyond(self, axis: BeamAxis, distance: Array) -> tuple[Array, Array]:
        raise InputError("a load of an analysis made elsewhere has no place on a beam", key="elastic")

    def breaks(self, axis: BeamAxis) -> list[float]:
        raise InputError("a load of an analysis made elsewhere has no place on a beam", key="elastic")


@dataclass(frozen=True)
class Analysed:
    """What an elastic analysis found.

    Parameters
    ----------
    deflection : float
        mm, where and as the sag is asked for, under all loads at their largest.
    modulus : float
        MPa, that the analysis was made with.
    largest_stress : float
        MPa, anywhere in the part, under the same loads: what is held against the stress tested.
    poisson : float, optional
        Of the analysis.
    load, read_at : str
        In words: under which load, and where the deflection was read.
    formula : str
        In words what the part is, where a textbook formula stands for an analysis made elsewhere.
    drawn : Panel or PulledBar, optional
        What the formula is of, where it can be drawn.
    """

    deflection: float
    modulus: float
    largest_stress: float
    poisson: float | None = None
    load: str = ""
    read_at: str = ""
    formula: str = ""
    drawn: Panel | PulledBar | None = None

    def __post_init__(self) -> None:
        if self.deflection == 0.0 or not np.isfinite(self.deflection):
            given = f"{self.deflection:g} mm"
            raise InputError(key="deflection", found=given, expected="that of the analysis, not zero")
        for key in ("modulus", "largest_stress"):
            if not 0.0 < getattr(self, key) < np.inf:
                raise InputError(key=key, found=f"{getattr(self, key):g} MPa", expected="a stress above zero")

    def influence(self, load: Load, at: float | None = None, direction: Direction = "vertical") -> Influence:
        """Deflection per unit of a load, where the analysis read it; see `Beam.influence`."""
        return Influence((self.deflection * self.modulus * _share(load),), (0.0,), (0.0,))

    def peak_stress(self, loads: Sequence[tuple[Load, float]]) -> StressPeak:
        """Largest stress; `loads` as `Beam.peak_stress` takes them."""
        share = sum(_share_of_stress(load) * size for load, size in loads)
        return StressPeak(abs(share) * self.largest_stress, None, 0)


def _share_of_stress(load: Load) -> float:
    own = load.of_stress if isinstance(load, AnalysedLoad) else None
    return _share(load) if own is None else own


def _share(load: Load) -> float:
    assert isinstance(load, AnalysedLoad)  # the part's file knows no other
    return load.share
