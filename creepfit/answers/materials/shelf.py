"""A shelf of results: one row for each saved result in a folder.

Every run is fitted by the version at hand, so that a table never mixes numbers of different versions; where those saved
were others, a note says so. What was fitted so once is not fitted again (`shelf_memory`).
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from creepfit.answers.doubts.breaks import survival_of
from creepfit.answers.doubts.collected import about_fit
from creepfit.answers.heading import heading_without_fit
from creepfit.answers.interval import Interval, ends_of
from creepfit.answers.materials.shelf_memory import recalled, remember
from creepfit.answers.outlook import outlook
from creepfit.answers.specimen.modulus import creep_modulus
from creepfit.answers.specimen.permanent_set import NO_INITIAL
from creepfit.answers.specimen.recovery import recovery, unloading_of
from creepfit.asked import asked_level
from creepfit.inference.batch import check_jobs, failure_line, spread
from creepfit.inference.fitting import DEFAULT_LEVEL, Fit, fit
from creepfit.inference.mixture import DEFAULT_SEED
from creepfit.inference.saved import Saved
from creepfit.inference.sources import Source, sources_of
from creepfit.shown import Tabled
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


@dataclass(frozen=True, repr=False)
class Shelf(Tabled):
    """All results; `notes` say what was saved twice or by a version with other numbers, `failed` what cannot be used."""

    rows: tuple[ShelfRow, ...]
    notes: tuple[str, ...]
    failed: tuple[str, ...]
    level: float
    seed: int | None

    @property
    def headline(self) -> str:
        return f"{len(self.rows)} results, {len(self.failed)} that cannot be used, level {self.level:g}"

    def _rows(self) -> list[dict[str, Any]]:
        """One row a result."""
        flat = []
        for row in self.rows:
            entry = row.to_dict()
            for creep in entry.pop("creep"):
                entry[f"creep {show_time(creep['time_h'] * HOUR)}".replace(" ", "_")] = creep
            flat.append(entry)
        return flat

    def to_dict(self) -> dict[str, Any]:
        """What --json prints."""
        return {
            **heading_without_fit([row.label for row in self.rows], self.level, self.seed),
            "results": [row.to_dict() for row in self.rows],
            "notes": list(self.notes),
            "failed": list(self.failed),
        }


def shelf(
    paths: Sequence[str | os.PathLike[str]],
    jobs: int = -1,
    level: float | None = None,
    seed: int | None = None,
    *,
    failed: Callable[[str], None] | None = None,
    step: Callable[[], None] | None = None,
) -> Shelf:
    """Put saved results side by side, one row each.

    Parameters
    ----------
    paths : sequence of paths
        Folders of saved results; also single results, run files and workbooks.
    jobs : int
        Processes to work with; -1 for one a core.
    level : float, optional
        Probability of all intervals, 0.9 if not given, whatever the results were saved with.
    seed : int, optional
        Seed of the draws; that of each result if not given.
    failed : callable, optional
        Called with each line about a file that cannot be used.
    step : callable, optional
        Called after each result.

    Raises
    ------
    InputError
        A folder without saved results, a number of jobs or a level that is none.
    """
    return shelf_of(sources_of(paths, "results"), jobs, level, seed, failed=failed, step=step)


def shelf_of(
    sources: Sequence[Source],
    jobs: int = -1,
    level: float | None = None,
    seed: int | None = None,
    *,
    failed: Callable[[str], None] | None = None,
    step: Callable[[], None] | None = None,
) -> Shelf:
    """As `shelf`, of results that are listed already."""
    check_jobs(jobs)
    level = asked_level(DEFAULT_LEVEL if level is None else level)
    keys, remembered = recalled(sources, level, seed)
    rows_by_place: dict[int, _Placed | str] = {}
    for i, key in enumerate(keys):
        known = None if key is None or key not in remembered else _placed_of(remembered[key])
        if known is not None:
            rows_by_place[i] = known
            if step is not None:
                step()
    tasks = [(i, source, level, seed) for i, source in enumerate(sources) if i not in rows_by_place]
    for task, made in spread(_place, tasks, 1 if len(tasks) <= 1 else jobs):
        rows_by_place[task[0]] = made
        if isinstance(made, str) and failed is not None:
            failed(made)
        if step is not None:
            step()
    if tasks:
        rows = {
            key: asdict(m) for key, m in ((keys[i], m) for i, m in rows_by_place.items()) if key and isinstance(m, _Placed)
        }
        remember(sources, keys, rows)
    placed, failures, notes = [], [], []
    seen: dict[str, str] = {}
    for _, made in sorted(rows_by_place.items()):
        if isinstance(made, str):
            failures.append(made)
            continue
        first = seen.setdefault(made.fingerprint, made.row.file)
        if first != made.row.file:
            notes.append(f"{made.row.file}: the same run as in {first}, which is listed once")
            continue
        placed.append(made.row)
        notes += made.notes
    return Shelf(tuple(placed), tuple(notes), tuple(failures), level, seed)


@dataclass(frozen=True)
class _Placed:
    """A row, what identifies its run, and notes about it; what a worker sends back."""

    row: ShelfRow
    fingerprint: str
    notes: tuple[str, ...]


def _placed_of(remembered: dict[str, Any]) -> _Placed | None:
    """What was kept of a result; None where it is not as it was written."""

    def of(number: Any) -> Interval | None:
        return None if number is None else Interval(**{end: float(value) for end, value in number.items()})

    try:
        row = dict(remembered["row"])
        row |= {name: of(row[name]) for name in ("modulus", "recovered", "permanent_set")}
        row |= {"creep": tuple(of(c) for c in row["creep"]), "why": tuple(row["why"]), "cautions": tuple(row["cautions"])}
        return _Placed(ShelfRow(**row), str(remembered["fingerprint"]), tuple(remembered["notes"]))
    except (AttributeError, KeyError, TypeError, ValueError):
        return None


def _place(task: tuple[int, Source, float, int | None]) -> _Placed | str:
    _, source, level, seed = task
    try:
        read = source.read()
        notes: tuple[str, ...] = ()
        if isinstance(read, Saved):
            fitted = read.fit(seed=seed)
            notes = read.differences(fitted) if seed in (None, read.seed) else ()
            fitted = replace(fitted, level=level)
        else:
            fitted = fit(read, level=level, seed=DEFAULT_SEED if seed is None else seed)
        bar = survival_of(fitted.run)
        if bar is not None and bar.broke:
            notes = (*notes, f"{source.name}: broke after {show_time(bar.time)} at {show_number(bar.stress)} MPa")
        mark = hashlib.sha256(fitted.run.source.encode()).hexdigest()
        return _Placed(row_of(fitted, source.name), mark, notes)
    except Exception as error:  # of ours or not: one result must not cost the others their rows
        return failure_line(source.name, error)


def row_of(fitted: Fit, file: str) -> ShelfRow:
    """The row of one fit."""
    run = fitted.run
    geometry = run.specimen.geometry
    modulus = creep_modulus(fitted, [MODULUS_AT]).rows[0]
    creep, creep_why = _creep(fitted)
    recovered, stays, left_why = _left(fitted)
    why = [f"creep modulus: {modulus.why}"] if modulus.modulus is None else []
    stress = None if geometry.stress_per_load is None else abs(run.working_load * geometry.stress_per_load)
    return ShelfRow(
        file,
        run.material,
        run.name,
        run.specimen.describe(),
        run.temperature,
        stress,
        run.test_length,
        modulus.modulus,
        creep,
        "mm" if geometry.strain_per_reading is None else "1",
        recovered,
        stays,
        (*why, *creep_why, *left_why),
        tuple(dict.fromkeys(c.code for c in about_fit(fitted))),
    )


def _scale(fitted: Fit) -> float:
    """From what was read to strain where sizes are known, with the sign of the load."""
    per_reading = fitted.run.specimen.geometry.strain_per_reading
    return float(np.sign(fitted.run.working_load)) * (1.0 if per_reading is None else per_reading)


def _creep(fitted: Fit) -> tuple[tuple[Interval | None, ...], list[str]]:
    """Deformation at the table's times, as far as 100 times the test."""
    if not fitted.observed.has_initial:
        return (None,) * len(CREEP_AT), [f"creep: {NO_INITIAL}"]
    times = np.array([t for t in CREEP_AT if t <= fitted.horizon])
    shown: list[Interval | None] = []
    if times.size:
        shown += outlook(fitted).response(times).map(lambda draws: _scale(fitted) * draws).intervals(fitted.level)
    late = [show_time(t) for t in CREEP_AT if t > fitted.horizon]
    why = [f"creep after {' and '.join(late)}: beyond 100 times the test"] if late else []
    return (*shown, *([None] * len(late))), why


def _left(fitted: Fit) -> tuple[Interval | None, Interval | None, list[str]]:
    """Per cent gone back at the last reading after unloading, and the set, both None where nothing was read."""
    last = float(fitted.observed.times[-1]) - unloading_of(fitted).end
    if fitted.run.unloading is None or last <= 0.0:
        return None, None, ["recovery and set: nothing was read after unloading"]
    recovered = recovery(fitted, [last])
    bounds, scale = recovered.permanent_set.bounds, abs(_scale(fitted))
    stays = None if bounds is None else bounds.times(scale)
    why = [f"recovery and set: {recovered.residuals[0].why}"] if recovered.residuals[0].recovered is None else []
    return recovered.residuals[0].recovered, stays, why
