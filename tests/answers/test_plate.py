"""Panels as parts: the handbook's sag at the material's compliance, loads of their own course, words, and mistakes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from creepfit.answers.part.relaxation import relax
from creepfit.answers.part.sag import sag
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit, fit
from creepfit.records.part_files import build_part
from creepfit.records.run import Run
from creepfit.report.text.part import render_sag

PANEL = {"span": "100 mm", "width": "100 mm", "thickness": "3 mm", "rests_on": "four sides"}
SPREAD = {"force": "8 N", "at": "all over"}
POINT = {"force": "3 N", "at": "middle"}


@pytest.fixture(scope="module")
def petg(creep_run: Callable[..., Run]) -> Fit:
    return fit(creep_run())


def panel(*loads: dict[str, Any], part: dict[str, Any] | None = None, **tables: Any) -> Any:
    own = {"format": 1, "part": {"name": "lid"} | (part or {}), "plate": PANEL} | tables
    return build_part(own | ({"load": list(loads)} if loads else {}), None)


def median(p: Any, known: Fit, at: str = "10 d") -> float:
    return sag(p, known, at, specimen_scatter=0.0).rows[0].interval.median


def test_it_is_the_handbook_at_the_compliance_of_the_time(petg: Fit) -> None:
    """0.00406 q a^4/D and 0.01160 P a^2/D (Timoshenko & Woinowsky-Krieger) with nu = 0.3, D by the creep modulus."""
    bar = {"section": "rectangle", "length": "100 mm", "width": "12 mm", "thickness": "5 mm"}
    arm = {"format": 1, "part": {"shear_ratio": 1e-9}, "segment": [bar], "load": [{"force": "1 N", "at": "end"}]}
    compliance = median(build_part(arm, None), petg) * 3.0 * 12.0 * 5.0**3 / 12.0 / 100.0**3
    flexural = 3.0**3 / 12.0 / (1.0 - 0.09) / compliance
    thin = {"part": {"poisson": 0.3}}
    assert median(panel(SPREAD, **thin), petg) == pytest.approx(0.00406 * 8e-4 * 100.0**4 / flexural, rel=2e-3)
    assert median(panel(POINT, **thin), petg) == pytest.approx(0.01160 * 3.0 * 100.0**2 / flexural, rel=2e-3)


def test_loads_add_up_and_go_their_own_ways(petg: Fit) -> None:
    both = median(panel(SPREAD, POINT), petg)
    assert both == pytest.approx(median(panel(SPREAD), petg) + median(panel(POINT), petg), rel=1e-3)
    daily = sag(panel(SPREAD, POINT | {"duty": {"on": "8 h", "off": "16 h"}}), petg, "10 d", specimen_scatter=0.0)
    assert median(panel(SPREAD), petg) < daily.rows[0].interval.median < both
    stress = daily.checks.stress.value
    assert stress == pytest.approx(sum(sag(panel(load), petg, "1 d").checks.stress.value for load in (SPREAD, POINT)))


def test_words_limit_and_a_panel_that_is_held_bent(petg: Fit) -> None:
    result = sag(panel(SPREAD, POINT, limit={"sag": "1 mm", "life": "10 d"}), petg, "10 d")
    text = " ".join(render_sag(result).split())
    assert "8 N all over and 3 N in the middle" in text
    assert "a panel on four sides" in text
    assert "panel-formula" in {c.code for c in result.cautions}
    assert result.design is not None
    assert result.design.load.factor is not None
    held = relax(panel(held={"deflection": "0.5 mm"}), petg, "10 d", specimen_scatter=0.0)
    assert held.rows[0].force.median * median(panel({"force": "1 N", "at": "middle"}), petg) == pytest.approx(0.5, rel=0.02)


@pytest.mark.parametrize(
    ("tables", "says"),
    [
        ({"load": [{"force": "1 N"}]}, "load 1.at: missing; expected at = .middle"),
        ({"load": [{"force": "1 N", "at": "20 mm"}]}, "load 1.at: found '20 mm'"),
        ({"load": [{"per_length": "1 N/mm"}]}, "no length to spread"),
        ({"load": []}, "no load"),
        ({"plate": PANEL | {"thickness": "40 mm"}}, "plate.thickness: found '40 mm'"),
        ({"plate": PANEL | {"rests_on": "three sides"}}, "rests_on"),
        ({"plate": {"span": "10 mm"}}, "missing"),
        ({"part": {"density": "1.2 g/cm^3"}}, "part.density"),
        ({"part": {"read_at": "10 mm"}}, "part.read_at"),
        ({"segment": [{"length": "10 mm"}]}, "one of them"),
    ],
)
def test_mistakes_are_one_line(tables: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError, match=says) as caught:
        build_part({"format": 1, "part": {"name": "lid"}, "plate": PANEL, "load": [SPREAD]} | tables, None)
    assert "\n" not in str(caught.value)
