"""The [[load]], [rig] and [gauge] tables of a run file: what pulled, through which frame, and what read it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from creepfit.errors import InputError
from creepfit.limits import check_largest
from creepfit.mechanics.specimen import Specimen
from creepfit.records.defaults import default_repeatability
from creepfit.records.fields import DIVISIONS, validated
from creepfit.records.moments import Clock, Moment
from creepfit.records.run import Gauge, LoadStep, Rig
from creepfit.records.schema import GaugeTable, LoadTable, RigTable, table_list
from creepfit.units import STANDARD_GRAVITY, Kind, example_of, measure, show_time

NO_LOAD = "no load"


def read_rig(data: dict[str, Any], specimen: Specimen, file: str | None) -> Rig:
    """Read [rig]; a preload as a mass acts through gravity and lever, a force as it is.

    Raises
    ------
    InputError
        Any mistake in it; also a frame's compliance where the loads are stresses.
    """
    table = validated(RigTable, data.get("rig", {}), file=file, key="rig")
    takes_stress = specimen.load_quantity == "stress"
    if takes_stress and (table.compliance or table.lever != 1.0):
        key = "rig.compliance" if table.compliance else "rig.lever"
        raise InputError("a run in strain under a stress has no frame", file=file, key=key, expected="none")
    loads = data.get("load", [])
    bare = isinstance(loads, list) and any(isinstance(load, dict) and "force" in load for load in loads)
    if table.preload is None:
        return Rig(table.compliance, table.lever, bare_force=bare)
    kind, value = table.preload
    if (kind == "stress") != takes_stress or value < 0.0:
        expected = example_of("stress") if takes_stress else f"{example_of('mass')} or {example_of('force')}"
        raise InputError(file=file, key="rig.preload", found=data["rig"]["preload"], expected=f"{expected}, not below zero")
    preload = value * STANDARD_GRAVITY * table.lever if kind == "mass" else value
    return Rig(table.compliance, table.lever, preload, bare or kind == "force")


def read_steps(
    data: dict[str, Any],
    specimen: Specimen,
    rig: Rig,
    start: datetime | None,
    moments: Sequence[tuple[str | None, str, Moment]],
    file: str | None,
) -> tuple[Clock, tuple[LoadStep, ...]]:
    """Read [[load]] and set the clock by the first load that is not zero.

    Parameters
    ----------
    data : dict
        Tables of the file.
    specimen, rig
        Whether loads are forces or stresses, and the lever for masses.
    start : datetime or None
        What elapsed times count from, where the file names it.
    moments : sequence of (file, key, Moment)
        The other moments in the file.

    Raises
    ------
    InputError
        No load, loads out of order, a load given in two ways or none, the wrong kind of load.
    """
    raw = table_list(data, "load", file)
    tables = [validated(LoadTable, t, file=file, key=f"load {i}") for i, t in enumerate(raw, start=1)]
    sizes = [_load_size(t, f"load {i}", specimen, rig, file) for i, t in enumerate(tables, start=1)]
    first = next((i for i, value in enumerate(sizes) if value != 0.0), None)
    if first is None:
        found = "only loads of zero" if tables else None
        expected = '[[load]] with at = "0 s" and mass, force or (in a direct run) stress'
        raise InputError(NO_LOAD, file=file, key="load", found=found, expected=expected)
    others = [(file, f"load {i}, at", t.at) for i, t in enumerate(tables, start=1)] + list(moments)
    try:
        clock = Clock.of(tables[first].at, start, others)
        times = [clock.seconds(t.at, f"load {i}, at") for i, t in enumerate(tables, start=1)]
    except InputError as error:
        raise error.within(file) from None
    for i in range(1, len(tables)):
        earliest = times[i - 1] + tables[i - 1].over
        if times[i] < earliest or times[i] == times[i - 1]:
            end = f"load {i} ends its ramp" if tables[i - 1].over else f"load {i}"
            raise InputError(
                "loads out of order",
                file=file,
                key=f"load {i + 1}, at",
                found=raw[i]["at"] if isinstance(raw[i]["at"], str) else str(raw[i]["at"]),
                expected=f"a moment after {end} ({show_time(earliest)} after the first load)",
            )
    steps = [LoadStep(time, value, t.over) for time, value, t in zip(times, sizes, tables, strict=True)]
    return clock, tuple(steps[first:])


def load_sd(data: dict[str, Any], file: str | None) -> float:
    """Relative standard deviation of the loads by their tolerance, that of the least certain one: 0 without any.

    A tolerance is the half width of a uniform distribution. All loads are taken to be off together, as weights of one set
    and lever are.
    """
    sds = [0.0]
    for table in table_list(data, "load", file):
        for kind in ("mass", "force", "stress"):
            given = measure(table[kind], kind) if kind in table else None
            if given is not None and given.value:
                sds.append(given.tolerance / abs(given.value) / math.sqrt(3.0))
    return max(sds)


def _load_size(table: LoadTable, key: str, specimen: Specimen, rig: Rig, file: str | None) -> float:
    given = {k: v for k in ("mass", "force", "stress") if (v := getattr(table, k)) is not None}
    takes_stress = specimen.load_quantity == "stress"
    ways = "stress" if takes_stress else "mass or force"
    if len(given) != 1:
        named = " and ".join(given) or "none of them"
        raise InputError(file=file, key=key, found=named, expected=f"one of mass, force or stress: here {ways}")
    kind, value = next(iter(given.items()))
    if (kind == "stress") != takes_stress:
        why = (
            "a run in strain" if takes_stress else f"test {specimen.test}" + (" in mm" if specimen.test == "direct" else "")
        )
        raise InputError(f"{why} takes no {kind}", file=file, key=f"{key}, {kind}", expected=ways)
    if kind != "mass":
        return float(value)
    force = value * STANDARD_GRAVITY * rig.lever
    try:
        check_largest(force, "force", f"{value:g} kg on a lever of {rig.lever:g}", "a load")
    except InputError as error:
        raise error.within(file, f"{key}, mass") from None
    return float(force)


def read_gauge(data: dict[str, Any], specimen: Specimen, spreads: Sequence[tuple[float, int]], file: str | None) -> Gauge:
    """Read [gauge]; `spreads` are standard deviation and number of the repeats of rows with several readings.

    Raises
    ------
    InputError
        Any mistake in it; sizes must be lengths or strains as the readings are.
    """
    if "gauge" not in data:
        expected = 'a table [gauge] with resolution = "0.01 mm"'
        raise InputError("missing", file=file, key="gauge", expected=expected)
    table = validated(GaugeTable, data["gauge"], file=file, key="gauge")
    kind: Kind = "strain" if specimen.reading_quantity == "strain" else "length"
    drift_kind: Kind = "strain_drift" if kind == "strain" else "drift"

    def size(name: str, wanted: Kind = kind, above: bool = True) -> float | None:
        given: tuple[Kind, float] | None = getattr(table, name)
        if given is None:
            return None
        unit_of_size, value = given
        if unit_of_size != wanted or (above and value <= 0.0) or (name == "drift" and value < 0.0):
            own = DIVISIONS.get(wanted) if name in ("resolution", "repeatability") else None
            expected = (own or example_of(wanted)) + (", above zero" if unit_of_size == wanted else "")
            raise InputError(file=file, key=f"gauge.{name}", found=data["gauge"][name], expected=expected)
        return value

    resolution = size("resolution") or 0.0
    repeatability, source = size("repeatability"), "as given"
    if repeatability is None:
        repeatability, source = default_repeatability(table.instrument, resolution, spreads, kind)
    if specimen.load_quantity == "stress" and table.force:
        problem = "a run in strain under a stress knows no force"
        raise InputError(problem, file=file, key="gauge.force", expected="none")
    sizes = [("force", "plunger", table.force)]
    if kind == "length":
        sizes += [("resolution", "movement", resolution), ("repeatability", "movement", repeatability)]
    for name, what, value in sizes:
        try:
            check_largest(value, what, data["gauge"].get(name), example_of("force" if name == "force" else "length"))
        except InputError as error:
            raise error.within(file, f"gauge.{name}") from None
    return Gauge(
        resolution=resolution,
        repeatability=repeatability,
        repeatability_source=source,
        instrument=table.instrument,
        falls=table.falls,
        force=table.force,
        range=size("range", above=False),
        drift=size("drift", drift_kind, above=False),
    )
