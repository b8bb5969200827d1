"""A forecast by the specimen's own readings alone, and with the known runs of its material."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from creepfit.answers.outlook import Outlook
from creepfit.inference.hindcast import Hindcast, NoHindcast
from creepfit.inference.known import KnownFit
from creepfit.inference.response import Interval, predicted
from creepfit.mechanics.loading import Array
from creepfit.units import HOUR


@dataclass(frozen=True)
class WithKnownRow:
    """At a time [s]: by its own readings alone, and with the known runs, in the answer's unit."""

    time: float
    alone: Interval
    together: Interval

    def to_dict(self) -> dict[str, Any]:
        return {"time_h": self.time / HOUR, "alone": self.alone.to_dict(), "with_known": self.together.to_dict()}


@dataclass(frozen=True, eq=False)
class WithKnown:
    """Rows of a forecast with and without the known runs, and how both would have done on the first part of the run."""

    fit: KnownFit
    level: float
    rows: tuple[WithKnownRow, ...]

    @property
    def hindcast(self) -> Hindcast | NoHindcast:
        """With the known runs; the forecast's own is without."""
        return self.fit.hindcast_with

    def to_dict(self) -> dict[str, Any]:
        past = self.hindcast
        return {
            "runs": [
                {
                    "run": known.name,
                    "length_h": known.length / HOUR,
                    "counts": any(known is other for other in self.fit.used),
                    "probability": known.misfit.probability,
                    "belongs": known.belongs,
                    "differences": list(known.differences),
                }
                for known in self.fit.known
            ],
            "departure": self.fit.departure,
            "departure_source": self.fit.departure_source,
            "rows": [row.to_dict() for row in self.rows],
            "hindcast": past.to_dict() if isinstance(past, Hindcast) else None,
            "hindcast_why": past.why if isinstance(past, NoHindcast) else None,
        }


def with_known_runs(ahead: Outlook, times: Array) -> WithKnown | None:
    """Both forecasts of the curve at times (T,) in s; None where no run is known."""
    fit = ahead.fit
    if not isinstance(fit, KnownFit):
        return None
    history = ahead.history(np.asarray(times))
    alone, together = (predicted(one, history, times).intervals(ahead.level) for one in (fit.by_itself, fit))
    rows = zip(times, alone, together, strict=True)
    return WithKnown(fit, ahead.level, tuple(WithKnownRow(float(t), a, b) for t, a, b in rows))
