"""Cells of a posterior's grid, nodes times noise scales: those whose probability matters."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from creepfit.inference.truncated import Quadrant
from creepfit.mechanics.loading import Array, Indices

KEEP = 11.0
"""Nodes less probable than the best by exp(-KEEP), one in 60 000, are left out."""


@dataclass(frozen=True, eq=False)
class Cells:
    """Those of M nodes times S noise scales whose probability is within exp(-KEEP) of the best cell's.

    Attributes
    ----------
    node, scale : ndarray of int, shape (C,)
        Node and noise scale of each cell.
    log_joint : ndarray, shape (C,)
        Logarithm of prior times evidence.
    quadrant : Quadrant, arrays of shape (C,)
        The amplitudes' normals, mm under the reference load.
    scales : int
        S.
    """

    node: Indices
    scale: Indices
    log_joint: Array
    quadrant: Quadrant
    scales: int

    @cached_property
    def log_evidence(self) -> float:
        """Logarithm of the sum over the cells."""
        return float(np.logaddexp.reduce(self.log_joint))

    @cached_property
    def profile(self) -> Array:
        """Best cell of each noise scale, shape (S,), -inf where there is none."""
        out = np.full(self.scales, -np.inf)
        np.maximum.at(out, self.scale, self.log_joint)
        return out

    def take(self, index: Indices | NDArray[np.bool_]) -> Cells:
        """The same for a selection."""
        return Cells(self.node[index], self.scale[index], self.log_joint[index], self.quadrant.take(index), self.scales)


def with_quadrant(whole: Cells, reached: float) -> Cells:
    """Add the quadrant's probability, and keep the cells where it matters.

    Either amplitude's own tail probability bounds the quadrant's from above, which rules out more cells cheaply.
    """
    quadrant = whole.quadrant
    sd0 = np.hypot(quadrant.spread0, quadrant.slope * quadrant.sd1)
    upper = whole.log_joint + log_ndtr(np.minimum(quadrant.mean0 / sd0, quadrant.mean1 / quadrant.sd1))
    best = whole.take(np.array([int(np.argmax(upper))]))
    reached = max(reached, float((best.log_joint + best.quadrant.log_probability())[0]))
    likely = whole.take(upper > reached - KEEP)
    exact = replace(likely, log_joint=likely.log_joint + likely.quadrant.log_probability())
    return exact.take(exact.log_joint > exact.log_joint.max() - KEEP)
