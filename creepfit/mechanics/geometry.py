"""What a fit needs of any specimen: how a load becomes a stress and a compliance becomes a reading."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable
from dataclasses import dataclass, fields
from functools import cached_property
from typing import ClassVar, Literal, NamedTuple

import numpy as np

from creepfit.errors import InputError
from creepfit.mechanics.tolerance import Tolerance, log_sd
from creepfit.units import Measure


@dataclass(frozen=True)
class Geometry:
    """All that a fit needs of a specimen.

    reading_per_compliance
        G: reading = load * D * G. mm MPa/N; 1 for direct.
    stress_per_load
        Largest outer-fibre stress per load, 1/mm^2; 1 for a direct stress, None for direct in mm.
    relative_sd
        Standard deviation of G's logarithm, from the tolerances of the sizes; 0 where none was given.
    shear_share
        Share of shear in the deflection, 0 to 1; None where it has no meaning.
    plunger_share
        Reading per force of the gauge's plunger, which presses where it reads, over reading per load.
    span, thickness
        Span or length and depth in mm, for cautions; None where there is none.
    """

    reading_per_compliance: float
    stress_per_load: float | None
    relative_sd: float
    shear_share: float | None
    span: float | None
    thickness: float | None
    plunger_share: float = 1.0

    @property
    def strain_per_reading(self) -> float | None:
        """Largest strain per reading (1/mm; 1 for direct strain), so that strain = D * stress; None in direct mm."""
        return None if self.stress_per_load is None else self.stress_per_load / self.reading_per_compliance


class Response(NamedTuple):
    """The part of `Geometry` that follows from the nominal sizes."""

    reading_per_compliance: float
    stress_per_load: float | None
    shear_share: float | None
    span: float | None
    thickness: float | None
    plunger_share: float = 1.0


class Enters(NamedTuple):
    """How a size enters: its name in the file, and the power of it that the reading per compliance goes with."""

    name: str
    power: int

    @property
    def words(self) -> str:
        """The power in words: "it enters cubed"."""
        return f"it enters {({1: 'once', 2: 'squared', 3: 'cubed'})[abs(self.power)]}"


class Specimen(ABC):
    """One specimen in one test; a frozen dataclass of its sizes.

    Raises
    ------
    InputError
        On construction, naming the key, where a size is impossible.
    """

    test: ClassVar[str]

    deflects: ClassVar[bool] = False
    """Whether what the gauge reads is called a deflection."""

    three_point_spans: ClassVar[float | None] = None
    """How many times `Geometry.span` a bar in three-point bending would span that bends alike: 1 there, 2 for a cantilever,
    as half of such a bar is one; None where nothing bends between supports."""

    largest_share: ClassVar[float | None] = None
    """Largest deflection over `Geometry.span`: beyond it a bar would hang down or slip through; None for no such."""

    @property
    def length_enters(self) -> Enters | None:
        """How span or length (`Geometry.span`) enters; None where there is no one such size."""
        return None

    @property
    def depth_enters(self) -> Enters | None:
        """How the depth (`Geometry.thickness`) enters; None where there is no one such size."""
        return None

    @property
    def across(self) -> float | None:
        """The size that would be the depth of a bar laid on its other side, mm; None where none lies so."""
        return None

    def large_deflection_factor(self, deflection: float) -> float | None:
        """By how much the stress at a large deflection [mm] is above the one shown; None where no formula is known."""
        return None

    @property
    def load_quantity(self) -> Literal["force", "stress"]:
        """What loads are given as: N or MPa."""
        return "force"

    @property
    def reading_quantity(self) -> Literal["length", "strain"]:
        """What the gauge reads: mm, or strain as a fraction."""
        return "length"

    @property
    def load_unit(self) -> Literal["N", "MPa"]:
        """Unit of loads."""
        return "MPa" if self.load_quantity == "stress" else "N"

    @property
    def reading_unit(self) -> Literal["mm", "1"]:
        """Unit of readings: "mm", or "1" for strain as a fraction."""
        return "mm" if self.reading_quantity == "length" else "1"

    @cached_property
    def nominal(self) -> Response:
        """Load to stress and compliance to reading by the sizes as given: `geometry` without how well both are known."""
        return self._response()

    @property
    def longest(self) -> float:
        """The longest of the sizes given, mm; infinite where there are none."""
        return max((m.value for m in self._measures().values()), default=np.inf)

    @property
    def stress_per_load_within(self) -> tuple[float, float]:
        """Less and more than any such specimen has, MPa per N, at next to no cost; 0 and infinite where there are no sizes.

        Bending has 1.5 to 10 times the span over width and depth squared, but for two loads next to the supports.
        """
        sizes = [m.value for m in self._measures().values()]
        if not sizes:
            return 0.0, np.inf
        return 0.01 * min(sizes) / max(sizes) ** 3, 100.0 * max(sizes) / min(sizes) ** 3

    @cached_property
    def geometry(self) -> Geometry:
        """Load to stress, compliance to reading, and how well both are known."""
        nominal = self.nominal
        doubtful = list(self._tolerances())
        sds = log_sd(lambda changed: (changed._response().reading_per_compliance,), self, doubtful) if doubtful else [0.0]
        return Geometry(
            nominal.reading_per_compliance,
            nominal.stress_per_load,
            relative_sd=float(sds[0]),
            shear_share=nominal.shear_share,
            span=nominal.span,
            thickness=nominal.thickness,
            plunger_share=nominal.plunger_share,
        )

    @abstractmethod
    def describe(self) -> str:
        """One line for a report."""

    @abstractmethod
    def _response(self) -> Response:
        """Work out G and the stress from the nominal sizes."""

    def _measures(self) -> dict[str, Measure]:
        """The sizes given, by key."""
        values = {f.name: getattr(self, f.name) for f in fields(self)}  # type: ignore[arg-type]
        return {key: value for key, value in values.items() if isinstance(value, Measure)}

    def _tolerances(self) -> Iterable[Tolerance]:
        return [Tolerance((key,), m.tolerance) for key, m in self._measures().items() if m.tolerance]

    def _check_measures(self) -> None:
        for key, measure in self._measures().items():
            if not 0.0 < measure.value < np.inf:
                raise InputError(key=key, found=f"{measure.value:g} mm", expected="a length above zero")
            if not 0.0 <= measure.tolerance < measure.value:
                given = f"{measure.value:g} +- {measure.tolerance:g} mm"
                raise InputError(key=key, found=given, expected="a tolerance smaller than the size")
