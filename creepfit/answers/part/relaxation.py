"""How the force of a part that is held bent goes down: clips, snap-fits, springs, clamped joints.

The specimen's creep is turned into relaxation draw by draw (`mechanics.relaxation`): no draw, no member of the mixture
and no allowance is left out that the sag of the same part would have.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from creepfit.answers.doubts.collected import about_fit
from creepfit.answers.doubts.held import held_doubts
from creepfit.answers.doubts.withheld import MayWithhold, Withheld, withheld_in_part
from creepfit.answers.heading import heading
from creepfit.answers.interval import Caution, Interval, IntervalCurve
from creepfit.answers.part.checks import HeldChecks, tested_stresses
from creepfit.answers.part.kernels import drawn_kernels
from creepfit.answers.part.loads import Leverage, courses_of
from creepfit.answers.part.response import Inclusion, allowances_of, as_tested, check_material, reach
from creepfit.answers.part.sag import AFTER_UNLOADING
from creepfit.answers.part.shared import growths_on
from creepfit.answers.temperature.dependence import TemperatureDependence
from creepfit.answers.temperature.warming import for_part
from creepfit.answers.wording import size_with_range
from creepfit.asked import asked_fraction, asked_level, asked_time, asked_times
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit
from creepfit.inference.mixture import Draws
from creepfit.inference.response import Predicted
from creepfit.inference.run_fit import asked_fit
from creepfit.mechanics.analysed import AnalysedLoad
from creepfit.mechanics.frame import Frame
from creepfit.mechanics.load_plan import LoadPlan
from creepfit.mechanics.loading import Array
from creepfit.mechanics.relaxation import Kernel, time_grid
from creepfit.records.part import Holding, Part, PartLoad, asked_part
from creepfit.shown import Tabled
from creepfit.units import HOUR, MINUTE, show_time

CURVE_POINTS = 6
"""Of the curve, a decade of time."""


@dataclass(frozen=True)
class RelaxRow:
    """Force [N] at a time [s], and its share of the first force."""

    time: float
    force: Interval
    share: Interval
    decades_beyond: float

    def to_dict(self) -> dict[str, Any]:
        return {
            "time_h": self.time / HOUR,
            **self.force.to_dict(),
            "share": self.share.to_dict(),
            "decades_beyond": self.decades_beyond,
        }


@dataclass(frozen=True)
class Released:
    """Deflection [mm] that is left `after` s after the part was let go at `at` [s]."""

    at: float
    after: float
    interval: Interval

    def to_dict(self) -> dict[str, float]:
        return {"released_at_h": self.at / HOUR, "after_h": self.after / HOUR, **self.interval.to_dict()}


@dataclass(frozen=True, eq=False, repr=False)
class Relaxation(MayWithhold, Tabled):
    """The force of a part that is held bent, N; times in s since it was bent.

    Attributes
    ----------
    first : Interval
        Right after bending.
    rows : tuple of RelaxRow
    released : tuple of Released
        Empty where it was not asked for.
    curve : IntervalCurve
    """

    part: Part
    holding: Holding
    fit: Fit = field(repr=False)
    level: float
    first: Interval
    rows: tuple[RelaxRow, ...]
    released: tuple[Released, ...]
    curve: IntervalCurve
    checks: HeldChecks
    includes: tuple[Inclusion, ...]
    cautions: tuple[Caution, ...]

    unit = "N"

    @cached_property
    def instead(self) -> Withheld | None:
        """What stands in place of the force at the latest time."""
        return self.instead_at(max(row.time for row in self.rows))

    def instead_at(self, time: float) -> Withheld | None:
        """What stands in place of the force at a time [s], as in a forecast."""
        checks = self.checks
        return withheld_in_part(self.fit, time, checks.stress / checks.tested[1], checks.strain)

    @property
    def headline(self) -> str:
        if self.withheld is not None:
            return f"{self.part.name or 'part'}: no number is given. {self.withheld}"
        row = max(self.rows, key=lambda r: r.time)
        size = size_with_range(row.force, self.unit)
        return f"{self.part.name or 'part'}, {size} at {show_time(row.time)}, level {self.level:g}"

    def _rows(self) -> list[dict[str, Any]]:
        """One row a time."""
        return [{**row.to_dict(), "unit": self.unit} for row in self.rows]

    def to_dict(self) -> dict[str, Any]:
        """What --json prints."""
        return {
            **heading(self.fit, self.level),
            "unit": self.unit,
            "withheld": self.withheld,
            "relax": [row.to_dict() for row in self.rows],
            "first": self.first.to_dict(),
            "after_release": [r.to_dict() for r in self.released],
            "held": {"deflection_mm": self.holding.deflection, "series_compliance_mm_N": self.holding.series_compliance},
            "stress": {"part_MPa": self.checks.stress, "tested_MPa": self.checks.tested[1]},
            "strain": {"value": self.checks.strain, "unit": "1"},
            "cautions": [c.to_dict() for c in self.cautions],
            "part": self.part.name,
            "includes": [i.to_dict() for i in self.includes],
        }


def relax(
    part: Part,
    fit: Fit,
    at: Sequence[str | float] | str | float = ("1 year",),
    *,
    level: str | float | None = None,
    specimen_scatter: str | float | None = None,
    release_at: str | float | None = None,
    after_release: Sequence[str | float] | str | float | None = None,
    cautions: Sequence[Caution] | None = None,
    dependence: TemperatureDependence | None = None,
) -> Relaxation:
    """How the force of a part that is held bent goes down.

    Parameters
    ----------
    part : Part
        With [held] in its file.
    fit : Fit
        Of a run of the same material.
    at : times
        Since it was bent: texts such as "1 year" or numbers in s.
    level : float, optional
        Probability of the intervals, the fit's own if not given.
    specimen_scatter : str or float, optional
        As for `sag`.
    release_at : str or float, optional
        When it is let go, for what is left then; the latest of `at` if only `after_release` is given.
    after_release : times, optional
        Times since then.
    cautions : sequence of Caution, optional
        Doubts about the run, to stand after those about the part; worked out if not given.
    dependence : TemperatureDependence, optional
        As for `sag`: a part at another temperature than the specimen's loses its force as a specimen there would.

    Raises
    ------
    InputError
        A quantity that is none, a part that is not held, a run in mm and N without sizes, or a temperature that is out of
        reach of the test's.
    FitError
        A run without a reading before loading.
    """
    part, fit = asked_part(part), asked_fit(fit)
    check_material(fit)
    holding = part.held
    if holding is None:
        expected = '[held] with deflection = "1.5 mm", the deflection that is kept'
        raise InputError("missing", file=part.file, key="held", expected=expected)
    fit = for_part(part, fit, dependence)
    level = fit.level if level is None else asked_level(level)
    times = asked_times(at, "at")
    wanted = _Wanted(times, *_release(times, release_at, after_release))
    force = _unit_force(part)
    # the loads are left out, and so is what is not certain of them
    sizes = tuple(t for t in part.tolerances if t.path[0] != "loads")
    clip = replace(part, loads=(force,), density=None, tolerances=sizes)
    scatter = None if specimen_scatter is None else asked_fraction(specimen_scatter, "specimen_scatter")
    allowances = allowances_of(clip, fit, courses_of(clip), scatter)
    clip = as_tested(clip, fit)
    per_compliance = reach(clip, force)
    if per_compliance <= 0.0:
        raise InputError("a force there does not move the part there", file=part.file, key="held")
    held = _Bent(clip, holding, courses_of(clip).leverage())
    factor = allowances.draws(fit.draws.count, fit.seed)
    sets = [held.solve(draws, factor, wanted) for draws in _draws(fit)]
    rows, first, curve = _answers(sets, wanted, level, fit.run.test_length)
    left = Predicted.of(s.left for s in sets).intervals(level) if wanted.after.size else []
    released = tuple(Released(wanted.release, float(after), left[k]) for k, after in enumerate(wanted.after))
    peak = clip.body.peak_stress([(force.load, force.size)]).value
    strain = peak / per_compliance * holding.deflection * _share_of_part(sets[0], held, holding)
    if clip.body is not part.body:  # beside springs the deflection says less of the strain than the force does
        strain = peak * first.median * float(np.median(fit.draws.instant / fit.observed.load / fit.observed.factor))
    latest = max(float(times.max()), wanted.release if released else 0.0)
    checks = HeldChecks(peak * first.median, tested_stresses(fit.run), strain)
    doubts = held_doubts(part, fit, checks, latest, bool(released))
    others = tuple(c for c in (about_fit(fit) if cautions is None else cautions) if c.code not in {d.code for d in doubts})
    return Relaxation(
        part, holding, fit, level, first, rows, released, curve, checks, allowances.inclusions(), (*doubts, *others)
    )


@dataclass(frozen=True, eq=False)
class _Wanted:
    """Times of the answer, when the part is let go (the latest time where it is not), and times since then; s."""

    times: Array
    release: float
    after: Array

    @cached_property
    def curve(self) -> Array:
        """Times of the curve up to the latest time asked for; those asked for among them."""
        end = float(self.times.max())
        start = min(MINUTE, end / 10.0)
        even = np.geomspace(start, end, max(int(CURVE_POINTS * np.log10(end / start)), 8))
        return np.union1d(even, self.times)


def _release(
    times: Array, at: str | float | None, after: Sequence[str | float] | str | float | None
) -> tuple[float, Array]:
    latest = float(times.max())
    if at is None and after is None:
        return latest, np.empty(0)
    release = latest if at is None else asked_time(at, "release_at")
    return release, np.asarray(AFTER_UNLOADING if after is None else asked_times(after, "after_release"))


def _unit_force(part: Part) -> PartLoad:
    """1 N where and as the deflection is held; in an analysis, by the force that it was made for."""
    if part.analysed is None:
        return PartLoad(part.reading, 1.0, LoadPlan.held(1.0), "the force that holds it")
    forces = [load for load in part.loads if isinstance(load.load, AnalysedLoad) and not load.load.whole]
    if len(forces) != 1 or forces[0].load.spread:  # type: ignore[attr-defined]
        raise InputError(
            "how much force the deflection of the analysis takes is not said",
            file=part.file,
            key="load",
            found=f"{len(forces)} loads",
            expected='one [[load]] with the force of the analysis, such as force = "5 N"',
        )
    return replace(forces[0], size=1.0, plan=LoadPlan.held(1.0))


def _draws(fit: Fit) -> list[Draws]:
    plain = fit.unaged_draws
    return [fit.draws] if plain is None else [fit.draws, plain]


@dataclass(frozen=True, eq=False)
class _Solved:
    """Draws of the first force (N,), of the force at the curve's times (N, T), and of what is left (N, A)."""

    first: Array
    force: Array
    left: Array


