"""Loads asked about: "0.3 kg" on the command line, and load history files.

A history file is TOML, either a list of load steps or a duty cycle that repeats:

    format = 1                      format = 1
    [[load]]                        [duty]
    at = "0 s"                      mass = "0.3 kg"
    mass = "0.3 kg"                 on = "8 h"
    [[load]]                        off = "16 h"
    at = "30 d"
    mass = "0 kg"

Loads are a mass, a force or (for a run in strain) a stress, `at` counts from the first load. A cycle begins
loaded and repeats without end.
"""

from __future__ import annotations

import os
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from creepfit.errors import InputError
from creepfit.mechanics.load_plan import LoadPlan, LoadStep
from creepfit.records.fields import (
    Duration,
    Force,
    Mass,
    PositiveTime,
    Schema,
    Stress,
    Time,
    validated,
)
from creepfit.records.file_content import read_toml
from creepfit.records.load_unit import LoadUnit, load_unit
from creepfit.records.run import Run
from creepfit.records.schema import check_format, table_list
from creepfit.units import STANDARD_GRAVITY, Kind, example_of, quantity, show_time

TABLES = ("format", "load", "duty")
WAYS: tuple[Kind, ...] = ("mass", "force", "stress")


class StepTable(Schema):
    """[[load]]: the total load from `at` on."""

    at: Time
    over: Duration = 0.0
    mass: Mass | None = None
    force: Force | None = None
    stress: Stress | None = None


class DutyTable(Schema):
    """[duty]: a load that is on and off in turn."""

    on: PositiveTime
    off: PositiveTime
    mass: Mass | None = None
    force: Force | None = None
    stress: Stress | None = None


def read_history(path: str | os.PathLike[str], run: Run) -> LoadPlan:
    """Read a load history file.

    Parameters
    ----------
    path : path
        The TOML file.
    run : Run
        What the loads act on: says whether they are forces or stresses, and the lever for masses.

    Raises
    ------
    InputError
        Any mistake in it, as one line.
    """
    path = Path(path)
    file = str(path)
    data = read_toml(path, file)
    check_format(data, file, TABLES)
    if ("load" in data) == ("duty" in data):
        found = "both" if "load" in data else "neither"
        raise InputError(file=file, found=found, expected="load steps [[load]], or a cycle [duty] with on and off")
    return _duty(data, run, file) if "duty" in data else _steps(data, run, file)


def read_load(value: object, run: Run, *, file: str | None = None, key: str | None = "load") -> float:
    """Return a load in N (MPa for a run in strain) from "0.3 kg", "2 N", "10 MPa", or a number in that unit.

    A mass acts through gravity and the rig's lever, as in the run file.

    Raises
    ------
    InputError
        No such quantity, one of the wrong kind for the run, or zero.
    """
    takes_stress = run.specimen.load_quantity == "stress"
    expected = example_of("stress") if takes_stress else f"{example_of('mass')} or {example_of('force')}"
    if isinstance(value, int | float) and not isinstance(value, bool):
        load = float(value)
    else:
        kind, size = _quantity(value, expected, file, key)
        load = _in_run_units(kind, size, run, value, file, key)
    if not np.isfinite(load) or load == 0.0:
        raise InputError(file=file, key=key, found=value, expected=f"{expected}, not zero")
    return load


def unit_of_load(value: str, run: Run) -> LoadUnit:
    """Return the unit of a load that `read_load` reads."""
    kind, _ = _quantity(value, "a load", None, None)
    return load_unit([(kind, value)], run.load_unit.internal, run.rig.lever)


def _quantity(value: object, expected: str, file: str | None, key: str | None) -> tuple[Kind, float]:
    """Whether it is a mass, a force or a stress, and its size."""
    problems = []
    for kind in WAYS:
        try:
            return kind, quantity(value, kind)
        except InputError as error:
            problems.append(error.problem)
    raise InputError(problems[0], file=file, key=key, found=value, expected=expected)


def _in_run_units(kind: Kind, size: float, run: Run, found: object, file: str | None, key: str | None) -> float:
    if (kind == "stress") != (run.specimen.load_quantity == "stress"):
        takes = "a stress" if run.specimen.load_quantity == "stress" else "a mass or a force"
        raise InputError(f"the run's loads are no {kind}", file=file, key=key, found=found, expected=takes)
    return size * STANDARD_GRAVITY * run.rig.lever if kind == "mass" else size


def _size(table: StepTable | DutyTable, raw: dict[str, Any], run: Run, file: str, key: str) -> float:
    given = [(kind, getattr(table, kind)) for kind in WAYS if getattr(table, kind) is not None]
    if len(given) != 1:
        found = " and ".join(kind for kind, _ in given) or "none of them"
        raise InputError(file=file, key=key, found=found, expected="one of mass, force or stress")
    kind, value = given[0]
    return _in_run_units(kind, value, run, raw[kind], file, f"{key}, {kind}")


def _duty(data: dict[str, Any], run: Run, file: str) -> LoadPlan:
    table = validated(DutyTable, data["duty"], file=file, key="duty")
    load = _size(table, data["duty"], run, file, "duty")
    if load == 0.0:
        raise InputError("the cycle never loads", file=file, key="duty", expected="a load above zero")
    return LoadPlan.duty(load, table.on, table.off, file=file)


def _steps(data: dict[str, Any], run: Run, file: str) -> LoadPlan:
    raw = table_list(data, "load", file)
    tables = [validated(StepTable, t, file=file, key=f"load {i}") for i, t in enumerate(raw, start=1)]
    steps = [LoadStep(t.at, _size(t, raw[i], run, file, f"load {i + 1}"), t.over) for i, t in enumerate(tables)]
    if all(s.value == 0.0 for s in steps):
        raise InputError("no load", file=file, key="load", found="only loads of zero", expected="a load above zero")
    if steps[0].at != 0.0:
        expected = '"0 s": times count from the first load'
        raise InputError(file=file, key="load 1, at", found=raw[0]["at"], expected=expected)
    for i, (before, after) in enumerate(pairwise(steps), start=2):
        if after.at < before.at + before.over or after.at == before.at:
            expected = f"a time after load {i - 1} is on ({show_time(before.at + before.over)})"
            raise InputError(
                "loads out of order", file=file, key=f"load {i}, at", found=raw[i - 1]["at"], expected=expected
            )
    return LoadPlan(tuple(steps), None, file)
