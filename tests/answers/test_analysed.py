"""Parts known by an elastic analysis made elsewhere: sag = deflection x modulus x D(t), whatever the shape."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from creepfit.answers.part.sag import Sag, sag
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit, fit
from creepfit.records.part_files import build_part
from creepfit.records.run import Run
from creepfit.report.text.part import render_sag

pytestmark = pytest.mark.few_draws

ELASTIC = {"deflection": "1.2 mm", "modulus": "2000 MPa", "largest_stress": "4 MPa", "load": "0.6 kg", "read_at": "edge"}
BAR = {"section": "rectangle", "length": "100 mm", "width": "12 mm", "thickness": "8 mm"}


@pytest.fixture(scope="module")
def petg(creep_run: Callable[..., Run]) -> Fit:
    return fit(creep_run())


def analysed(elastic: dict[str, Any] | None = None, **tables: Any) -> Any:
    return build_part({"format": 1, "part": {"name": "shelf"}, "elastic": ELASTIC | (elastic or {})} | tables, None)


def codes(result: Sag) -> set[str]:
    return {c.code for c in result.cautions}


def test_it_sags_as_the_beam_that_was_analysed(petg: Fit) -> None:
    """A cantilever, analysed by hand with a modulus that the material never has."""
    loads = [{"force": "3 N", "at": "end", "duty": {"on": "8 h", "off": "16 h"}}]
    beam = build_part({"format": 1, "part": {"shear_ratio": 1e-9}, "segment": [BAR], "load": loads}, None)
    deflection = 3.0 * 100.0**3 / (3.0 * 777.0 * 12.0 * 8.0**3 / 12.0)
    stress = 3.0 * 100.0 * 6.0 / (12.0 * 8.0**2)
    found = {"deflection": f"{deflection!r} mm", "modulus": "777 MPa", "largest_stress": f"{stress!r} MPa"}
    times = ["1 d", "30 d"]
    one, other = (sag(p, petg, times, limit="0.3 mm", unload_at="10 d") for p in (beam, analysed(found, load=loads)))
    assert other.loading.interval.median == pytest.approx(one.loading.interval.median, rel=1e-9)
    for a, b in zip(one.rows, other.rows, strict=True):
        assert b.peak is not None
        assert a.peak is not None
        assert b.peak.interval.high == pytest.approx(a.peak.interval.high, rel=1e-9)
        assert b.interval.median == pytest.approx(a.interval.median, rel=1e-9)
    assert other.unloaded[0].interval.median == pytest.approx(one.unloaded[0].interval.median, rel=1e-9)
    assert other.checks.stress.value == pytest.approx(one.checks.stress.value, rel=1e-9)
    assert one.design is not None
    assert other.design is not None
    assert other.design.life.median == pytest.approx(one.design.life.median, rel=1e-9)
    assert other.design.load.sizes[0].interval.low == pytest.approx(one.design.load.sizes[0].interval.low, rel=1e-6)
    assert "analysis of its shape" in (other.design.thickness.why or "")


def test_several_loads_together_bring_the_one_deflection(petg: Fit) -> None:
    alone = sag(analysed(), petg, "30 d").rows[0].interval.median
    loads = [{"mass": "0.4 kg", "at": "front edge"}, {"per_length": "0.02 N/mm", "at": "along the back"}]
    both = sag(analysed(load=loads), petg, "30 d")
    assert both.rows[0].interval.median == pytest.approx(alone, rel=1e-12)
    assert both.checks.stress.value == pytest.approx(4.0)
    assert "0.4 kg at front edge" in render_sag(both)
    assert "0.02 N/mm along the back" in render_sag(both)


def test_what_was_not_said_of_the_analysis_is_asked_for(petg: Fit) -> None:
    bare = {k: v for k, v in ELASTIC.items() if k not in ("load", "read_at")} | {"poisson": 0.1}
    silent = sag(build_part({"format": 1, "part": {}, "elastic": bare}, None), petg, "30 d")
    assert {"analysis-unsaid", "analysis-poisson", "analysis-taken-as-given"} <= codes(silent)
    spoken = codes(sag(analysed({"poisson": 0.38}), petg, "30 d"))
    assert not {"analysis-unsaid", "analysis-poisson"} & spoken
    assert not {"rigid-mounting", "stocky", "large-rotation"} & spoken


@pytest.mark.parametrize(
    ("tables", "says"),
    [
        ({"segment": [BAR]}, "segment: found '[elastic] and segment'"),
        ({"part": {"density": "1.2 g/cm^3"}}, "part.density: not with [elastic]: the part's own weight belongs"),
        ({"part": {"read_at": "10 mm"}}, "part.read_at: not with [elastic]: it stands in [elastic] under this name"),
        ({"elastic": {"deflection": "-1 mm", "modulus": "1 GPa", "largest_stress": "1 MPa"}}, "elastic.deflection"),
        (
            {"elastic": {"deflection": "1 mm", "modulus": "0 MPa", "largest_stress": "1 MPa"}},
            "elastic.modulus: found '0 MPa'",
        ),
        ({"elastic": {"deflection": "1 mm", "modulus": "1 GPa"}}, "elastic.largest_stress: missing"),
        (
            {"load": [{"force": "1 N"}, {"force": "1 N", "duty": {"on": "8 h", "off": "16 h"}}]},
            "load: the deflection of [elastic] is that of all loads together",
        ),
        ({"load": [{"force": "0 N"}]}, "load: no load"),
    ],
)
def test_mistakes_are_one_line(tables: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError) as error:
        build_part({"format": 1, "part": {"name": "shelf"}, "elastic": ELASTIC} | tables, None)
    assert says in str(error.value)
    assert "\n" not in str(error.value)
