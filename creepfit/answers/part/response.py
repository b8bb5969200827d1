"""Draws of a part's sag: the specimen's compliance, the allowances, the leverage of the loads.

The allowances are one lognormal factor on the compliance, the same at all times and for all loads of a draw.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.special import ndtri

from creepfit.answers.part.bent import BentSag, bent_sag, upper_compliance
from creepfit.answers.part.loads import CourseCreep, Courses, Leverage, course_creep, courses_of
from creepfit.answers.part.shared import Growths, grown, growths, horizon
from creepfit.errors import FitError, InputError
from creepfit.inference.fitting import Fit
from creepfit.inference.mixture import Draws
from creepfit.inference.response import Predicted
from creepfit.mechanics.frame import Frame
from creepfit.mechanics.loading import Array
from creepfit.mechanics.tolerance import log_sd
from creepfit.records.part import DEFAULT_SCATTER, Part, PartLoad


@dataclass(frozen=True)
class Inclusion:
    """One thing that the interval includes: what, and its standard deviation (of the logarithm) or factor, if any."""

    what: str
    sd: float | None = None
    factor: float | None = None

    def to_dict(self) -> dict[str, str | float | None]:
        return {"what": self.what, "sd": self.sd, "factor": self.factor}


@dataclass(frozen=True)
class Allowances:
    """What is added once to what the fit knows: standard deviations of the logarithm of the compliance, and factors.

    Of `scatter`, from the specimen to the part, `drawn` is in the draws already.
    """

    scatter: float
    scatter_source: str
    drawn: float
    part_sizes: float
    specimen_sizes: float
    layer_direction: float
    print_settings: float
    specimen_load: bool = False

    @property
    def sd(self) -> float:
        """All that is added, together."""
        scatter = max(self.scatter**2 - self.drawn**2, 0.0)
        return float(np.sqrt(scatter + self.part_sizes**2 + self.specimen_sizes**2))

    @property
    def factor(self) -> float:
        """Both factors together."""
        return self.layer_direction * self.print_settings

    def draws(self, count: int, seed: int) -> Array:
        """Factors on the compliance, shape (count,): stratified, so that few draws have the spread of many."""
        rng = np.random.default_rng(seed + 2)
        normal = ndtri((rng.permutation(count) + 0.5) / count)
        return np.asarray(self.factor * np.exp(self.sd * normal))

    def inclusions(self) -> tuple[Inclusion, ...]:
        """All of the interval, in words."""
        included = [
            Inclusion("scatter and drift of the gauge, parameters, choice of model, what no model has"),
            Inclusion(f"scatter from specimen to part, {self.scatter_source}", max(self.scatter, self.drawn)),
        ]
        if self.part_sizes:
            included.append(Inclusion("tolerances of the part's sizes, places and loads", self.part_sizes))
        if self.specimen_sizes:
            what = "sizes and load" if self.specimen_load else "sizes"
            included.append(Inclusion(f"tolerances of the specimen's {what}", self.specimen_sizes))
        if self.layer_direction != 1.0:
            included.append(Inclusion("factor given for the direction of the layers", factor=self.layer_direction))
        if self.print_settings != 1.0:
            included.append(Inclusion("factor given for the print settings", factor=self.print_settings))
        return tuple(included)


def allowances_of(part: Part, fit: Fit, courses: Courses, scatter: float | None = None) -> Allowances:
    """Allowances of a part.

    Parameters
    ----------
    part, fit, courses
    scatter : float, optional
        From specimen to part as asked; else as the part file gives it, as several specimens show it, or 8 % for one.
    """
    own = part.allowance
    between = _between_specimens(fit)
    if scatter is not None:
        value, source = scatter, "as asked"
    elif own.scatter_source == "as given":
        value, source = own.scatter, "as the part file gives it"
    elif between is not None:
        value, source = between, "as seen between the specimens"
    else:
        value, source = DEFAULT_SCATTER, "usual for one specimen (common practice, no source)"
    specimen = fit.run.relative_sd
    sizes = _size_sd(part)
    factors = own.layer_direction, own.print_settings
    return Allowances(value, source, between or 0.0, sizes, specimen, *factors, fit.run.load_sd > 0.0)


def _between_specimens(fit: Fit) -> float | None:
    """Scatter that a fit to several specimens has in its draws, each of them being of a new specimen; None for one."""
    scatter = fit.draws.scatter
    return float(np.median(scatter)) if scatter.any() and not fit.mixture.average else None


def _size_sd(part: Part) -> float:
    """What the part's tolerances do to the sag under all loads at their fullest, held."""
    if not part.tolerances or part.analysed is not None:
        return 0.0

    def numbers(changed: Part) -> list[float]:
        return [abs(sum(reach(changed, load) for load in changed.all_loads))]

    if numbers(part)[0] == 0.0:
        return 0.0
    return float(log_sd(numbers, part, part.tolerances)[0])


