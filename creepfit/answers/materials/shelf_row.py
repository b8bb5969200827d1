"""One row of a shelf: what a table of results shows of a fit, and how it is kept."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from creepfit.answers.doubts.breaks import survival_of
from creepfit.answers.doubts.collected import about_fit
from creepfit.answers.doubts.withheld import Withheld, withheld_at, withheld_by_stress
from creepfit.answers.interval import Interval, ends_of
from creepfit.answers.outlook import outlook
from creepfit.answers.specimen.modulus import modulus_of
from creepfit.answers.specimen.permanent_set import NO_INITIAL
from creepfit.answers.specimen.recovery import recovery, unloading_of
from creepfit.inference.fitting import Fit
from creepfit.shown import listed
from creepfit.units import DAY, HOUR, YEAR, show_number, show_time

MODULUS_AT = HOUR
CREEP_AT = (5.0 * DAY, 30.0 * DAY, YEAR)


@dataclass(frozen=True)
class ShelfRow:
    """One result.

    Attributes
    ----------
    file, material, specimen, test : str
    temperature : float or None
        degC.
    stress : float or None
        Under which it creeps: the last that is not zero, MPa; None without the specimen's sizes.
    length : float
        Of the test, from loading to the last reading under load, s.
    modulus : Interval or None
        Creep modulus at 1 h, MPa.
    creep : tuple of Interval or None
        Deformation since the initial reading at 5 d, 30 d and 1 year if the load had stayed on.
    unit : str
        Of creep and set: "1" for strain (the largest in bending), "mm" without the specimen's sizes.
    recovered : Interval or None
        Per cent gone back at the last reading after unloading.
    permanent_set : Interval or None
    why : tuple of str
        Why numbers are missing.
    cautions : tuple of str
        Codes of the doubts about run and fit.
    """

    file: str
    material: str
    specimen: str
    test: str
    temperature: float | None
    stress: float | None
    length: float
    modulus: Interval | None
    creep: tuple[Interval | None, ...]
    unit: str
    recovered: Interval | None
    permanent_set: Interval | None
    why: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def label(self) -> str:
        """Material and specimen."""
        return f"{self.material} {self.specimen}".strip()

    def to_dict(self) -> dict[str, Any]:
        rows = zip(CREEP_AT, self.creep, strict=True)
        return {
            "file": self.file,
            "material": self.material,
            "specimen": self.specimen,
            "test": self.test,
            "temperature_degC": self.temperature,
            "stress_MPa": self.stress,
            "test_h": self.length / HOUR,
            "creep_modulus": {"time_h": MODULUS_AT / HOUR, **ends_of(self.modulus), "unit": "MPa"},
            "creep": [{"time_h": t / HOUR, **ends_of(c), "unit": self.unit} for t, c in rows],
            "recovered_percent": ends_of(self.recovered),
            "permanent_set": {**ends_of(self.permanent_set), "unit": self.unit},
            "why": list(self.why),
            "cautions": list(self.cautions),
        }


@dataclass(frozen=True)
class Placed:
    """A row, what identifies its run, and notes about it; neither knows yet what its file is called."""

    row: ShelfRow
    fingerprint: str
    notes: tuple[str, ...]


def placed_of(remembered: dict[str, Any]) -> Placed | None:
    """What was kept of a result; None where it is not as it was written."""

    def of(number: Any) -> Interval | None:
        return None if number is None else Interval(**{end: float(value) for end, value in number.items()})

    try:
        row = dict(remembered["row"])
        row |= {name: of(row[name]) for name in ("modulus", "recovered", "permanent_set")}
        row |= {"creep": tuple(of(c) for c in row["creep"]), "why": tuple(row["why"]), "cautions": tuple(row["cautions"])}
        return Placed(ShelfRow(**row), str(remembered["fingerprint"]), tuple(remembered["notes"]))
    except (AttributeError, KeyError, TypeError, ValueError):
        return None


def placed(fitted: Fit) -> Placed:
    """What is to be kept of a fit."""
    bar = survival_of(fitted.run)
    broke = () if bar is None or not bar.broke else (f"broke after {show_time(bar.time)} at {show_number(bar.stress)} MPa",)
    return Placed(row_of(fitted, ""), hashlib.sha256(fitted.run.source.encode()).hexdigest(), broke)


def row_of(fitted: Fit, file: str) -> ShelfRow:
    """The row of one fit."""
    run = fitted.run
    geometry = run.specimen.geometry
    modulus, creep, why = _loaded(fitted)
    recovered, stays, left_why = _left(fitted)
    stress = None if geometry.stress_per_load is None else abs(run.working_load * geometry.stress_per_load)
    return ShelfRow(
        file,
        run.material,
        run.name,
        run.specimen.describe(),
        run.temperature,
        stress,
        run.test_length,
        modulus,
        creep,
        "mm" if geometry.strain_per_reading is None else "1",
        recovered,
        stays,
        (*why, *left_why),
        tuple(dict.fromkeys(c.code for c in about_fit(fitted))),
    )


def _scale(fitted: Fit) -> float:
    """From what was read to strain where sizes are known, with the sign of the load."""
    per_reading = fitted.run.specimen.geometry.strain_per_reading
    return float(np.sign(fitted.run.working_load)) * (1.0 if per_reading is None else per_reading)


def _loaded(fitted: Fit) -> tuple[Interval | None, tuple[Interval | None, ...], list[str]]:
    """Modulus and deformation at the table's times, where a forecast gives them, by one response under the last load."""
    stiffness = withheld_by_stress(fitted, MODULUS_AT)
    sized = fitted.run.specimen.geometry.strain_per_reading is not None  # a strain hangs on sizes, as a modulus does
    instead = {t: (withheld_by_stress if sized else withheld_at)(fitted, t) for t in CREEP_AT}
    given = [t for t in CREEP_AT if instead[t] is None]
    times = np.array([MODULUS_AT, *given])
    ahead = outlook(fitted)
    response = ahead.response(times) if fitted.observed.has_initial else None
    modulus = modulus_of(ahead, times[:1], None if response is None else response.map(lambda draws: draws[:, :1])).rows[0]
    if stiffness is not None:
        modulus = replace(modulus, modulus=None, why=_briefly(stiffness))
    why = [f"creep modulus: {modulus.why}"] if modulus.modulus is None else []
    if response is None:
        return modulus.modulus, (None,) * len(CREEP_AT), [*why, f"creep: {NO_INITIAL}"]
    sizes = response.map(lambda draws: _scale(fitted) * draws[:, 1:]).intervals(fitted.level)
    shown = dict(zip(given, sizes, strict=True))
    reasons: dict[str, list[str]] = {}
    for t, found in instead.items():
        if found is not None:
            reasons.setdefault(_briefly(found), []).append(show_time(t))
    why += [f"creep after {listed(those)}: {reason}" for reason, those in reasons.items()]
    return modulus.modulus, tuple(shown.get(t) for t in CREEP_AT), why


def _briefly(instead: Withheld) -> str:
    """Why a number is withheld, where many rows are beside one another."""
    return "beyond 100 times the test" if instead.of == "time" else instead.because or instead.short


def _left(fitted: Fit) -> tuple[Interval | None, Interval | None, list[str]]:
    """Per cent gone back at the last reading after unloading, and the set, both None where nothing was read."""
    last = float(fitted.observed.times[-1]) - unloading_of(fitted).end
    if fitted.run.unloading is None or last <= 0.0:
        return None, None, ["recovery and set: nothing was read after unloading"]
    recovered = recovery(fitted, [last])
    if recovered.instead is not None:
        return None, None, [f"recovery and set: {_briefly(recovered.instead)}"]
    bounds, scale = recovered.permanent_set.bounds, abs(_scale(fitted))
    stays = None if bounds is None else bounds.times(scale)
    why = [f"recovery and set: {recovered.residuals[0].why}"] if recovered.residuals[0].recovered is None else []
    return recovered.residuals[0].recovered, stays, why
