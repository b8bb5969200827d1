"""Parts that creep beside what does not: growths by closed forms, the sag over time, loads that come off, and words."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from creepfit.answers.part.relaxation import relax
from creepfit.answers.part.sag import Sag, sag
from creepfit.answers.part.shared import growth_units
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit, fit
from creepfit.mechanics.loading import LoadHistory, superpose
from creepfit.mechanics.relaxation import Kernel, time_grid
from creepfit.models.model import Kelvin
from creepfit.records.part_files import build_part
from creepfit.records.run import Run
from creepfit.report.text.part import render_sag

BAR = {"section": "rectangle", "width": "14 mm", "thickness": "8 mm"}
ROD = {"section": "round", "diameter": "3 mm", "from": {"y": "-60 mm"}, "to": "80 mm", "modulus": "200 GPa"}
GRID = time_grid(1e7, np.empty(0))
S = np.array([0.02, 0.5, 0.97])


@pytest.fixture(scope="module")
def petg(creep_run: Callable[..., Run], lean: Callable[[Fit], Fit]) -> Fit:
    return lean(fit(creep_run()))


def part(load: dict[str, Any] | None = None, **tables: Any) -> Any:
    own = {"part": {"support": "cantilever"} | tables.pop("part", {}), "segment": [BAR | {"length": "120 mm"}]}
    loads = [{"force": "5 N", "at": "end"} | (load or {})]
    return build_part({"format": 1} | own | {"load": loads} | tables, None)


def growth(late: np.ndarray, history: LoadHistory, times: np.ndarray) -> np.ndarray:
    """Superposed growth of each mode, (M, T), of the compliance 1 + late(t)."""
    none = np.zeros(1)
    tau, units = growth_units(Kernel(GRID, 1.0 + late[None, :], np.ones(1), 0.0, none, none), S)
    columns = np.vstack([history.at(times), superpose(Kelvin(), history, times, tau)])
    return np.asarray(units[:, 0] @ columns)


TIMES = np.array([1.0, 60.0, 3600.0, 1e5, 1e6])
ON_AND_OFF = LoadHistory.from_steps([(0.0, 0.0, 1.0), (2e4, 0.0, 0.0)])


def relaxed(history: LoadHistory, times: np.ndarray, fall: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """Boltzmann superposition of R(t) over a history, by hand."""
    found = np.zeros((S.size, times.size))
    for start, change in zip(history.start, history.change, strict=True):
        later = times > start
        found[:, later] += change * fall(times[later] - start)
    return found


@pytest.mark.parametrize("history", [LoadHistory.held(1.0), ON_AND_OFF], ids=["held", "on and off"])
def test_growths_of_zener_and_maxwell_bodies(history: LoadHistory) -> None:
    """Beside an elastic member a Zener body (late part 2, 1 h) is a Zener body: its time and its two ends are known."""
    first, second = 1.0, 2.0 * S
    tau = 3600.0 * first / (first + second)
    ends = 1.0 / first, 1.0 / (first + second)

    def zener(t: np.ndarray) -> np.ndarray:
        return np.asarray(ends[1][:, None] + (ends[0] - ends[1])[:, None] * np.exp(-t / tau[:, None]))

    expected = (history.at(TIMES) - relaxed(history, TIMES, zener)) / S[:, None]
    found = growth(2.0 * -np.expm1(-GRID / 3600.0), history, TIMES)
    assert found == pytest.approx(expected, abs=3e-3 * np.abs(expected).max())

    def maxwell(t: np.ndarray) -> np.ndarray:
        return np.asarray(np.exp(-t[None, :] * S[:, None] / 3600.0))

    expected = (history.at(TIMES) - relaxed(history, TIMES, maxwell)) / S[:, None]
    found = growth(GRID / 3600.0, history, TIMES)
    for row, known in zip(found, expected, strict=True):
        assert row == pytest.approx(known, abs=5e-3 * np.abs(known).max())


def medians(p: Any, known: Fit, times: list[str], **more: Any) -> list[float]:
    return [row.interval.median for row in sag(p, known, times, specimen_scatter=0.0, **more).rows]


def test_a_rigid_spring_is_a_rest_and_a_soft_one_none(petg: Fit) -> None:
    times = ["1 h", "30 d"]
    rest, stiff = (medians(part(rest=[{"at": "80 mm"} | s]), petg, times) for s in ({}, {"stiffness": "9 kN/mm"}))
    assert stiff == pytest.approx(rest, rel=1e-2)
    none, soft = medians(part(), petg, times), medians(part(rest=[{"at": "80 mm", "stiffness": "1e-5 N/mm"}]), petg, times)
    assert soft == pytest.approx(none, rel=5e-3)
    # one that shares: it loses its share to the spring, so the whole grows by less than the material does
    shared = medians(part(rest=[{"at": "80 mm", "stiffness": "10 N/mm"}]), petg, times)
    assert rest[1] < shared[1] < none[1]
    assert shared[1] / shared[0] < 0.95 * none[1] / none[0]


def test_it_lies_next_to_the_elastic_frame_at_the_compliance_of_the_time(petg: Fit) -> None:
    """Held, the hereditary answer and the frame at the compliance of the moment differ by a percent at most."""
    result = sag(
        part(brace=[ROD], rest=[{"at": "110 mm", "stiffness": "5 N/mm"}]), petg, ["1 h", "90 d"], specimen_scatter=0.0
    )
    _, drawn = result.shape(["1 h", "90 d"])
    for row, moved in zip(result.rows, drawn, strict=True):
        assert -moved[1, -1] == pytest.approx(row.interval.median, rel=0.01)
    assert sum(s.share for s in result.segments) == pytest.approx(1.0)
    assert result.segments[-1].name == "springs and members that do not creep"


def test_a_mounting_that_turns_beside_a_rest(petg: Fit) -> None:
    held = {"part": {"read_at": "60 mm"}, "load": {"at": "60 mm"}, "rest": [{"at": "120 mm"}]}
    firm, turning, loose = (
        medians(part(**held, **({"root": {"rotation": f"{r} rad/(N m)"}} if r else {})), petg, ["30 d"])[0]
        for r in (0.0, 0.05, 1e3)
    )
    assert firm < turning < loose
    pinned = part(**(held | {"part": {"read_at": "60 mm", "support": "screws"}}), screw=[{"at": "0 mm"}])
    assert loose == pytest.approx(medians(pinned, petg, ["30 d"])[0], rel=5e-3)


def test_a_load_that_comes_off_leaves_what_the_spring_pushes_back(petg: Fit) -> None:
    held = part(rest=[{"at": "80 mm", "stiffness": "10 N/mm"}])
    result = sag(held, petg, "30 d", specimen_scatter=0.0, after_unloading=["1 h", "30 d"])
    left = [u.interval.median for u in result.unloaded]
    assert 0.0 <= left[1] < left[0] < 0.3 * result.rows[0].interval.median


def test_load_and_limit_words_and_thickness(petg: Fit) -> None:
    result = sag(part(brace=[ROD | {"name": "tie"}]), petg, "30 d", limit="1 mm", life="30 d", specimen_scatter=0.0)
    found = result.design
    assert found is not None
    assert found.load.factor is not None
    assert "another share of the load" in (found.thickness.why or "")
    again = part({"force": f"{5.0 * found.load.factor.median!r} N"}, brace=[ROD])
    assert not found.load.capped
    assert medians(again, petg, ["30 d"])[0] == pytest.approx(1.0, rel=0.02)
    assert "members that do not creep" in render_sag(result)
    assert result.checks.segment == "segment 1"
    assert "stays-elastic" in {c.code for c in result.cautions}
    assert "tie" not in [s.name for s in result.segments]


def test_tolerances_ageing_and_duties_go_through(creep_run: Callable[..., Run]) -> None:
    known = fit(creep_run(age=2 * 86400.0))
    duty = {"duty": {"on": "8 h", "off": "16 h"}}
    brace = ROD | {"diameter": "3 +- 0.1 mm"}
    result: Sag = sag(part(duty, brace=[brace], part={"density": "1.27 g/cm^3"}), known, ["10 d", "100 d"])
    assert any("tolerances" in i.what for i in result.includes)
    for row in result.rows:
        assert row.peak is not None
        assert row.interval.low < row.interval.median < row.interval.high
        assert row.peak.interval.median < (row.always_on.median if row.always_on else 0.0)


@pytest.mark.parametrize(
    ("tables", "says"),
    [
        ({"brace": [ROD | {"material": "PA6"}]}, "a fit of both"),
        ({"rest": [{"at": "80 mm", "rotation": "0.1 rad/(N m)"}]}, "lets the part turn anyhow"),
        ({"rest": [{"at": "80 mm", "stiffness": "0 N/mm"}]}, "above zero"),
        ({"rest": [{"at": "80 mm", "stiffness": "3 mm"}]}, "rest 1, stiffness"),
        (
            {
                "part": {"support": "screws"},
                "screw": [{"at": "0 mm"}, {"at": "50 mm"}],
                "root": {"rotation": "1 rad/(N m)"},
            },
            "root",
        ),
    ],
)
def test_what_cannot_be_is_one_line(tables: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError, match=says) as caught:
        part(**tables)
    assert "\n" not in str(caught.value)


def test_a_clip_on_a_spring_keeps_what_its_sag_says(petg: Fit) -> None:
    """Held bent, its force times its sag per newton is the deflection, nearly; what turns alone is in series."""
    tables: dict[str, Any] = {"rest": [{"at": "80 mm", "stiffness": "5 N/mm"}], "held": {"deflection": "1 mm"}}
    answer = relax(part(**tables), petg, "30 d", specimen_scatter=0.0)
    kept = answer.rows[0].force.median
    assert answer.checks.strain == pytest.approx(answer.checks.stress / 2000.0, rel=0.05)
    per_newton = medians(part({"force": "1 N"}, **tables), petg, ["30 d"])[0]
    assert 0.98 < kept * per_newton / 1.0 < 1.002
    turning = {"root": {"rotation": "0.01 rad/(N m)"}, "held": {"deflection": "1 mm"}}
    series = {"held": {"deflection": "1 mm", "series_compliance": f"{1e-5 * 120.0**2} mm/N"}}
    one, other = (relax(part(**t), petg, "30 d", specimen_scatter=0.0).rows[0].force.median for t in (turning, series))
    assert one == pytest.approx(other, rel=1e-9)
