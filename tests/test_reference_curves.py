"""Checks against the outside: every folder of `reference_curves/`, its numbers and their sources.

A new folder is tested by being there; how to write one stands in reference_curves/README.md.
"""

from __future__ import annotations

import csv
import math
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq

from creepfit.inference.best_fit import best_fit
from creepfit.inference.fitting import fit
from creepfit.inference.model_fit import ModelFit
from creepfit.mechanics.beam import Beam, Support
from creepfit.mechanics.beam_axis import Arc, Straight
from creepfit.mechanics.beam_loads import LineLoad, PointLoad
from creepfit.mechanics.clock import AgeingClock
from creepfit.mechanics.curved import inside_factor
from creepfit.mechanics.frame import Frame
from creepfit.mechanics.holds import Brace, Hold
from creepfit.mechanics.large_rotation import BentBeam
from creepfit.mechanics.loading import LoadHistory
from creepfit.mechanics.long_history import Superposition
from creepfit.mechanics.nonlinear_bending import curvature_factor
from creepfit.mechanics.panel import Panel
from creepfit.mechanics.plate import strip_factor
from creepfit.mechanics.relaxation import Kernel, time_grid
from creepfit.mechanics.section import Rectangle, Round
from creepfit.mechanics.space_bar import Pull, SpaceBar
from creepfit.mechanics.specimen import Cantilever, Specimen, Tension, ThreePointBending, large_deflection_stress_factor
from creepfit.mechanics.stress_law import sinh_map
from creepfit.mechanics.temperature import arrhenius_shift, wlf_shift
from creepfit.mechanics.torsion import coil, torsional_constant
from creepfit.models.findley import PurePower
from creepfit.models.model import HOUR, Axis, Dashpot, Instant, Kelvin, Term
from creepfit.records.files import read_run
from creepfit.units import Measure, quantity

Array = NDArray[np.float64]
Row = dict[str, Any]
Runner = Callable[[dict[str, Any], Path], Callable[[Row], float | None]]
"""Reads a folder's input; what it returns works out one row."""

CURVES = Path(__file__).parents[1] / "reference_curves"
EARLIEST_INSTANT = 1e-14
"""s, that stands for none."""

STATUSES = ("seen", "memory", "computed")


def seconds(text: str) -> float:
    return quantity(text, "time")


# --- runners, one a kind ------------------------------------------------------------------------------------------------


def run_file(given: dict[str, Any], folder: Path) -> Callable[[Row], float | None]:
    """An ordinary run file, fitted: named parameters, their errors, and the fitted response under the run's own loads."""
    run = read_run(folder / "run.toml")
    models = fit(run).models

    def find(row: Row) -> float | None:
        model: ModelFit = models[row["model"]]
        if "at" in row:
            return float(model.deformation(run.history, np.array([seconds(row["at"])]))[0])
        name = row.get("parameter", row.get("error_of"))
        (parameter,) = (p for p in model.parameters if p.name == name)
        found = parameter.value if "parameter" in row else parameter.std_error
        assert found is not None or parameter.why, "an unknown number needs its reason"
        return found

    return find


def superposition(given: dict[str, Any], folder: Path) -> Callable[[Row], float]:
    """Springs, dashpots, Kelvin-Voigt units and powers of time in series, under a load history."""
    elements = [_element(e) for e in given["element"]]
    history = _history(given["load"])
    if "law" in given:
        s0 = given["law"]["sinh"]
        history = history.with_loads_mapped(lambda stress: s0 * np.sinh(stress / s0))

    def find(row: Row) -> float:
        times = np.array([seconds(t) for t in ([row["at"]] if isinstance(row["at"], str) else row["at"])])
        loads = Superposition(history, times)
        total = sum(
            c * (loads.column(term) if p is None else loads.column(term, np.array([p]))[0]) for c, term, p in elements
        )
        percent = 100.0 if given["unit"] == "%" and given["element"][0]["kind"] != "power" else 1.0
        return percent * float(np.sum(total))

    return find


def _element(e: dict[str, Any]) -> tuple[float, Term, float | None]:
    """Compliance, function of time and its shape value; stresses in MPa, viscosities in MPa s, powers of hours."""
    if e["kind"] == "spring":
        return 1.0 / e["E"], Instant(), None
    if e["kind"] == "dashpot":
        return HOUR / e["eta"], Dashpot(), None
    if e["kind"] == "kelvin":
        return 1.0 / e["E"], Kelvin(), e["tau"]
    assert e["kind"] == "power"
    return e["compliance"], PurePower(), e["n"]


