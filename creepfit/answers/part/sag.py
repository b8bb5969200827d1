"""How far a part will sag: the specimen's creep carried to a part under its own loads, with an interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from creepfit.answers.doubts.breaks import break_doubts
from creepfit.answers.doubts.collected import about_fit, slip_of
from creepfit.answers.doubts.part import part_doubts
from creepfit.answers.doubts.part_loads import lifted, mounting_doubts, part_limit_doubts
from creepfit.answers.doubts.part_shape import FALLS
from creepfit.answers.doubts.withheld import MayWithhold, Withheld, of_modulus, unpromised, withheld_in_part
from creepfit.answers.heading import heading
from creepfit.answers.interval import Caution, IntervalAt, in_hours
from creepfit.answers.part.checks import PartChecks, check_part, lifting_rest
from creepfit.answers.part.curve import SagCurve, sag_curve
from creepfit.answers.part.design import Design, design
from creepfit.answers.part.response import Inclusion, PartResponse, check_material, part_response
from creepfit.answers.part.sag_rows import SagRow, Unloaded, left_at, rows_at
from creepfit.answers.part.segment_shares import SegmentShare, shape_as_shared
from creepfit.answers.temperature.dependence import TemperatureDependence
from creepfit.answers.temperature.warming import for_part
from creepfit.answers.wording import size_with_range
from creepfit.asked import asked_fraction, asked_level, asked_size, asked_time, asked_times
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit
from creepfit.inference.run_fit import asked_fit
from creepfit.mechanics.beam import Beam
from creepfit.mechanics.loading import Array
from creepfit.records.part import Part, asked_part
from creepfit.records.run import Run
from creepfit.shown import Tabled
from creepfit.units import DAY, HOUR, MINUTE, show_time

AFTER_UNLOADING = (MINUTE, DAY, 30.0 * DAY)
"""Times since unloading where only the moment of unloading was given."""


NOT_AS_DRAWN = ("the part does not stay as it is drawn", "it does not stay")
"""Why nothing is said of a part that tips or buckles, and in three words."""


@dataclass(frozen=True, eq=False, repr=False)
class Sag(MayWithhold, Tabled):
    """Sag of a part, mm, downward positive; times in s since it was put up.

    Attributes
    ----------
    rows : tuple of SagRow
        At the times asked for.
    loading : IntervalAt
        A minute after the first load went on.
    unloaded : tuple of Unloaded
        Empty where it was not asked for.
    as_modelled : Design or None
        `design` as the models have it, whether or not anything can be promised.
    segments : tuple of SegmentShare
        At the latest time asked for.
    checks : PartChecks
    includes : tuple of Inclusion
        What the intervals include.
    breaks : tuple of Run
        Further runs of the material, for what broke.
    """

    part: Part
    response: PartResponse = field(repr=False)
    level: float
    rows: tuple[SagRow, ...]
    loading: IntervalAt
    unloaded: tuple[Unloaded, ...]
    as_modelled: Design | None = field(repr=False)
    segments: tuple[SegmentShare, ...]
    checks: PartChecks
    includes: tuple[Inclusion, ...]
    breaks: tuple[Run, ...] = ()

    unit = "mm"

    @property
    def falls(self) -> Caution | None:
        """The doubt that leaves nothing of the answer standing: it tips, or it buckles; None where there is none."""
        return next((c for c in self.cautions if c.code in FALLS), None)

    @property
    def headline(self) -> str:
        if self.withheld is not None:
            return f"{self.part.name or 'part'}: no number is given. {self.withheld}"
        row = max(self.rows, key=lambda r: r.time)
        size = size_with_range(row.interval, self.unit)
        return f"{self.part.name or 'part'}, {size} at {show_time(row.time)}, level {self.level:g}"

    @cached_property
    def instead(self) -> Withheld | None:
        """What stands in place of the number for the latest time."""
        return self.instead_at(max(row.time for row in self.rows))

    def instead_at(self, time: float) -> Withheld | None:
        """What stands in place of the number for a time [s]: that it falls, or what is wrong with the specimen's run."""
        if self.falls is not None:
            idle = self.falls.code == "bends-nothing"
            why = ("no load bends the part", "no load bends it") if idle else NOT_AS_DRAWN
            return Withheld(self.falls.text, *why)
        checks = self.checks
        return withheld_in_part(self.fit, time, checks.stress.value / checks.tested[1], checks.strain.high)

    @cached_property
    def unpromised(self) -> Withheld | None:
        """Why no load, thickness or life is named; None where they can be."""
        latest = max(row.time for row in self.rows)
        life = 0.0 if self.as_modelled is None else self.as_modelled.load.life
        if self.instead is None and lifted(self.part):
            return Withheld("", "the loads lift the part", "to be settled first")
        return unpromised(self.fit, max(latest, life), self.instead)

    @cached_property
    def design(self) -> Design | None:
        """When the limit is reached, and what load or thickness keeps it, as far as promised; None without a limit."""
        return self.as_far_as_promised(self.as_modelled)

    @property
    def fit(self) -> Fit:
        """Fit of the material."""
        return self.response.fit

    @cached_property
    def cautions(self) -> tuple[Caution, ...]:
        """What is doubtful: about the part, then about the run; worked out when first asked for."""
        doubts = part_doubts(self.response, self.checks, after_unloading=bool(self.unloaded))
        runs = (*self.fit.runs, *self.breaks)
        latest = self.checks.strain_time
        limit = None if self.as_modelled is None else self.as_modelled.limit
        own = (*mounting_doubts(self.segments, self.part, latest), *part_limit_doubts(self.part, limit))
        doubts = (*break_doubts(runs, self.checks.stress.value, latest, "this part"), *doubts, *own)
        if slip_of(self.fit) is not None or of_modulus(self.fit) is not None:  # nothing is said of how it creeps
            doubts = tuple(doubt for doubt in doubts if doubt.code in FALLS)
        codes = {doubt.code for doubt in doubts}
        codes |= {"specimen-broke"} if "broke" in codes else set()
        return (*doubts, *(c for c in about_fit(self.fit) if c.code not in codes))

    @cached_property
    def curve(self) -> SagCurve:
        """The sag over time with its band, up to the latest time asked for."""
        return sag_curve(self.response, max(row.time for row in self.rows), self.level)

    def shape(self, times: Sequence[str | float] | str | float, points: int = 61) -> tuple[Array, Array]:
        """The bent part, median, to be drawn.

        Parameters
        ----------
        times : times
            Since the part was put up; texts or s, T of them.
        points : int
            Along the axis, evenly.

        Returns
        -------
        rest : ndarray, shape (2, points)
            The axis as made: x and y (up), mm.
        displacement : ndarray, shape (T, 2, points)
            What is to be added to it, mm.

        Raises
        ------
        InputError
            A part that is not drawn.
        """
        if self.part.analysed is not None:
            raise InputError("an analysis made elsewhere has no shape to draw", file=self.part.file, key="elastic")
        at = asked_times(times, "times")
        axis, response = self.part.beam.axis, self.response
        along = np.linspace(axis.start, axis.end, points)
        creep = response.creep(at)[0].at(at)
        out = np.zeros((at.size, 2, points))
        if response.courses.sharing is not None:
            return axis.position(along), shape_as_shared(response.part, response.courses, creep, along)
        for k, members in enumerate(response.courses.members):
            middle = np.median(creep.compliance[k], axis=0)
            for load in members:
                compliant, mount = self.part.beam.shape(load.load, along)
                out += load.size * (middle[:, None, None] * compliant + creep.load[k][:, None, None] * mount)
        if response.bent is not None:
            middle = np.array([np.median(c, axis=0) for c in creep.compliance])
            for i in range(at.size):
                bent = response.bent.shape(middle[:, i], creep.load[:, i], along)
                out[i] = out[i] if bent is None else bent
        return axis.position(along), out

    def _rows(self) -> list[dict[str, Any]]:
        """One row a time."""
        return [{**row.to_dict(), "unit": self.unit} for row in self.rows]

    def to_dict(self) -> dict[str, Any]:
        """What --json prints."""
        design = self.design
        return {
            **heading(self.fit, self.level),
            "unit": self.unit,
            "sag": [row.to_dict() for row in self.rows],
            "life": None if design is None else _life(design),
            "stress": self.checks.to_dict(),
            "cautions": [c.to_dict() for c in self.cautions],
            "withheld": self.withheld,
            "nothing_promised": self.nothing_promised,
            "part": self.part.name,
            "loads": [load.label for load in self.part.all_loads],
            "right_after_loading": self.loading.to_dict(),
            "after_unloading": [u.to_dict() for u in self.unloaded],
            "load": None if design is None else design.load.to_dict(),
            "thickness": None if design is None else design.thickness.to_dict(),
            "strain": {"time_h": self.checks.strain_time / HOUR, **self.checks.strain.to_dict(), "unit": "1"},
            "segments": [{"segment": s.name, "share": s.share} for s in self.segments],
            "includes": [i.to_dict() for i in self.includes],
        }


