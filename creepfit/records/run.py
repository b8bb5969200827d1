"""What was loaded and read: one specimen, one load history, its readings.

Everything here is as the user wrote it, in internal units (s, N, mm, MPa, strain as a fraction), raw and
never differenced. Time is counted from the moment the first load starts to act.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any, Literal

import numpy as np

from creepfit.mechanics.load_plan import LoadPlan, LoadStep
from creepfit.mechanics.loading import LoadHistory
from creepfit.mechanics.specimen import Specimen
from creepfit.records.load_unit import LoadUnit, load_unit
from creepfit.shown import Tabled
from creepfit.units import HOUR, Kind

EventKind = Literal["rezeroed", "new observer", "bumped", "slipped", "stop reached", "broke"]
ENDING_EVENTS = ("slipped", "stop reached", "broke")

__all__ = ["Event", "Gauge", "LoadPlan", "LoadStep", "Reading", "Rig", "Run"]


@dataclass(frozen=True)
class Reading:
    """What the gauge showed: `value` in mm (or strain as a fraction), the mean of `repeats` readings.

    `spread` is the standard deviation among the repeats, None where there was one; `where` names the row for
    messages, `row` is its place in the table counted from 1, by which readings out of order are known. `skip` is the
    reason for which it is left out, None for one that counts. `over` is for how long it is a mean, s. `typed_unit` is the
    unit it was typed in, "" where that is not known.
    """

    time: float
    value: float
    repeats: int = 1
    spread: float | None = None
    temperature: float | None = None
    where: str = ""
    row: int = 0
    skip: str | None = None
    over: float = 0.0
    typed_unit: str = field(default="", compare=False)

    @property
    def place(self) -> str:
        """The row of the table or place in the list by which it is corrected or left out; "" where none is known."""
        numbers = re.findall(r"\d+", self.where)  # "row 5", "readings, entry 3"
        return numbers[-1] if numbers else ""


@dataclass(frozen=True)
class Event:
    """Something that happened to the set-up. A new zero starts there, or (slipped, stop reached, broke) the run ends."""

    at: float
    kind: EventKind

    @property
    def ends_run(self) -> bool:
        return self.kind in ENDING_EVENTS


@dataclass(frozen=True)
class Gauge:
    """The gauge: lengths in mm (or strain), `force` the plunger's in N, `drift` in mm per square root of a day.

    `repeatability` is one standard deviation; where the user gave none it is the stated default of
    `instrument`, and `repeatability_source` says so.
    """

    resolution: float
    repeatability: float
    repeatability_source: str
    instrument: str | None = None
    falls: bool = False
    force: float = 0.0
    range: float | None = None
    drift: float | None = None

    @property
    def sign(self) -> float:
        return -1.0 if self.falls else 1.0


@dataclass(frozen=True)
class Rig:
    """The frame: `compliance` in mm/N, `preload` in N already on at the initial reading (lever included).

    `bare_force` where a load or the preload was given as a force, which the lever does not multiply.
    """

    compliance: float = 0.0
    lever: float = 1.0
    preload: float = 0.0
    bare_force: bool = False


@dataclass(frozen=True)
class Logger:
    """What was averaged (see `thinning`): `rows` readings into `made`; `apart` were left out, the first one at `first`.

    `early` stood behind a later one in the file and were put in order, the first one at `first_early`; `settling` were left
    out because the load had only just changed.
    """

    rows: int
    made: int
    apart: int = 0
    first: str = ""
    early: int = 0
    first_early: str = ""
    settling: int = 0


@dataclass(frozen=True, repr=False)
class Run(Tabled):
    """One specimen, one load history, its readings (sorted by time).

    `humidity` is a fraction, `age` in s at first loading, `temperature` and `glass_transition` in degC; `source` is what
    was read, on its own (see `build_run.run_from_source`). `began` is the date-time of first loading where the file knows
    it, `passed_over` the titles of columns of its table that mean nothing here, `short_year` the first date whose year had
    two digits. `logger` is what became of more readings than a fit can use. `load_sd` is the relative standard deviation of
    its loads, by their tolerance. `to_come` are the times [s since first loading] that its table has laid out
    for readings still to come. `apart` tells the run from others of the same name in one answer.
    """

    material: str
    specimen: Specimen
    gauge: Gauge
    steps: tuple[LoadStep, ...]
    readings: tuple[Reading, ...]
    name: str = ""
    file: str | None = None
    source: str = ""
    rig: Rig = field(default_factory=Rig)
    events: tuple[Event, ...] = ()
    temperature: float | None = None
    humidity: float | None = None
    conditioning: str | None = None
    age: float | None = None
    note: str | None = None
    print_data: tuple[tuple[str, str], ...] = ()
    kind: str | None = None
    prior: tuple[tuple[str, float], ...] = ()
    glass_transition: float | None = None
    began: datetime | None = None
    passed_over: tuple[str, ...] = ()
    short_year: str | None = None
    logger: Logger | None = None
    load_sd: float = 0.0
    to_come: tuple[float, ...] = ()
    apart: str = ""

    @property
    def relative_sd(self) -> float:
        """What tolerances of sizes and loads do to the compliance: one standard deviation of its logarithm."""
        return float(np.hypot(self.specimen.geometry.relative_sd, self.load_sd))

    def _rows(self) -> list[dict[str, Any]]:
        """One row a reading: time since the first load, what the gauge showed, the load that acted on it."""
        load = self.history.at(np.array([r.time for r in self.readings]))
        return [
            {
                "time_h": r.time / HOUR,
                "reading": r.value,
                "unit": self.unit,
                "load": float(acting),
                "load_unit": self.specimen.load_unit,
                "repeats": r.repeats,
                "temperature_degC": r.temperature,
            }
            for r, acting in zip(self.readings, load, strict=True)
        ]

    @property
    def headline(self) -> str:
        return f"{self.label}, {self.specimen.describe()}, {len(self.used)} readings"

    @property
    def bar(self) -> str:
        """Material and specimen: what was tested, which several runs may share."""
        return f"{self.material} {self.name}".strip()

    @property
    def label(self) -> str:
        """Material and specimen, for a line of text, and what tells the run apart from others of that bar."""
        return f"{self.bar} ({self.apart})" if self.apart else self.bar

    @property
    def unit(self) -> str:
        """Unit of its readings: "mm", or "1" for strain as a fraction."""
        return self.specimen.reading_unit

    @property
    def loads(self) -> LoadPlan:
        """The steps as a load over time."""
        return LoadPlan(self.steps)

    @cached_property
    def history(self) -> LoadHistory:
        """The load added on purpose, without preload and plunger force."""
        return self.loads.until(np.inf)

    @cached_property
    def used(self) -> tuple[Reading, ...]:
        """The readings that count: those up to an event that ended the run, without those left out for a reason."""
        ends = [e.at for e in self.events if e.ends_run]
        last = min(ends) if ends else np.inf
        return tuple(r for r in self.readings if r.time <= last and r.skip is None)

    @property
    def skipped(self) -> tuple[Reading, ...]:
        """The readings that were left out, each with its reason."""
        return tuple(r for r in self.readings if r.skip is not None)

    @property
    def initial(self) -> tuple[Reading, ...]:
        """The readings taken before the first load; they fix the zero."""
        return tuple(r for r in self.used if r.time <= 0.0)

    @property
    def broke_at(self) -> float | None:
        """When the specimen broke, s; None where it did not."""
        return min((e.at for e in self.events if e.kind == "broke"), default=None)

    @cached_property
    def load_unit(self) -> LoadUnit:
        """The unit its loads were typed in, which answers about loads are given in."""
        tables = json.loads(self.source).get("tables", {}) if self.source else {}
        loads = [load for load in tables.get("load", []) if isinstance(load, dict)]
        kinds: tuple[Kind, ...] = ("mass", "force", "stress")
        typed = [(kind, load[kind]) for load in loads for kind in kinds if kind in load]
        return load_unit(typed, self.specimen.load_unit, self.rig.lever)

    @property
    def working_load(self) -> float:
        """The last load that is not zero, N or MPa."""
        return next(s.value for s in reversed(self.steps) if s.value != 0.0)

    @property
    def working_history(self) -> LoadHistory:
        """The loads added, the last of them left on."""
        return self.history if self.unloading is None else self.history.until(self.unloading)

    @property
    def peak_load(self) -> float:
        """The load of largest size, N or MPa, preload and plunger force not counted."""
        return self.loads.peak

    @property
    def unloading(self) -> float | None:
        """When the last load came off entirely, s; None where the specimen is still loaded."""
        return self.steps[-1].at if self.steps[-1].value == 0.0 else None

    @property
    def test_length(self) -> float:
        """From first loading to the last reading under load (s): what a forecast goes beyond."""
        end = np.inf if self.unloading is None else self.unloading
        times = [r.time for r in self.used if 0.0 < r.time <= end]
        return max(times, default=0.0)