@dataclass(frozen=True, eq=False)
class _Bent:
    """What holds for every draw: the part, its deflection, and the leverage of the force that holds it."""

    part: Part
    holding: Holding
    leverage: Leverage

    @property
    def series(self) -> float:
        """mm/N of what gives way at once and does not creep."""
        return self.holding.series_compliance + float(self.leverage.all[1][0])

    def solve(self, draws: Draws, factor: Array, wanted: _Wanted) -> _Solved:
        """Solve for every draw, those on one clock together."""
        end = max(float(wanted.curve[-1]), wanted.release + float(wanted.after.max(initial=0.0)))
        grid = time_grid(end, np.append(wanted.curve, wanted.release))
        force = np.empty((draws.count, wanted.curve.size))
        first, left = np.empty(draws.count), np.empty((draws.count, wanted.after.size))
        for drawn in drawn_kernels(draws, grid, self.part.age, factor):
            rows, felt = drawn.rows, drawn.clock
            kernel = self._kernel(drawn.compliance)
            held = kernel.force(self.holding.deflection, float(felt(wanted.curve[-1:])[0]))
            first[rows], force[rows] = held.force[:, 0], held.at(felt(wanted.curve))
            if wanted.after.size:
                until = float(felt(np.array([wanted.release]))[0])
                let_go = held if wanted.release == wanted.curve[-1] else kernel.force(self.holding.deflection, until)
                left[rows] = let_go.left(felt(wanted.release + wanted.after) - until)
        return _Solved(first, np.clip(force, 0.0, None), left)

    def _kernel(self, compliance: Kernel) -> Kernel:
        """Deflection per newton under a held force; in a frame that gives way with what its modes grow by."""
        (lever,), _, (grown,) = self.leverage.all
        kernel = replace(compliance.scaled(lever), series=self.series)
        body, sharing = self.part.body, courses_of(self.part).sharing
        if sharing is None or not isinstance(body, Frame):
            return kernel
        growth = np.tensordot(grown, growths_on(compliance.scaled(1.0 / body.compliance), sharing.shares), 1)
        return replace(kernel, values=kernel.values + growth[:, 1:], instant=kernel.instant + growth[:, 0])


def _share_of_part(solved: _Solved, held: _Bent, holding: Holding) -> float:
    """How much of the deflection the part takes at first, the rest being what is in series; the median."""
    return float(np.median(1.0 - solved.first * held.series / holding.deflection))


def _answers(
    sets: Sequence[_Solved], wanted: _Wanted, level: float, test: float
) -> tuple[tuple[RelaxRow, ...], Interval, IntervalCurve]:
    """Rows, first force and curve. Ageing slows relaxation: lower ends are never above those without it."""
    times = wanted.curve
    drawn = Predicted.of(s.force for s in sets)
    force = drawn.intervals(level, more_is_safe=True)
    share = Predicted.of(s.force / s.first[:, None] for s in sets).intervals(level, more_is_safe=True)
    rows = []
    for t in wanted.times:
        k = int(np.searchsorted(times, t))
        rows.append(RelaxRow(float(t), force[k], share[k], max(float(np.log10(t / test)), 0.0)))
    first = Predicted(sets[0].first).interval(level)
    return tuple(rows), first, IntervalCurve(times, *drawn.ends(level, more_is_safe=True))