def _life(design: Design) -> dict[str, Any]:
    life = design.life
    if life is None:
        known = ("low_h", "median_h", "high_h", "probability_beyond", "horizon_h", "reached_in_forecast_h", "kept")
        why = {"limit": design.limit, "unit": "mm", "why": design.why}
        return {**why, **dict.fromkeys(known), "asked_h": in_hours(design.asked)}
    return {
        "limit": design.limit,
        "low_h": in_hours(life.low),
        "median_h": in_hours(life.median),
        "high_h": in_hours(life.high),
        "why": life.why,
        "unit": "mm",
        "probability_beyond": life.beyond,
        "horizon_h": life.horizon / HOUR,
        "reached_in_forecast_h": None if life.forecast.low is None else life.forecast.to_dict(),
        "kept": life.kept_to_dict(),
        "asked_h": in_hours(design.asked),
    }


def sag(
    part: Part,
    fit: Fit,
    at: Sequence[str | float] | str | float = ("1 year",),
    *,
    limit: str | float | None = None,
    life: str | float | None = None,
    level: str | float | None = None,
    specimen_scatter: str | float | None = None,
    after_unloading: Sequence[str | float] | str | float | None = None,
    unload_at: str | float | None = None,
    dependence: TemperatureDependence | None = None,
    breaks: Sequence[Run] = (),
) -> Sag:
    """How far a part will sag.

    Parameters
    ----------
    part : Part
    fit : Fit
        Of a run of the same material.
    at : times
        Since the part was put up: texts such as "1 year" or numbers in s.
    limit : str or float, optional
        Sag not to be exceeded, "2 mm" or mm; the part's own if not given.
    life : str or float, optional
        How long the limit is to be kept; the part's own if not given, else the latest of `at`.
    level : float, optional
        Probability of the intervals, the fit's own if not given.
    specimen_scatter : str or float, optional
        Scatter from the specimen to the part, "8 %" or 0.08: one standard deviation of the logarithm. If not given
        the part file's, that of the specimens if the fit has several, or 8 %.
    after_unloading : times, optional
        Times since unloading at which what is left is asked for.
    unload_at : str or float, optional
        When the loads come off for that; the latest of `at` if not given.
    dependence : TemperatureDependence, optional
        On temperature, of runs of the same material: for a part at another temperature than the specimen's. Without it
        what is usual is counted in.
    breaks : sequence of Run
        Further runs of the same material, broken or not, that are not fitted: for what broke, see `inference.life`.

    Raises
    ------
    InputError
        A quantity that is none, a run in mm and N without sizes, or a temperature that is out of reach of the test's.
    FitError
        A run without a reading before loading.
    """
    part, fit = asked_part(part), asked_fit(fit)
    check_material(fit)
    fit = for_part(part, fit, dependence)
    level = fit.level if level is None else asked_level(level)
    times = asked_times(at, "at")
    response = part_response(
        part, fit, None if specimen_scatter is None else asked_fraction(specimen_scatter, "specimen_scatter")
    )
    rows, loading, shares = rows_at(response, times, level)
    unloaded: tuple[Unloaded, ...] = ()
    if after_unloading is not None or unload_at is not None:
        off_at = float(times.max()) if unload_at is None else asked_time(unload_at, "unload_at")
        after = AFTER_UNLOADING if after_unloading is None else asked_times(after_unloading, "after_unloading")
        unloaded = left_at(response, off_at, np.asarray(after), level)
    allowed = part.limit.sag if limit is None else asked_size(limit, "length", "limit")
    wanted = part.limit.life if life is None else asked_time(life, "life")
    service = float(times.max()) if wanted is None else wanted
    # of a part that tips off its rests nothing can be promised, so no limit is answered either
    tips = isinstance(part.body, Beam) and lifting_rest(response.courses) is not None
    designed = None if allowed is None or tips else design(response, allowed, service, level)
    latest = max(float(times.max()), service if allowed is not None else 0.0)
    checks = check_part(response, latest, level)
    return Sag(
        part,
        response,
        level,
        rows,
        loading,
        unloaded,
        designed,
        shares,
        checks,
        response.allowances.inclusions(),
        tuple(breaks),
    )
