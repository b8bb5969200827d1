"""Which cells of a grid are kept."""

from __future__ import annotations

import numpy as np
import pytest

from creepfit.inference.cells import Cells, with_quadrant
from creepfit.inference.truncated import Quadrant


@pytest.mark.parametrize("far", [0.0, -1e6, -2e21])
def test_of_cells_however_unlikely_one_is_kept(far: float) -> None:
    """Of runs that contradict each other a million times their noise: what is kept beside the best is lost in rounding."""
    some = np.arange(3)
    quadrant = Quadrant(*(np.full(3, size) for size in (1.0, 1.0, 0.1, 0.0, 0.1)))
    kept = with_quadrant(Cells(some, some, far + np.array([0.0, -100.0, -1.0]), quadrant, 3))
    assert {0, 2} <= set(kept.node.tolist())
    assert (1 in kept.node) == (far < -1e20)
