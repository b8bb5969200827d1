"""The text of `stress` against stored texts: steps, runs apart, a law, none, and what cannot be told.

Write them anew with ``CREEPFIT_WRITE_TEXTS=1 pytest tests/report/test_text_stress.py`` and read the difference.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from creepfit.answers.stress.dependence import StressDependence, stress_dependence
from creepfit.inference.fitting import Fit, fit
from creepfit.records.files import read_run
from creepfit.report.text.columns import MOST
from creepfit.report.text.stress import stress_text

TEXTS = Path(__file__).parent / "texts"
DEMO = Path(__file__).parents[2] / "demo"

HEAD = """\
format = 1
[run]
material = "PC"
specimen = "{name}"
[specimen]
test = "tension"
length = "100 mm"
width = "10.00 +- 0.02 mm"
thickness = "4.00 +- 0.02 mm"
[gauge]
resolution = "0.001 mm"
"""


def stepped(folder: Path, name: str, stresses: tuple[float, ...], sigma0: float) -> Fit:
    """Steps of an hour on one bar, strain sigma0 sinh(stress/sigma0) (1 + 0.08 h^0.15)/2000 MPa (invented), rounded."""
    hours = np.array([1 / 60, 1 / 6, 0.5, 0.95])
    felt = [sigma0 * np.sinh(s / sigma0) for s in (0.0, *stresses)]
    time, reading, loads = ["-1 min"], ["0.000 mm"], ""
    for k, stress in enumerate(stresses):
        loads += f'[[load]]\nat = "{k} h"\nforce = "{40.0 * stress} N"\n'
        for h in k + hours:
            moved = sum((felt[j + 1] - felt[j]) * (1.0 + 0.08 * (h - j) ** 0.15) for j in range(k + 1))
            time.append(f"{60.0 * h:.0f} min")
            reading.append(f"{100.0 * moved / 2000.0:.3f} mm")
    text = f"{HEAD.format(name=name)}{loads}[readings]\ntime = {time}\nreading = {reading}\n".replace("'", '"')
    path = folder / f"{name}.toml"
    path.write_text(text, encoding="utf-8")
    return fit(read_run(path))


@pytest.fixture(scope="module")
def answers(tmp_path_factory: pytest.TempPathFactory) -> dict[str, StressDependence]:
    folder = tmp_path_factory.mktemp("runs")
    single = [stepped(folder, f"bar {s:g}", (s,), 1e3) for s in (6.0, 7.0)]
    return {
        "steps": stress_dependence([fit(read_run(DEMO / "petg-steps.toml"))]),
        "softening": stress_dependence(
            [stepped(folder, "soft", (5.0, 10.0, 15.0), 15.0)], at=["10 min", "1 h", "100 h"], stresses=["2 MPa", "12 MPa"]
        ),
        "two-steps": stress_dependence([stepped(folder, "two", (5.0, 15.0), 15.0)]),
        "close": stress_dependence(single),
    }


@pytest.mark.parametrize("name", ["steps", "softening", "two-steps", "close"])
def test_text(name: str, answers: dict[str, StressDependence]) -> None:
    text, path = stress_text(answers[name]), TEXTS / f"stress-{name}.txt"
    if os.environ.get("CREEPFIT_WRITE_TEXTS"):
        path.write_text(text + "\n", encoding="utf-8")
    assert text + "\n" == path.read_text(encoding="utf-8")
    lines = text.splitlines()
    assert max(map(len, lines)) <= MOST
    assert all(line == line.rstrip() for line in lines)
    for word in (" nan", " inf", "None", "e+"):
        assert word not in text


def test_marks_stand_on_the_entries_they_are_of(answers: dict[str, StressDependence]) -> None:
    text = stress_text(answers["softening"])
    rows = [line for line in text[: text.index("Creep modulus")].splitlines() if line.split()[:1] in (["12"], ["15"])]
    between = next(line for line in rows if line.split()[0] == "12")
    assert between.count("~") == 3
    assert between.count("*") == 2  # 10 min was read, 1 h and 100 h were not
    assert "~ nothing was held at this stress" in text


def test_the_prior_of_the_sinh_stress_is_stated(answers: dict[str, StressDependence]) -> None:
    text = " ".join(stress_text(answers["softening"]).split())
    assert "the highest stress over the sinh stress is anything from 0 to 3" in text
    assert "sinh stress is at least 5 MPa" in text  # 15 MPa over 3
    assert "hyperbolic sine" not in stress_text(answers["close"])