def _history(load: Any) -> LoadHistory:
    if isinstance(load, dict):
        on, off = seconds(load["on"]), seconds(load["off"])
        starts = np.arange(load["cycles"]) * (on + off)
        return LoadHistory.from_steps([(t + d, 0.0, s) for t in starts for d, s in ((0.0, load["stress"]), (on, 0.0))])
    return LoadHistory.from_steps([(seconds(s["at"]), seconds(s.get("over", "0 s")), s["stress"]) for s in load])


FUNCTIONS: dict[str, Callable[[Array, Array], Array]] = {
    "constant": lambda x, b: np.ones(np.broadcast_shapes(x.shape, b.shape)),
    "decay": lambda x, b: np.exp(-b * x),
    "rise": lambda x, b: -np.expm1(-b * x),
    "power": lambda x, b: x**b,
}


def least_squares(given: dict[str, Any], folder: Path) -> Callable[[Row], float]:
    """A model declared here: no instantaneous term but where a constant is listed, signs and ranges free, no zero."""
    model = given["model"]
    x, y = np.loadtxt(folder / model["data"], delimiter=",", skiprows=1, unpack=True)
    functions = model["functions"]
    shaped = [name for kind, name in functions if kind != "constant"]
    amplitudes = model.get("amplitudes", ["b1"])
    axes = [Axis(name, **model["axis"]) for name in shaped]

    def basis(shapes: Array) -> Array:
        columns = []
        for kind, name in functions:
            b = shapes[:, shaped.index(name), None] if name in shaped else np.zeros((shapes.shape[0], 1))
            columns.append(FUNCTIONS[kind](x[None, :], b))
        return np.stack(columns, axis=2)

    found = best_fit(basis, axes, y, nonnegative=False)
    assert found.converged
    assert found.determined
    assert found.at_bound == ()
    assert found.covariance is not None
    sd = math.sqrt(found.residual_sum / found.free)
    names = [*shaped, *amplitudes]
    values = dict(zip(names, [*found.shape, *found.amplitudes], strict=True))
    errors = dict(zip(names, sd * np.sqrt(np.diag(found.covariance)), strict=True))

    def find(row: Row) -> float:
        if "quantity" in row:
            return {"residual sum": found.residual_sum, "residual standard deviation": sd}[row["quantity"]]
        return float(values[row["parameter"]] if "parameter" in row else errors[row["error_of"]])

    return find


def residual_share(given: dict[str, Any], folder: Path) -> Callable[[Row], float]:
    """What is left of a power law's creep at a reduced time, (time since unloading)/(time under load)."""

    def find(row: Row) -> float:
        history = LoadHistory.from_steps([(0.0, 0.0, 1.0), (HOUR, 0.0, 0.0)])
        times = HOUR * np.array([1.0, 1.0 + float(row["reduced_time"])])
        at_unloading, left = Superposition(history, times).column(PurePower(), np.array([float(row["n"])]))[0]
        return float(left / at_unloading)

    return find


def bending(given: dict[str, Any], folder: Path) -> Callable[[Row], float]:
    """A prismatic rectangular beam; bending alone, as in the textbooks."""
    b = given["beam"]

    def beam(depth: float) -> Beam:
        bar = Straight(section=Rectangle(b["width"], depth), length=b["length"])
        return Beam((bar,), Support(b["support"]), poisson=b.get("poisson", 0.35))

    def response(depth: float) -> tuple[float, float, float]:
        """Bending and shear deflection per unit force and compliance, and outer-fibre stress per unit force."""
        held = beam(depth)
        spread = 1.0 / b["length"] if b["loaded"] == "all along" else 1.0
        place = b["length"] / 2.0 if b["loaded"] == "middle" else b["length"]
        load = LineLoad() if b["loaded"] == "all along" else PointLoad(place)
        influence = held.influence(load, place)
        stress = held.peak_stress([(load, spread)]).value
        return sum(influence.bending) * spread, sum(influence.shear) * spread, stress

    def depth_for(row: Row) -> float:
        def excess(depth: float) -> float:
            deflection, _, stress = response(depth)
            if "strain" in row:
                return stress / deflection * row["deflection"] - row["strain"]
            return deflection * row["force"] / row["modulus"] - row["deflection"]

        return float(brentq(excess, 0.1, 50.0, xtol=1e-12))

    def find(row: Row) -> float:
        if row["quantity"] == "depth":
            return depth_for(row)
        deflection, shear, stress = response(b["depth"])
        if row["quantity"] == "force":
            return row["deflection"] * row["modulus"] / deflection
        if row["quantity"] == "shear over bending":
            return shear / deflection
        if row["quantity"] == "deflection":
            return deflection * row["force"] / row["modulus"]
        return stress * row["force"] / (row["modulus"] if row["quantity"] == "strain" else 1.0)

    return find


