"""[plate]: a rectangular panel on two or four sides, by its sizes, with loads in its middle or spread all over."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any

from creepfit.errors import InputError
from creepfit.mechanics.analysed import Analysed, AnalysedLoad
from creepfit.mechanics.load_plan import LoadPlan
from creepfit.mechanics.panel import Panel, PanelResponse, Sides
from creepfit.records.elastic_table import refuse_drawn
from creepfit.records.fields import PositiveLength, Schema, dotted, one_of, validated
from creepfit.records.part import PartLoad
from creepfit.records.part_loads import read_loads
from creepfit.records.schema import table_list

PLATE = "plate"
IN_THE_MIDDLE, ALL_OVER = "middle", "all over"
_PLACES = f'at = "{IN_THE_MIDDLE}" for a force at one point, or "{ALL_OVER}" for one spread evenly'


class PlateTable(Schema):
    """[plate]: span between the two sides that it rests on in any case, width, thickness, and on which sides it rests."""

    span: PositiveLength
    width: PositiveLength
    thickness: PositiveLength
    rests_on: Annotated[str, *one_of("two sides", "four sides")]


def read_plate(data: dict[str, Any], poisson: float, file: str | None) -> tuple[Analysed, tuple[PartLoad, ...]]:
    """Read [plate] and its loads.

    Returns
    -------
    analysed, loads
        The deflection in the middle under all loads, with a modulus of 1 MPa; which share of it each load brings.

    Raises
    ------
    InputError
        Any mistake in it.
    """
    refuse_drawn(data, PLATE, file)
    if "density" in data.get("part", {}):
        expected = f'[[load]] with its mass and at = "{ALL_OVER}"'
        raise InputError(file=file, key="part.density", found=f"[{PLATE}] and a density", expected=expected)
    table = validated(PlateTable, data[PLATE], file=file, key=PLATE)
    sides: Sides = "two sides" if table.rests_on == "two sides" else "four sides"
    try:
        panel = Panel(table.span, table.width, table.thickness, sides, poisson)
    except InputError as error:
        key = dotted(PLATE, error.key or "")
        raise InputError(error.problem, file=file, key=key, found=error.found, expected=error.expected) from None
    written = table_list(data, "load", file)
    loads, _ = read_loads(data, None, file)
    if not written:  # held bent: by a force in the middle
        loads, written = (PartLoad(AnalysedLoad(), 1.0, LoadPlan.held(1.0), "1 N in the middle"),), [{"at": IN_THE_MIDDLE}]
    responses = [
        _response(panel, load, str(own.get("at")), f"load {number}", file)
        for number, (load, own) in enumerate(zip(loads, written, strict=True), start=1)
    ]
    deflection = sum(r.deflection * abs(load.size) for r, load in zip(responses, loads, strict=True))
    stress = sum(r.stress * abs(load.size) for r, load in zip(responses, loads, strict=True))
    if not deflection > 0.0:
        raise InputError("no load", file=file, key="load", expected=f"[[load]] with a mass or force, {_PLACES}")
    shared = [
        replace(load, load=AnalysedLoad(r.deflection / deflection, of_stress=r.stress / stress))
        for r, load in zip(responses, loads, strict=True)
        if load.size
    ]
    name = f"a panel on {table.rests_on}"
    return Analysed(deflection, 1.0, stress, poisson, "on it", "in its middle", name, panel), tuple(shared)


def _response(panel: Panel, load: PartLoad, at: str, key: str, file: str | None) -> PanelResponse:
    assert isinstance(load.load, AnalysedLoad)
    if load.load.spread:
        raise InputError("a panel has no length to spread a load along", file=file, key=key, expected=_PLACES)
    if at == IN_THE_MIDDLE:
        return panel.under_force()
    if at == ALL_OVER:
        return panel.under_spread_load()
    place = None if at == "None" else at
    raise InputError("" if place else "missing", file=file, key=f"{key}.at", found=place, expected=_PLACES)
