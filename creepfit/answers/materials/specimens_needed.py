"""How many specimens of each material it takes to show a difference of a size."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.special import stdtrit

from creepfit.mechanics.loading import Array

POWER = 0.8
MOST_SPECIMENS = 200


def half_width(specimens: int, scatter: float, level: float = 0.95) -> float:
    """Half width of the interval of the log ratio of two means of `specimens` each, pooled two-sample t."""
    free = 2 * specimens - 2
    return float(stdtrit(free, 0.5 + level / 2.0) * scatter * np.sqrt(2.0 / specimens))


def detectable(specimens: int, scatter: float, level: float = 0.95) -> float:
    """Log ratio that two groups of `specimens` each show with a probability of 80 % (t approximation)."""
    free = 2 * specimens - 2
    return half_width(specimens, scatter, level) + float(stdtrit(free, POWER) * scatter * np.sqrt(2.0 / specimens))


def specimens_needed(log_ratio: float, scatter: float, level: float = 0.95) -> int | None:
    """Fewest specimens of each material that show a log ratio four times in five; None beyond 200."""
    enough = np.flatnonzero(_detectable_ratios(level) * scatter <= abs(log_ratio))
    return int(enough[0]) + 2 if enough.size else None


@lru_cache(maxsize=8)  # of forty runs there are 780 pairs to ask for
def _detectable_ratios(level: float) -> Array:
    """`detectable` of 2 to 200 specimens at a scatter of 1."""
    return np.array([detectable(n, 1.0, level) for n in range(2, MOST_SPECIMENS + 1)])