def clock(given: dict[str, Any], folder: Path) -> Callable[[Row], float]:
    """Effective time in hours."""
    return lambda row: float(AgeingClock(seconds(row["age"]), float(row["rate"]))(np.array(seconds(row["at"])))) / HOUR


def arrhenius(given: dict[str, Any], folder: Path) -> Callable[[Row], float]:
    def find(row: Row) -> float:
        temperature, reference, activation = (float(row[k]) for k in ("temperature", "reference", "activation"))
        return float(arrhenius_shift(np.array(temperature), reference, activation))

    return find


def constants_read_off(constants: tuple[float, float], step: float) -> tuple[float, float]:
    """The law's own c1 and c2 `step` K above, from its values there: x/log10 a is straight in x, c2/c1 + x/c1."""
    above = np.array([10.0, 40.0])
    a = np.log10(wlf_shift(step + above, 0.0, constants) / wlf_shift(np.array(step), 0.0, constants))
    slope, at_zero = np.polyfit(above, above / a, 1)
    return 1.0 / slope, at_zero / slope


def wlf(given: dict[str, Any], folder: Path) -> Callable[[Row], float]:
    """log10 of the shift factor a_T, of times, and the law's constants at another reference."""

    def find(row: Row) -> float:
        constants = (float(given["c1"]), float(given["c2"]))
        if "constant" in row:
            return constants_read_off(constants, float(row["step"]))[row["constant"] - 1]
        transition = float(row["transition"])
        cool, warm = (wlf_shift(np.array(float(row[k])), transition, constants) for k in ("known_at", "wanted_at"))
        return -float(np.log10(warm / cool))

    return find


def large_deflection(given: dict[str, Any], folder: Path) -> Callable[[Row], float]:
    def find(row: Row) -> float:
        span = float(row["span_over_depth"])
        return large_deflection_stress_factor(float(row["deflection_over_span"]) * span, span, 1.0)

    return find


def stress_law(given: dict[str, Any], folder: Path) -> Callable[[Row], float]:
    """Deformation (bending share alone) or curvature over that of the linear law."""
    sizes = {"width": Measure(12.0), "thickness": Measure(4.0)}
    specimens: dict[str, Specimen] = {
        "tension": Tension(length=Measure(80.0), **sizes),
        "cantilever": Cantilever(length=Measure(80.0), **sizes),
        "three-point-bending": ThreePointBending(span=Measure(80.0), **sizes),
    }

    def find(row: Row) -> float:
        ratio = float(row["ratio"])
        if row["test"] == "curvature":
            return float(curvature_factor(ratio))
        geometry = specimens[row["test"]].geometry
        load = np.array(ratio / (geometry.stress_per_load or math.nan))
        shear = geometry.shear_share or 0.0
        return float((sinh_map(specimens[row["test"]], 1.0)(load) / load - shear) / (1.0 - shear))

    return find


def relaxation(given: dict[str, Any], folder: Path) -> Callable[[Row], float]:
    """Force of a deflection that is kept, over its first one or times the compliance; `series` over the instantaneous."""

    def compliance(row: Row, times: Array) -> Array:
        own = {key: row[key] for key in ("n", "compliance") if key in row}
        elements = [_element(e | own if e["kind"] == "power" else e) for e in given["element"]]
        return np.sum([c * term.value(times, None if p is None else np.array(p)) for c, term, p in elements], axis=0)

    def find(row: Row) -> float:
        at = seconds(row["at"])
        spring = float(compliance(row, np.array(0.0)) or compliance(row, np.array(EARLIEST_INSTANT)))
        series = float(row.get("series", 0.0)) * spring
        # a pure power of time has no instantaneous compliance and a first force without bound: begin early enough
        grid = time_grid(at, np.array([at]), per_decade=16, earliest=at * 1e-9)
        kernel = Kernel(grid, compliance(row, grid)[None, :], np.full(1, spring), series, np.zeros(1), np.zeros(1))
        held = kernel.force(1.0, at)
        factor = (
            float(compliance(row, np.array(at)))
            if row["quantity"] == "modulus times compliance"
            else 1.0 / held.force[0, 0]
        )
        return float(held.at(np.array([at]))[0, 0] * factor)

    return find


def curved_bar(given: dict[str, Any], folder: Path) -> Callable[[Row], float]:
    return lambda row: inside_factor(Rectangle(12.0, 4.0), 4.0 * float(row["radius_over_depth"]))


