"""Sag of parts that bend far or are compressed: the elastica's numbers, creep step by step, and what keeps a limit."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from creepfit.answers.part.bent_keeping import factor_when_bent
from creepfit.answers.part.sag import Sag, sag
from creepfit.inference.columns import observations
from creepfit.inference.components import Member
from creepfit.inference.fitting import Fit
from creepfit.inference.groups import Group
from creepfit.inference.mixture import Draws, Mixture
from creepfit.inference.nodes import Nodes
from creepfit.inference.priors import priors_for
from creepfit.mechanics.specimen import Direct
from creepfit.models.findley import Findley
from creepfit.records.part import Part
from creepfit.records.part_files import build_part
from creepfit.records.run import Gauge, LoadStep, Reading, Run

pytestmark = pytest.mark.few_draws

HOUR, DAY = 3600.0, 86400.0
INSTANT, CREEP, EXPONENT = 5e-4, 5e-5, 0.2
COUNT = 50


@pytest.fixture(scope="module")
def known() -> Fit:
    """D(t) = (1 + 0.1 (t/1 h)^0.2) / 2000 MPa without any doubt, tested for 1000 h up to 60 MPa."""
    run = Run(
        "POM",
        Direct("strain"),
        Gauge(1e-5, 1e-5, "as given"),
        (LoadStep(0.0, 60.0),),
        (Reading(-60.0, 0.0), Reading(60.0, 0.0313), Reading(1000.0 * HOUR, 0.0419)),
        name="exact",
    )
    observed = observations(run)
    none, one = np.zeros(COUNT), np.ones(COUNT)
    nodes = Nodes(np.full((COUNT, 1), EXPONENT), np.ones((COUNT, 1)), none, none)
    within = (observed.span.last / HOUR) ** EXPONENT - (observed.span.first / HOUR) ** EXPONENT
    groups = (Group(Member("power", Findley(), (), 1.0), np.arange(COUNT), nodes),)
    exact = Fit(run, observed, {}, priors_for(None))
    exact.__dict__["draws"] = Draws(groups, 60.0 * INSTANT * one, 60.0 * CREEP * within * one, none, one, observed)
    exact.__dict__["mixture"] = Mixture((), np.empty(0), observed, exact.priors)
    return exact


def cane(force: float = 4.0, thickness: float = 4.0, load: dict[str, Any] | None = None, **table: Any) -> Part:
    """A shank 100 mm up and an arc of 15 mm radius through 180 degrees."""
    size = {"section": "rectangle", "width": "10 mm", "thickness": f"{thickness!r} mm"}
    data = {
        "format": 1,
        "part": {"heading": "90 deg"} | table,
        "segment": [size | {"length": "100 mm"}, size | {"radius": "15 mm", "angle": "-180 deg"}],
        "load": [{"force": f"{force!r} N", "at": "end"} | (load or {})],
    }
    return build_part(data, None)


def post(force: float, lean: float = 2.0, **table: Any) -> Part:
    size = {"section": "rectangle", "width": "14 mm", "thickness": "8 mm", "length": "200 mm"}
    load = {"force": f"{force!r} N", "at": "end"}
    table = {"heading": f"{90.0 - lean!r} deg"} | table
    return build_part({"format": 1, "part": table, "segment": [size], "load": [load]}, None)


def median(part: Part, fit: Fit, at: str = "1000 h") -> float:
    return sag(part, fit, at=at, specimen_scatter=0.0).rows[-1].interval.median


def test_the_cane_sags_as_the_elastica_says(known: Fit) -> None:
    # 6.82 mm by an independent computation of the elastica, without shear and stretch; 5.56 by the shape as made
    assert median(cane(shear_ratio=1e-9), known) == pytest.approx(6.82, abs=0.02)


def test_stepwise_creep_is_close_to_the_moment_of_today(known: Fit) -> None:
    # the moment of each time acted only from then on: Boltzmann's sum over the changes of the moment at every point
    for part, close in ((cane(shear_ratio=1e-9), 0.01), (post(20.0, shear_ratio=1e-9), 0.02)):
        quick, exact = median(part, known), stepwise(part)
        assert quick == pytest.approx(exact, rel=close)
        assert quick > exact  # where compression lets the moment grow, on the safe side


def stepwise(part: Part, steps: int = 40) -> float:
    """Downward sag at 1000 h of a clamped bar under a force at its end, creep followed in steps."""
    axis = part.beam.axis
    edges = np.linspace(0.0, axis.end, 401)
    middle, width = (edges[1:] + edges[:-1]) / 2.0, np.diff(edges)
    second, area = axis.section_values(middle, lambda s: s.second_moment, lambda s: s.area)
    made = axis.heading(middle)
    force = part.loads[0].size
    times = np.concatenate([[0.0], np.geomspace(0.001, 1000.0, steps)])

    def compliance(hours: NDArray[np.float64]) -> NDArray[np.float64]:
        return INSTANT + CREEP * hours**EXPONENT

    turned, moments = np.zeros(middle.size), np.zeros((times.size, middle.size))
    for i, now in enumerate(times):
        changes = np.diff(moments[:i], axis=0, prepend=0.0)
        past = compliance(now - times[:i]) @ changes
        for _ in range(200):
            across = np.cos(made + turned) * width
            # lever arm of the end about each point, and the moment of a downward force there
            arm = np.cumsum(across[::-1])[::-1] - across / 2.0
            moments[i] = -force * arm
            curvature = (past + INSTANT * (moments[i] - (moments[i - 1] if i else 0.0))) / second
            fresh = np.cumsum(curvature * width) - curvature * width / 2.0
            if np.max(np.abs(fresh - turned)) < 1e-12:
                break
            turned = fresh
    shortened = force * float(compliance(times[-1:])[0]) * np.sin(made + turned) ** 2 / area
    return float(np.sum((np.sin(made) - np.sin(made + turned) + shortened) * width))


def test_compression_adds_to_the_sag_of_a_leaning_post(known: Fit) -> None:
    # sideways by the beam-column's closed form for small rotations: lean x (tan(kL)/k - L), k^2 = F D/I
    second, compliance = 14.0 * 8.0**3 / 12.0, INSTANT + CREEP * 1000.0**EXPONENT
    for force in (10.0, 20.0, 30.0):
        k = np.sqrt(force * compliance / second)
        sideways = np.tan(np.radians(2.0)) * (np.tan(k * 200.0) / k - 200.0)
        found = median(post(force, read_direction="0 deg", shear_ratio=1e-9), known)
        assert found == pytest.approx(sideways, rel=0.03)


def test_the_load_and_thickness_that_keep_a_limit_do(known: Fit) -> None:
    result = sag(cane(), known, at="1000 h", limit="8 mm", specimen_scatter=0.0)
    assert result.design is not None
    load, thickness = result.design.load.factor, result.design.thickness.factor
    assert load is not None
    assert thickness is not None
    assert median(cane(4.0 * load.median), known) == pytest.approx(8.0, rel=5e-3)
    assert median(cane(4.0, 4.0 * thickness.median), known) == pytest.approx(8.0, rel=5e-3)
    leaning = sag(post(20.0), known, at="1000 h", limit="2 mm", specimen_scatter=0.0).design
    assert leaning is not None
    assert leaning.load.factor is not None
    # near buckling the sag grows five times as fast as the load: never more than the limit, and the load within a percent
    there, more = (median(post(20.0 * f * leaning.load.factor.median), known) for f in (1.0, 1.01))
    assert 0.94 * 2.0 < there <= 2.0 * 1.001
    assert more > 2.0


def test_loads_that_come_and_go_bend_as_far(known: Fit) -> None:
    def both(**options: Any) -> Sag:
        duty = {"on": "8 h", "off": "16 h"}
        return sag(cane(load={"duty": duty}, density="1.2 g/cm^3"), known, specimen_scatter=0.0, **options)

    row = both(at="8 h").rows[0]
    steady = sag(cane(density="1.2 g/cm^3"), known, at="8 h", specimen_scatter=0.0).rows[0]
    assert row.interval.median == pytest.approx(steady.interval.median, rel=1e-3)
    assert row.interval.median > 1.15 * 4.0 * both(at="8 h").part.influence(cane().loads[0].load).per_compliance * INSTANT


def test_the_stress_that_is_set_beside_the_test_is_that_of_the_bent_part(known: Fit) -> None:
    straight = sag(post(1.0), known, at="1000 h", specimen_scatter=0.0).checks.stress.value
    bent = sag(post(30.0), known, at="1000 h", specimen_scatter=0.0).checks.stress.value
    assert bent > 1.5 * 30.0 * straight
    # and a load that keeps a limit never brings more than was tested on the bent part
    weak = sag(post(20.0), known, at="1000 h", limit="60 mm", specimen_scatter=0.0).design
    assert weak is not None
    assert weak.load.factor is not None
    most = sag(post(20.0 * weak.load.factor.high), known, at="1000 h", specimen_scatter=0.0).checks.stress.value
    assert most < 60.0 * 1.02


def test_buckling_comes_when_the_compliance_has_grown_to_it(known: Fit) -> None:
    # pi^2 I/(4 L^2 F) = D: for 60 N D(t) = 6.15e-4 / MPa, which D reaches after 64 h
    second = 14.0 * 8.0**3 / 12.0
    force = 60.0
    needed = np.pi**2 * second / (4.0 * 200.0**2 * force)
    when = ((needed - INSTANT) / CREEP) ** (1.0 / EXPONENT)
    found = sag(post(force), known, at="1000 h", specimen_scatter=0.0)
    assert found.checks.bent is not None
    assert found.checks.bent.buckles is not None
    assert found.checks.bent.buckles[1] / HOUR == pytest.approx(when, rel=0.02)
    assert found.falls is not None


def test_the_drawn_shape_is_that_of_the_sag(known: Fit) -> None:
    for part in (cane(), post(30.0)):
        result = sag(part, known, at="1000 h", specimen_scatter=0.0)
        rest, moved = result.shape(["1000 h"], points=41)
        assert -moved[0, 1, -1] == pytest.approx(result.rows[0].interval.median, rel=5e-3)
        # nothing but bending: lengths between neighbours stay
        before, after = (np.hypot(*np.diff(line, axis=1)) for line in (rest, rest + moved[0]))
        assert after == pytest.approx(before, rel=2e-3)


def test_a_part_as_soft_as_nothing_has_no_equilibrium_and_says_so(known: Fit) -> None:
    """Not even at a millionth of its compliance, which is where the path would begin."""
    found = sag(cane(4e4, 0.01), known, at="1000 h", specimen_scatter=0.0)
    assert found.checks.bent is not None
    assert not found.checks.bent.found
    assert "buckling" in [c.code for c in found.cautions]


@pytest.mark.parametrize("allowed", [1e308, np.inf, -np.inf])
def test_loads_that_move_the_part_by_next_to_nothing_overflow_nowhere(allowed: float) -> None:
    """A factor of 1e308 that the shape as made allows was multiplied by three, and by what another moment adds."""
    added = np.array([[1e-320, 1e-300]])
    creep = SimpleNamespace(times=np.array([0.0, 1.0]), sag=lambda own: own, at=lambda times: creep)
    straight = SimpleNamespace(
        buckling_factor=lambda creep: np.array([np.inf]), extra=lambda creep, factor: np.zeros((1, 1))
    )
    lever = SimpleNamespace(of_own=(np.zeros((1, 2)),), of_loads=(added,))
    linear = np.array([allowed])
    np.testing.assert_array_equal(factor_when_bent(straight, creep, lever, 1.0, linear), linear)  # type: ignore[arg-type]