def reach(part: Part, load: PartLoad) -> float:
    """Sag by a load over the compliance, mm MPa; with what does not creep where a frame gives way."""
    influence, body = part.influence(load.load), part.body
    at_once = influence.mount / body.compliance if isinstance(body, Frame) and body.gives else 0.0
    return load.size * (influence.per_compliance + at_once)


@dataclass(frozen=True, eq=False)
class PartResponse:
    """A part with the fit of its material: draws of its sag at any times."""

    part: Part
    fit: Fit
    courses: Courses
    allowances: Allowances

    @cached_property
    def leverage(self) -> Leverage:
        """Leverage of the part as it is."""
        return self.courses.leverage()

    @cached_property
    def bent(self) -> BentSag | None:
        """The part on its bent axis; None where it is not drawn as a beam."""
        return bent_sag(self.courses)

    @property
    def sets(self) -> tuple[Draws, ...]:
        """The draws, and where some of them age, draws without ageing."""
        plain = self.fit.unaged_draws
        return (self.fit.draws,) if plain is None else (self.fit.draws, plain)

    def creep(self, times: Array, held: bool = False, off_at: float | None = None) -> tuple[CourseCreep, ...]:
        """Creep of every course at times (T,) in s, one for each of `sets`; see `Courses.histories`."""
        end = float(np.max(times))
        histories = self.courses.histories(end, held, off_at)
        creeps = []
        for number, draws in enumerate(self.sets):
            creep = course_creep(draws, histories, times, self.part.age, self._factor(draws.count))
            if self.courses.sharing is not None:
                creep = replace(creep, grown=grown(self._growths(number, horizon(end)), histories, creep.times))
            creeps.append(creep)
        return tuple(creeps)

    def compliances(self, creep: tuple[CourseCreep, ...], level: float) -> tuple[float, float]:
        """Between which the material goes [1/MPa]: its median at once, and the upper end under the loads of `creep`."""
        return self.compliance_at_once, upper_compliance(creep, level)

    @property
    def compliance_at_once(self) -> float:
        """Median of the instantaneous compliance, 1/MPa."""
        draws = self.fit.draws
        return float(np.median(draws.instant / draws.observed.load / draws.observed.factor * self._factor(draws.count)))

    def sag(self, creep: tuple[CourseCreep, ...]) -> Predicted:
        """Sag in mm, draws of shape (N, T)."""
        linear = [c.sag(*self.leverage.all) for c in creep]
        levers, mounts, _ = self.leverage.all
        if self.bent is None or not (levers.any() or mounts.any()):  # what bends nothing does not bend it far
            return Predicted.of(linear)
        return Predicted.of(sag + self.bent.extra(c) for sag, c in zip(linear, creep, strict=True))

    def _growths(self, number: int, until: float) -> Growths:
        """Growths of a frame that gives way, of one of `sets`, marched once."""
        key = number, until
        if key not in self._marched:
            sharing, body, draws = self.courses.sharing, self.part.beam, self.sets[number]
            assert sharing is not None
            assert isinstance(body, Frame)
            factor = self._factor(draws.count)
            self._marched[key] = growths(draws, sharing.shares, body.compliance, until, self.part.age, factor)
        return self._marched[key]

    @cached_property
    def _marched(self) -> dict[tuple[int, float], Growths]:
        return {}

    def _factor(self, count: int) -> Array:
        if count not in self._factors:
            self._factors[count] = self.allowances.draws(count, self.fit.seed)
        return self._factors[count]

    @cached_property
    def _factors(self) -> dict[int, Array]:
        return {}


def check_material(fit: Fit) -> None:
    """Refuse a run that says nothing of its material, or only part of it: InputError, FitError."""
    run = fit.run
    if run.specimen.geometry.stress_per_load is None:
        raise InputError(
            "loads in N and readings in mm say nothing of the material without the specimen's sizes, so they cannot be "
            "carried to a part of another shape",
            file=run.file,
            key="specimen.test",
            found=run.specimen.test,
            expected="a test with the specimen's sizes, or strain under a stress",
        )
    if not fit.observed.has_initial:
        raise FitError(
            f"{run.label}: no reading was taken before loading, so the instantaneous part of the compliance, which a "
            "part sags by too, is unknown; read the gauge once before the load goes on"
        )


def as_tested(part: Part, fit: Fit) -> Part:
    """The part; a frame that gives way as it shares its load at the end of the test, where one moment has to do."""
    if not isinstance(part.body, Frame) or not part.body.gives:
        return part
    typical = float(np.median(fit.draws.compliance(np.array([fit.run.test_length]))))
    return replace(part, body=part.body.at(typical))


def part_response(part: Part, fit: Fit, scatter: float | None = None) -> PartResponse:
    """Put part and material together; nothing is superposed yet."""
    part = as_tested(part, fit)
    courses = courses_of(part)
    return PartResponse(part, fit, courses, allowances_of(part, fit, courses, scatter))