def strip_plate(given: dict[str, Any], folder: Path) -> Callable[[Row], float]:
    """Sag in P a^2/D, or in P a^3/(E I) of the beam."""

    def find(row: Row) -> float:
        wide, poisson = float(row["width_over_span"]), float(row["poisson"])
        of_beam = strip_factor(100.0, 100.0 * wide, 50.0, 50.0, poisson) / 48.0
        return of_beam if row.get("times_width_and_modulus") else of_beam / (wide * (1.0 - poisson**2))

    return find


def elastica(given: dict[str, Any], folder: Path) -> Callable[[Row], float]:
    """A slender cantilever, so that shear and stretch do not show."""

    def find(row: Row) -> float:
        bar = Straight(section=Rectangle(1.0, 1e-3), length=1.0)
        load = float(row["load"]) * Rectangle(1.0, 1e-3).second_moment
        (bent,) = BentBeam(Beam((bar,)), [[(PointLoad(), load)]]).path(np.ones(1), np.ones(1), np.ones(1))
        inward, down = -bent.displacement
        # the outermost node is just short of the end, where the curvature is zero
        return {"inward": float(inward), "down": float(down), "turn": bent.largest_turn}[row["quantity"]]

    return find


def elastica_column(given: dict[str, Any], folder: Path) -> Callable[[Row], float]:
    """A slender strut that leans by next to nothing."""

    def find(row: Row) -> float:
        section = Rectangle(1.0, 1e-3)
        strut = Beam((Straight(section=section, length=1.0),), heading=90.0 - 1e-2)
        critical = math.pi**2 * section.second_moment / 4.0
        scales = np.linspace(0.9, float(row["load"]), 20)
        bent = BentBeam(strut, [[(PointLoad(), critical)]]).path(np.ones(1), np.ones(1), scales)[-1]
        return float({"height": 1.0 + bent.displacement[1], "sideways": bent.displacement[0]}[row["quantity"]])

    return find


def frame(given: dict[str, Any], folder: Path) -> Callable[[Row], float]:
    """A plane frame, bending alone: forces per newton, moments per newton and mm, deflections times E I over P."""
    f = given["frame"]
    section = Rectangle(f["width"], f["depth"])

    def segment(s: dict[str, Any]) -> Straight | Arc:
        if "radius" in s:
            return Arc(section=section, radius=s["radius"], angle=s["angle"])
        return Straight(section=section, length=s["length"], turn=s.get("turn", 0.0))

    held = Frame(
        tuple(segment(s) for s in f["segment"]),
        heading=f.get("heading", 0.0),
        clamped=f["clamped"],
        holds=tuple(Hold(h["at"], h["kind"]) for h in f.get("hold", [])),
        braces=tuple(Brace(tuple(b["wall"]), b["at"], section, tuple(b["joints"])) for b in f.get("brace", [])),
        shear_ratio=1e-9,
    )
    load = LineLoad() if f["loaded"] == "all along" else PointLoad(f["loaded"], f.get("direction", "vertical"))

    def find(row: Row) -> float:
        if row["quantity"] == "deflection":
            return sum(held.influence(load, row["at"]).bending) * section.second_moment
        if row["quantity"] == "moment":
            return abs(float(held.forces(load, np.array([row["at"]])).moment[0]))
        if row["quantity"] == "strut":
            return held.brace_forces([(load, 1.0)])[0]
        return float(held.reactions(load)[row["hold"]][1])

    return find


def panel(given: dict[str, Any], folder: Path) -> Callable[[Row], float]:
    """A panel of span 1: sag in the middle in q a^4/D or P a^2/D, largest moment in q a^2, thickness as a row says."""

    def find(row: Row) -> float:
        one = Panel(100.0, 100.0 * row["width_over_span"], row.get("thickness", 1.0), given["rests_on"], row["poisson"])
        flexural = one.thickness**3 / 12.0 / (1.0 - one.poisson**2)
        spread = one.under_spread_load()
        if row["quantity"] == "sag under a force":
            return one.under_force().deflection * flexural / one.span**2
        if row["quantity"] == "stress under a force":
            return one.under_force().stress * one.thickness**2
        if row["quantity"] == "moment":
            return spread.stress * one.thickness**2 / 6.0 * one.width / one.span
        return spread.deflection * flexural * one.width / one.span**3

    return find


def arc_out_of_plane(given: dict[str, Any], folder: Path) -> Callable[[Row], float]:
    """A slender round arc under 1 N square to its plane."""

    def find(row: Row) -> float:
        bar = SpaceBar((Arc(section=Round(1.0), radius=100.0, angle=row["angle"]),), shear_ratio=2.6)
        pull = Pull(None, (0.0, 0.0, 1.0))
        return bar.influence(pull, pull) * float(Round(1.0).second_moment) / 100.0**3

    return find


