"""`check`: what is doubtful about a run, which reading would help most, and how an old forecast did."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from creepfit.answers.doubts.collected import about_fit
from creepfit.answers.heading import heading
from creepfit.answers.interval import Caution
from creepfit.answers.specimen.schedule import Schedule, next_reading
from creepfit.inference.fitting import Fit
from creepfit.inference.hindcast import Hindcast, NoHindcast, score
from creepfit.inference.run_fit import asked_fit, fit_run
from creepfit.inference.saved import Saved
from creepfit.records.run import Run
from creepfit.shown import Shown
from creepfit.units import HOUR

if TYPE_CHECKING:
    from pandas import DataFrame


@dataclass(frozen=True, eq=False, repr=False)
class Check(Shown):
    """Doubts about a run; `against` is None where no old forecast was given."""

    fit: Fit
    cautions: tuple[Caution, ...]
    schedule: Schedule
    against: Hindcast | NoHindcast | None

    @property
    def headline(self) -> str:
        return f"{self.fit.label}, cautions: {', '.join(c.code for c in self.cautions) or 'none'}"

    def table(self) -> DataFrame:
        """One row a caution."""
        from pandas import DataFrame

        return DataFrame([c.to_dict() for c in self.cautions], columns=["code", "text", "settled_by"])

    def to_dict(self) -> dict[str, Any]:
        """What ``check --json`` prints."""
        scored = self.against
        return {
            **heading(self.fit),
            "cautions": [c.to_dict() for c in self.cautions],
            "next_readings": [s.to_dict() for s in self.schedule.suggestions],
            "next_readings_why": self.schedule.why,
            "against": scored.to_dict() if isinstance(scored, Hindcast) else None,
            "against_why": scored.why if isinstance(scored, NoHindcast) else None,
        }


def check(fit: Fit | Run, against: Saved | None = None) -> Check:
    """Doubts about a run and its fit, the next reading worth taking, and the score of an old forecast.

    Parameters
    ----------
    fit : Fit, or Run
        A run is fitted first.
    against : Saved, optional
        A result saved before some of the run's readings were taken: its forecast is held against them as it stood.
    """
    fit = fit_run(fit) if isinstance(fit, Run) else asked_fit(fit)
    scored = None
    if against is not None:
        rows: Sequence[Mapping[str, Any]] = against.summary.get("forecast", ())
        after = float(against.summary.get("last_reading_h", 0.0)) * HOUR
        scored = score(rows, fit.run, level=against.level, after=after, unit=against.summary.get("unit"))
    return Check(fit, about_fit(fit), next_reading(fit), scored)
