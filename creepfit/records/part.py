"""The part a forecast is for: a bracket made of beam segments, what it carries and when, and what is known of it.

In internal units (s, N, mm, MPa, degC). Time is counted from the moment the part is put up, which its own weight
acts from.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from creepfit.asked import asked_for
from creepfit.mechanics.analysed import Analysed
from creepfit.mechanics.beam import Beam, Influence
from creepfit.mechanics.beam_loads import Direction, FacePair, Load, PointLoad, SelfWeight, specific_weight
from creepfit.mechanics.load_plan import LoadPlan
from creepfit.mechanics.temperature import Climate
from creepfit.mechanics.tolerance import Tolerance
from creepfit.records.load_unit import LoadUnit
from creepfit.shown import Shown

DEFAULT_SCATTER = 0.08
"""From specimen to specimen, where only one is known: one standard deviation of the logarithm of the compliance
(common practice, no source)."""


@dataclass(frozen=True)
class PartLoad:
    """A load on a part and its course in time.

    Attributes
    ----------
    load : Load
        Where and how it acts, per unit.
    size : float
        At its largest: N, N/mm for a load along a length, N mm for a moment, N/mm^3 for self weight.
    plan : LoadPlan
        Its course with 1 for that: what loads have in common that come and go together.
    label : str
        For a line of a report, such as "0.6 kg at the end".
    unit : LoadUnit, optional
        What it was given in, which answers about it are given in too.
    """

    load: Load
    size: float
    plan: LoadPlan
    label: str = ""
    unit: LoadUnit | None = None


@dataclass(frozen=True)
class AllowedSag:
    """What is allowed: `sag` in mm, at the end of `life` in s; None where it was not said."""

    sag: float | None = None
    life: float | None = None


@dataclass(frozen=True)
class Holding:
    """A part that is held bent by `deflection` mm where its sag is asked for, from the moment it is put up.

    `series_compliance` in mm/N is that of what gives way beside it without creeping: a bolt, a washer, a counterpart.
    """

    deflection: float
    series_compliance: float = 0.0


@dataclass(frozen=True)
class Allowance:
    """What widens or shifts the sag beyond the fit.

    `scatter` is one standard deviation of the logarithm of the compliance from specimen to specimen; the factors
    multiply the compliance, 1 where nothing was said.
    """

    scatter: float = DEFAULT_SCATTER
    scatter_source: str = "usual where one specimen is known (common practice, no source)"
    layer_direction: float = 1.0
    print_settings: float = 1.0

    @property
    def factor(self) -> float:
        """Product of the factors on the compliance."""
        return self.layer_direction * self.print_settings


@dataclass(frozen=True, repr=False)
class Part(Shown):
    """A part: its beam, loads, limit and circumstances.

    Attributes
    ----------
    body : Beam or Analysed
        As drawn, or as an elastic analysis made elsewhere found it.
    loads : tuple of PartLoad
        Without the part's own weight, see `self_weight`.
    read_at : float or None
        Where the sag is asked for, mm along the axis; None for the end.
    read_direction : Direction
        Which way it counts as positive.
    opposite_at : float or None
        Where the sag is the opening between two faces, the other one; None where it is not.
    density : float or None
        kg/m^3; None where no self weight is to be counted.
    tolerances : tuple of Tolerance
        Of sizes, places and loads; the paths begin at the part.
    held : Holding or None
        Where it is not only loaded but held bent, as a clip or a clamped joint is.
    age : float or None
        In s, when put up, since printing or heating above the glass transition.
    temperature : float or None
        In degC.
    climate : Climate or None
        In place of one temperature.
    humidity : float or None
        As a fraction.
    support_said : bool
        Whether the file names the support of a part that is drawn, or it does not matter.
    """

    name: str
    body: Beam | Analysed
    loads: tuple[PartLoad, ...]
    read_at: float | None = None
    read_direction: Direction = "vertical"
    opposite_at: float | None = None
    density: float | None = None
    core_density: float | None = None
    limit: AllowedSag = field(default_factory=AllowedSag)
    held: Holding | None = None
    allowance: Allowance = field(default_factory=Allowance)
    tolerances: tuple[Tolerance, ...] = ()
    age: float | None = None
    temperature: float | None = None
    climate: Climate | None = None
    humidity: float | None = None
    note: str | None = None
    print_data: tuple[tuple[str, str], ...] = ()
    file: str | None = None
    support_said: bool = True

    @property
    def held_as(self) -> str:
        """How it is taken to be held where the part file does not say, for a first sentence; else ""."""
        return "" if self.support_said else ", taken as a cantilever as no support is named"

    @property
    def headline(self) -> str:
        return f"{self.name or 'without a name'}, {len(self.loads)} loads"

    @property
    def beam(self) -> Beam:
        """The beam of a part that is drawn."""
        assert isinstance(self.body, Beam), "a part known by an analysis made elsewhere has no beam"
        return self.body

    @property
    def analysed(self) -> Analysed | None:
        """The analysis of a part that is not drawn."""
        return self.body if isinstance(self.body, Analysed) else None

    @property
    def reading(self) -> Load:
        """A unit force where and as the sag is read, or a pair of them between faces."""
        if self.opposite_at is not None:
            return FacePair(self.opposite_at, self.read_at)
        return PointLoad(self.read_at, self.read_direction)

    def influence(self, load: Load, beam: Beam | None = None) -> Influence:
        """Sag per unit of a load, of the part as it is or of another beam in its place."""
        body = self.body if beam is None else beam
        return body.influence(load) if isinstance(body, Analysed) else body.influence_on(load, self.reading)

    @property
    def self_weight(self) -> PartLoad | None:
        """Its own weight from the first day on, N/mm^3; None where the density is not known."""
        if self.density is None:
            return None
        size = specific_weight(self.density)
        return PartLoad(SelfWeight(self.core_density), size, LoadPlan.held(1.0), "its own weight")

    @property
    def all_loads(self) -> tuple[PartLoad, ...]:
        """The loads and, where it is known, the part's own weight last."""
        own = self.self_weight
        return self.loads if own is None else (*self.loads, own)

    @property
    def full_load(self) -> list[tuple[Load, float]]:
        """Every load at its largest, as `Beam.stress` takes them."""
        return [(load.load, load.size) for load in self.all_loads]


def asked_part(given: object) -> Part:
    """Return a part where one was given; InputError with how to come to one for anything else."""
    return asked_for(given, Part, "part", "what cf.read_part(file) returns")