def torsion(given: dict[str, Any], folder: Path) -> Callable[[Row], float]:
    """Constants of a rectangle of sides `ratio` to 1, and of a spring of 1 mm wire with one turn, E/G = 1."""

    def find(row: Row) -> float:
        if "ratio" in row:
            constant, per_torque = torsional_constant(Rectangle(row["ratio"], 1.0))
            return constant / row["ratio"] if row["quantity"] == "constant" else 1.0 / per_torque / row["ratio"]
        spring = coil(Round(1.0), row["index"], 1.0, 1.0)
        if row["quantity"] == "flexibility":
            return spring.deflection
        return spring.stress / math.sqrt(3.0) / (8.0 * row["index"] / math.pi)

    return find


RUNNERS: dict[str, Runner] = {
    "run": run_file,
    "superposition": superposition,
    "least-squares": least_squares,
    "residual-share": residual_share,
    "bending": bending,
    "clock": clock,
    "arrhenius": arrhenius,
    "wlf": wlf,
    "large-deflection": large_deflection,
    "stress-law": stress_law,
    "relaxation": relaxation,
    "frame": frame,
    "arc-out-of-plane": arc_out_of_plane,
    "panel": panel,
    "torsion": torsion,
    "curved-bar": curved_bar,
    "elastica": elastica,
    "elastica-column": elastica_column,
    "strip-plate": strip_plate,
}


# --- the tests ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Check:
    """One folder with its rows."""

    folder: Path
    given: dict[str, Any]
    rows: tuple[Row, ...]

    @classmethod
    def read(cls, folder: Path) -> Check:
        given = tomllib.loads((folder / "expected.toml").read_text(encoding="utf-8"))
        rows = list(given.get("expected", []))
        table = folder / "expected.csv"
        if table.exists():
            with table.open(encoding="utf-8", newline="") as lines:
                rows += list(csv.DictReader(lines))
        return cls(folder, given, tuple(rows))


CHECKS = [Check.read(f.parent) for f in sorted(CURVES.glob("*/expected.toml"))]


def shortfall(found: float, row: Row) -> str | None:
    """In words how a number misses its row, None where it does not."""
    value = float(row["value"])
    if "digits" in row:
        agreeing = -math.log10(max(abs(found - value) / abs(value), 1e-16))
        return None if agreeing >= row["digits"] else f"{found!r} agrees with {value!r} to {agreeing:.1f} digits"
    gap = abs(found - value)
    return None if gap <= float(row["tolerance"]) else f"{found!r} is {gap:.3g} from {value!r}"


@pytest.mark.parametrize("check", CHECKS, ids=lambda c: c.folder.name)
def test_reference_curve(check: Check) -> None:
    find = RUNNERS[check.given["kind"]](check.given, check.folder)
    missed = []
    for row in check.rows:
        found = find(row)
        if row.get("unknown"):
            missed += [] if found is None else [f"{row}: {found!r} where nothing can be known"]
            continue
        assert found is not None, row
        missed += [f"{row}: {miss}" for miss in [shortfall(found, row)] if miss]
    assert not missed, "\n".join(missed)


@pytest.mark.parametrize("check", CHECKS, ids=lambda c: c.folder.name)
def test_every_number_says_where_it_is_from(check: Check) -> None:
    assert check.given["kind"] in RUNNERS
    assert check.given["title"]
    assert len(check.given["source"]) > 20
    assert check.rows
    for row in check.rows:
        assert row.get("status", check.given["status"]) in STATUSES
        assert row.get("unknown") or ("tolerance" in row) != ("digits" in row), row


def test_every_folder_is_used() -> None:
    """A folder without expected.toml is another test's data, and is named there."""
    tests = "\n".join(p.read_text(encoding="utf-8") for p in Path(__file__).parent.rglob("test_*.py"))
    for folder in CURVES.iterdir():
        if folder.is_dir() and not (folder / "expected.toml").exists():
            assert folder.name in tests, folder.name


def test_a_wrong_number_is_seen() -> None:
    assert shortfall(1.0005, {"value": 1.0, "tolerance": 0.001}) is None
    assert shortfall(1.002, {"value": 1.0, "tolerance": 0.001})
    assert shortfall(-1.0, {"value": 1.0, "digits": 2})
    assert shortfall(2.0001, {"value": 2.0, "digits": 4}) is None
    assert shortfall(2.0001, {"value": 2.0, "digits": 5})
