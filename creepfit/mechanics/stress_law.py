"""Findley's hyperbolic-sine law as a map of the load: what a linear material would have to carry to give as much."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np

from creepfit.errors import InputError
from creepfit.mechanics.beam_axis import NODES, WEIGHTS
from creepfit.mechanics.beam_loads import PointLoad
from creepfit.mechanics.loading import Array
from creepfit.mechanics.nonlinear_bending import weighted_factor
from creepfit.mechanics.specimen import (
    Cantilever,
    Compression,
    Direct,
    FourPointBending,
    Specimen,
    Tension,
    ThreePointBending,
)

LoadMap = Callable[[Array], Array]
"""Loads of any shape to loads of the same shape, keeping zero and sign."""

BARS = (ThreePointBending, FourPointBending, Cantilever)


def sinh_map(specimen: Specimen, sigma0: float) -> LoadMap:
    """Load to the load under which a linear specimen would deform as much.

    In tension and compression s becomes sigma0 sinh(s/sigma0); in bending the section hands stress inwards, and only
    part of that shows (see `nonlinear_bending`). The share of shear in a deflection stays linear.

    Parameters
    ----------
    specimen : Specimen
    sigma0 : float
        Reference stress of the hyperbolic sine, MPa; infinite for the linear law.

    Raises
    ------
    InputError
        Where the stress in the specimen is not known well enough, with the reason.
    """
    if np.isinf(sigma0):
        return lambda load: load
    why = why_no_sinh(specimen)
    if why is not None:
        raise InputError(why, key="specimen", found=specimen.test)
    geometry = specimen.geometry
    per_load = float(geometry.stress_per_load or 0.0) / sigma0
    if not isinstance(specimen, BARS):
        return lambda load: np.asarray(np.sinh(per_load * load) / per_load)
    profile, share = _bending(specimen)
    shear = geometry.shear_share or 0.0

    def bent(load: Array) -> Array:
        factor = weighted_factor(per_load * np.abs(load), profile, share)
        return np.asarray(load * (shear + (1.0 - shear) * factor))

    return bent


def squared_map(low: float, high: float, ratio: float) -> LoadMap:
    """Load to the load of a linear specimen where compliance changes by `ratio` from the load `low` to `high`.

    In between it goes with the square of the load, as the first term of every law does that is the same both ways
    (sinh x = x + x^3/6). Below `low` and above `high` it stays what it is there: nothing was tested.

    Parameters
    ----------
    low, high : float
        Sizes of two loads, N (or stresses, MPa), the first the smaller one.
    ratio : float
        Compliance at `high` over that at `low`.
    """
    span = high**2 - low**2

    def mapped(load: Array) -> Array:
        size = np.clip(np.abs(load), low, high)
        return np.asarray(load * (1.0 + (ratio - 1.0) * (size**2 - low**2) / span))

    return mapped


SMALL = 0.1
"""Stress over sigma0 at which departures are compared; in the limit of small ones the share depends on it no more."""

STRAIGHT_BAR = 0.36
"""Share of the departure from proportion that the end of a cantilever and the middle of a three-point bar show:
1 + 0.06 x^2 where tension has 1 + x^2/6 (sinh put into the section; own arithmetic)."""


def shown_share(specimen: Specimen) -> float:
    """Share of a small departure from proportion in tension that a specimen shows at the same stress.

    1 in tension and compression. In bending the outer fibres hand stress inwards and most of the length carries less, so
    it is 0.36 for a cantilever or three points, up to 0.6 where the moment is constant, less the share of shear. For
    shapes that the law is not worked out for it is taken as a straight bar's.
    """
    if why_no_sinh(specimen) is not None:
        return STRAIGHT_BAR
    load = np.array(SMALL / float(specimen.geometry.stress_per_load or 1.0))
    shown = float(sinh_map(specimen, 1.0)(load) / load) - 1.0
    return float(shown / (np.sinh(SMALL) / SMALL - 1.0))


def why_no_sinh(specimen: Specimen) -> str | None:
    """The reason for which the law cannot be used on a specimen, None where it can."""
    if specimen.geometry.stress_per_load is None:
        return "loads in N and readings in mm without the specimen's sizes: its stress is unknown"
    if isinstance(specimen, BARS):
        if specimen.walls is not None:
            return "the bending of a bar with walls around a core is not worked out for the hyperbolic sine"
        return None
    if isinstance(specimen, Tension | Compression | Direct):
        return None
    return "the hyperbolic sine is worked out for tension, compression and straight bars in bending"


@lru_cache(maxsize=64)  # asked again for every sigma0, and only the specimen matters
def _bending(specimen: ThreePointBending | FourPointBending | Cantilever) -> tuple[Array, Array]:
    """Outer stress over its peak along a bar, and share in the bending deflection where it is read, each shape (n,)."""
    beam, loads = specimen.beam, specimen.loads
    positions = [0.0, beam.axis.end, specimen.read_distance]
    positions += [beam.axis.end if load.at is None else load.at for load, _ in loads]
    edges = np.unique(positions)
    half = 0.5 * np.diff(edges)[:, None]
    distance = (edges[:-1, None] + half * (1.0 + NODES)).ravel()
    real = np.sum([share * beam.forces(load, distance).moment for load, share in loads], axis=0)
    virtual = beam.forces(PointLoad(specimen.read_distance), distance).moment
    share = real * virtual * (half * WEIGHTS).ravel()
    size = np.abs(real)
    peak = np.max([size.max(), _peak(specimen, edges)])
    return np.asarray(size / peak), np.asarray(share / share.sum())


def _peak(specimen: ThreePointBending | FourPointBending | Cantilever, edges: Array) -> float:
    """Largest moment, which a straight bar under point loads has at a load or a support."""
    ends = np.concatenate([edges, np.nextafter(edges, 0.0)])
    moment = np.sum([share * specimen.beam.forces(load, ends).moment for load, share in specimen.loads], axis=0)
    return float(np.abs(moment).max())
