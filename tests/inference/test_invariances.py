"""What must not change an answer, and what must change it in proportion: units, order, splitting, saving, superposition."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from pathlib import Path

import fuzz
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from creepfit.answers.specimen.forecast import forecast
from creepfit.inference.fitting import Fit, fit
from creepfit.inference.saved import load_saved, save_fit
from creepfit.inference.sources import sources_of
from creepfit.mechanics.loading import LoadHistory
from creepfit.mechanics.long_history import Superposition
from creepfit.mechanics.specimen import Direct
from creepfit.models.model import CreepModel, Span
from creepfit.models.registry import MODELS
from creepfit.records.files import read_run
from creepfit.records.run import Gauge, LoadStep, Reading, Run

DAY = 86400.0
TIMES = (-60.0, 60.0, 600.0, 3600.0, 6 * 3600.0, DAY, 2 * DAY, 3 * DAY, 5 * DAY, 5 * DAY + 60.0, 5 * DAY + 3600.0, 7 * DAY)
LATE = np.array([6 * DAY, 30 * DAY, 365.25 * DAY])


def creep(t: float) -> float:
    return 1.0 + 0.4 * (t / (5 * DAY)) ** 0.2 if t > 0.0 else 0.0


VALUES = tuple(
    10.0 + creep(t) - creep(t - 5 * DAY) + 0.005 * np.sin(40.0 * i)  # an invented scatter that is the same each time
    for i, t in enumerate(TIMES)
)
RUN = Run(
    "PETG",
    Direct(),
    Gauge(0.001, 0.006, "given", drift=0.002),
    (LoadStep(0.0, 2.0), LoadStep(5 * DAY, 0.0)),
    tuple(Reading(t, v, row=i + 1) for i, (t, v) in enumerate(zip(TIMES, VALUES, strict=True))),
)


@pytest.fixture(scope="module")
def plain() -> Fit:
    return fit(RUN, models=["findley"])


def late(found: Fit, load: float = 2.0) -> np.ndarray:
    """Quantiles of the deformation under a load held, shape (3, 3)."""
    draws = found.draws.deformation(LoadHistory.held(load), LATE)
    return np.asarray(np.quantile(draws, [0.05, 0.5, 0.95], axis=0))


@settings(max_examples=4)
@given(st.floats(1e-2, 1e2))
def test_readings_and_gauge_in_another_unit_change_answers_in_proportion(plain: Fit, factor: float) -> None:
    gauge = replace(RUN.gauge, resolution=factor * 0.001, repeatability=factor * 0.006, drift=factor * 0.002)
    readings = tuple(replace(r, value=factor * r.value) for r in RUN.readings)
    other = fit(replace(RUN, gauge=gauge, readings=readings), models=["findley"])
    np.testing.assert_allclose(late(other), factor * late(plain), rtol=1e-6)
    np.testing.assert_allclose(other.mixture.weights, plain.mixture.weights, atol=1e-7)
    assert other.models["findley"].residual_sum == pytest.approx(plain.models["findley"].residual_sum * factor**2, rel=1e-5)


@settings(max_examples=4)
@given(st.floats(1e-2, 1e2))
def test_loads_in_another_unit_change_compliances_in_proportion(plain: Fit, factor: float) -> None:
    other = fit(replace(RUN, steps=tuple(replace(s, value=factor * s.value) for s in RUN.steps)), models=["findley"])
    np.testing.assert_allclose(late(other, factor * 2.0), late(plain), rtol=1e-6)
    for a, b in zip(other.models["findley"].amplitudes, plain.models["findley"].amplitudes, strict=True):
        assert factor * a == pytest.approx(b, rel=1e-5)


@pytest.mark.parametrize(("unit", "size"), [("min", 60.0), ("h", 3600.0), ("d", DAY)])
def test_times_in_another_unit_change_nothing(tmp_path_factory: pytest.TempPathFactory, unit: str, size: float) -> None:
    folder = tmp_path_factory.mktemp("units")
    rows = [(t, v) for t, v in zip(TIMES, VALUES, strict=True)]
    runs = []
    for name, per in (("s", 1.0), (unit, size)):
        lines = "\n".join(f"{t / per!r},{v:.3f}" for t, v in rows)
        (folder / "r.csv").write_text(f"time [{name}],reading [mm]\n{lines}\n", encoding="utf-8")
        path = folder / "run.toml"
        path.write_text(FILE, encoding="utf-8")
        runs.append(read_run(path))
    assert [(r.time, r.value) for r in runs[0].readings] == [(r.time, r.value) for r in runs[1].readings]


@settings(max_examples=3)
@given(st.permutations(range(len(TIMES))))
def test_the_order_of_rows_changes_nothing(tmp_path_factory: pytest.TempPathFactory, order: list[int]) -> None:
    folder = tmp_path_factory.mktemp("order")
    seen = []
    for positions in (range(len(TIMES)), order):
        lines = "\n".join(f"{TIMES[i]!r},{VALUES[i]:.3f}" for i in positions)
        (folder / "r.csv").write_text(f"time [s],reading [mm]\n{lines}\n", encoding="utf-8")
        path = folder / "run.toml"
        path.write_text(FILE, encoding="utf-8")
        found = fit(read_run(path), models=["findley"])
        seen.append((late(found).tolist(), found.models["findley"].residual_sum))
    assert seen[0] == seen[1]


@settings(max_examples=3)
@given(st.lists(st.floats(1.0, 4.5 * DAY), min_size=1, max_size=3, unique=True))
def test_a_load_that_stays_as_it_is_changes_nothing(plain: Fit, moments: list[float]) -> None:
    same = [LoadStep(t, 2.0) for t in sorted(moments)]
    other = fit(replace(RUN, steps=(RUN.steps[0], *same, RUN.steps[1])), models=["findley"])
    assert late(other).tolist() == late(plain).tolist()
    assert other.models["findley"].residual_sum == plain.models["findley"].residual_sum


shares = st.floats(0.01, 0.99)
loads = st.lists(st.tuples(st.floats(0.0, 10 * DAY), st.floats(-3.0, 3.0)), min_size=1, max_size=6)


def history(changes: list[tuple[float, float]]) -> LoadHistory:
    ordered = sorted(changes)
    start = np.array([t for t, _ in ordered])
    return LoadHistory(start, start.copy(), np.array([change for _, change in ordered]))


@pytest.mark.parametrize("model", MODELS, ids=lambda m: f"{m.name}-{len(m.terms)}")
@settings(max_examples=10)
@given(first=loads, second=loads, share=shares)
def test_superposition_is_linear(
    model: CreepModel, first: list[tuple[float, float]], second: list[tuple[float, float]], share: float
) -> None:
    times = np.array([0.5 * DAY, 3 * DAY, 9 * DAY, 40 * DAY])
    a, b = history(first), history(second)
    split = LoadHistory.joined([a.scaled(share), a.scaled(1.0 - share)])
    axes = model.axes(Span(60.0, 5 * DAY))
    for term in model.terms:
        shape = None if term.axis is None else axes[term.axis].grid(3)[1:2]

        def column(of: LoadHistory, term: object = term, shape: object = shape) -> np.ndarray:
            return np.ravel(Superposition(of, times).column(term, shape))  # type: ignore[arg-type]

        size = sum(abs(c) for _, c in [*first, *second]) * float(np.abs(column(LoadHistory.held(1.0))).max()) + 1e-300
        np.testing.assert_allclose(column(LoadHistory.joined([a, b])), column(a) + column(b), atol=1e-12 * size)
        np.testing.assert_allclose(column(split), column(a), atol=1e-12 * size)
        np.testing.assert_allclose(column(a.scaled(-2.5)), -2.5 * column(a), atol=1e-12 * size)


@pytest.mark.fits_anew
@pytest.mark.parametrize(("form", "seed"), [("inline", 15), ("csv", 29), ("workbook", 24)])
def test_saved_and_read_back_gives_identical_answers(tmp_path: Path, form: str, seed: int) -> None:
    files: dict[str, bytes] = {}
    rng = random.Random(seed)
    name = fuzz._write(fuzz._run(rng), form, rng, files)  # a run of any test, with any of what a run can have
    for file, content in files.items():
        (tmp_path / file).write_bytes(content)
    (source,) = sources_of([tmp_path / name])
    found = fit(source.read(), models=["findley"])
    save_fit(found, tmp_path / "saved.json")
    saved = load_saved(tmp_path / "saved.json")
    again = saved.fit()
    assert saved.differences(again) == ()
    said = [json.dumps(forecast(f, ["1 d", "30 d"]).to_dict()) for f in (found, again)]
    assert said[0] == said[1]


FILE = """\
format = 1
[run]
material = "PETG"
[specimen]
test = "direct"
[gauge]
resolution = "0.001 mm"
repeatability = "0.006 mm"
[[load]]
at = "0 s"
force = "2 N"
[[load]]
at = "5 d"
force = "0 N"
[readings]
file = "r.csv"
"""
