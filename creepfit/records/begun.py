"""A run on its first day: sizes and gauge are known, readings under load are still to come."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from creepfit.errors import InputError
from creepfit.mechanics.specimen import Specimen
from creepfit.records.run import Gauge, LoadStep, Reading, Run


@dataclass(frozen=True)
class BegunRun:
    """What is known of a run that cannot be fitted yet.

    `steps` is empty where no load was noted, and then times of `readings` mean nothing; `began` is the date-time of first
    loading where the file knows it; `to_come` as in `Run`.
    """

    material: str
    name: str
    file: str | None
    specimen: Specimen
    gauge: Gauge
    readings: tuple[Reading, ...]
    steps: tuple[LoadStep, ...] = ()
    began: datetime | None = None
    to_come: tuple[float, ...] = ()

    @classmethod
    def of(cls, run: Run) -> BegunRun:
        """Return what a run's record holds, before it was found to be too short."""
        return cls(
            run.material, run.name, run.file, run.specimen, run.gauge, run.readings, run.steps, run.began, run.to_come
        )

    @property
    def label(self) -> str:
        """Material and specimen, for a line of text."""
        return f"{self.material} {self.name}".strip()

    @property
    def unit(self) -> str:
        """Unit of its readings: "mm", or "1" for strain as a fraction."""
        return self.specimen.reading_unit

    @property
    def counted(self) -> tuple[Reading, ...]:
        """The readings that were not left out."""
        return tuple(r for r in self.readings if r.skip is None)

    def clock_time(self, time: float) -> datetime | None:
        """Return the date-time of a moment [s since first loading], None where the file has elapsed times only."""
        return None if self.began is None else self.began + timedelta(seconds=time)


class UnfinishedRunError(InputError):
    """A run without a mistake in it that has too few readings yet; `begun` holds what there is."""

    begun: BegunRun | None = None
