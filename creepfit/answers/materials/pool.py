"""What several runs of one material say together: the average, the scatter between specimens, and who does not fit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from creepfit.answers.doubts.pool import pool_doubts
from creepfit.answers.interval import Caution
from creepfit.answers.specimen.summary import Summary, summarise
from creepfit.inference.pooling import PooledFit
from creepfit.shown import Tabled


@dataclass(frozen=True, eq=False, repr=False)
class PoolSummary(Tabled):
    """A pool's summary: that of a fit, for a new specimen, and what only several runs can say."""

    fit: PooledFit
    summary: Summary
    cautions: tuple[Caution, ...]

    @property
    def headline(self) -> str:
        return self.summary.headline

    def _rows(self) -> list[dict[str, Any]]:
        """One row a specimen: its compliance over the average one's."""
        return self._factors()

    def to_dict(self) -> dict[str, Any]:
        """What ``fit --pool --json`` prints."""
        scatter, creep, shared = self.fit.scatter, self.fit.creep_scatter, self.fit.shared_shape
        return {
            **self.summary.to_dict(),
            "run": [run.label for run in self.fit.runs],
            "cautions": [c.to_dict() for c in self.cautions],
            "pool": {
                "specimens": scatter.specimens,
                "scatter": {"low": scatter.low, "median": scatter.median, "high": scatter.high, "source": scatter.source},
                "creep_scatter": {"low": creep.low, "median": creep.median, "high": creep.high, "source": creep.source},
                "factors": self._factors(),
                "misfits": [
                    {"run": m.run, "chi_square": m.chi_square, "free": m.free, "probability": m.probability}
                    for m in self.fit.misfits
                ],
                "shared_shape": None
                if shared is None
                else {"groups": [list(g) for g in shared.groups], "probability": shared.probability, "text": shared.text},
                "differences": list(self.fit.differences),
            },
        }

    def _factors(self) -> list[dict[str, Any]]:
        return [{"specimen": f.specimen, "low": f.low, "median": f.median, "high": f.high} for f in self.fit.factors]


def summarise_pool(fit: PooledFit) -> PoolSummary:
    """Put together what a pool says without further questions."""
    summary = summarise(fit)
    return PoolSummary(fit, summary, (*pool_doubts(fit), *summary.cautions))
