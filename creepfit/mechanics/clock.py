"""Clocks: the time a material feels, as a function of the time on the wall.

A clock is a warp before the columns: creep functions are superposed on it exactly as on plain time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from creepfit.mechanics.loading import Array


@dataclass(frozen=True)
class AgeingClock:
    """Struik's effective time of a glassy polymer that goes on ageing under load.

    d(lambda)/dt = (te0/(te + t))^mu, which for te0 = te is lambda = te/(1-mu) [(1 + t/te)^(1-mu) - 1], and
    te ln(1 + t/te) for mu = 1 (Struik 1978, from memory; checked against numerical integration in the tests).

    Parameters
    ----------
    age : float
        Age te at t = 0 in s, since printing or since heating above the glass transition.
    rate : float
        Shift rate mu, 0 (no ageing: plain time) to 1.
    reference : float, optional
        Age te0 in s at which the clock runs at the speed of plain time; `age` if not given. A part younger than the
        specimen runs faster than the specimen did, an older one slower.
    """

    age: float
    rate: float
    reference: float | None = None

    def __call__(self, t: Array) -> Array:
        """Effective time in s, any shape; times before t = 0 run on the plain clock."""
        t = np.asarray(t, dtype=float)
        log_growth = np.log1p(np.maximum(t, 0.0) / self.age)
        left = 1.0 - self.rate
        aged = self.age * (np.expm1(left * log_growth) / left if left > 1e-9 else log_growth)
        speed = 1.0 if self.reference is None else (self.reference / self.age) ** self.rate
        return np.where(t > 0.0, speed * aged, t)
