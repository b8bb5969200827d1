"""A drawn specimen on its bent shape: what large rotations do to its reading."""

from __future__ import annotations

import numpy as np

from creepfit.mechanics.beam_loads import FacePair, Load, PointLoad, unit_vector
from creepfit.mechanics.large_rotation import BentBeam
from creepfit.mechanics.specimen import Segments

STEPS = np.linspace(0.2, 1.0, 5)


def when_bent(specimen: Segments, reading: float) -> tuple[float, float] | None:
    """How far a specimen turns, and what it then reads.

    Parameters
    ----------
    specimen : Segments
    reading : float
        Deformation by the shape as drawn, mm.

    Returns
    -------
    (float, float) or None
        Largest rotation in rad, and the reading in equilibrium over `reading`; None where there is no equilibrium.
    """
    load: Load = PointLoad(specimen.load_at, specimen.direction)
    at, opposite = (specimen.load_at if specimen.read_at is None else specimen.read_at), None
    axis, one = specimen.beam.axis, np.ones(1)
    if specimen.between_faces:
        at, opposite = specimen.load_at, axis.start if specimen.opposite_at is None else specimen.opposite_at
        load = FacePair(specimen.opposite_at, specimen.load_at)
    size = reading / specimen.geometry.reading_per_compliance
    path = BentBeam(specimen.beam, [[(load, size)]], at, opposite).path(one, one, STEPS)
    if len(path) < len(STEPS):
        return None
    bent = path[-1]
    if specimen.between_faces:
        return bent.largest_turn, bent.opening / reading
    spot = np.array(np.nextafter(axis.locate(at), axis.start))
    return bent.largest_turn, float(unit_vector(axis, specimen.direction, spot) @ bent.displacement) / reading
