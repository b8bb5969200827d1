"""What broke in the workshop stands beside the answers it speaks to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from creepfit.answers.doubts.breaks import break_doubts, survival_of
from creepfit.answers.part.sag import sag
from creepfit.answers.specimen.forecast import forecast
from creepfit.cli import main
from creepfit.inference.fitting import fit
from creepfit.records.files import read_run
from creepfit.records.part_files import build_part
from creepfit.records.run import Event, LoadStep, Run
from creepfit.units import DAY, HOUR

PART = {
    "format": 1,
    "part": {},
    "segment": [{"section": "rectangle", "length": "80 mm", "width": "12 mm", "thickness": "8 mm"}],
    "load": [{"force": "3 N", "at": "end"}],
}


@pytest.fixture(scope="module")
def bar(creep_run: Callable[..., Run]) -> Run:
    return creep_run()


def broken(run: Run, stress: float, hours: float, name: str) -> Run:
    load = stress / (run.specimen.geometry.stress_per_load or 1.0)
    events = (Event(hours * HOUR, "broke"),)
    return replace(run, name=name, steps=(LoadStep(0.0, load),), events=events)


def test_a_bar_that_broke_ends_there_and_is_under_its_last_stress(bar: Run) -> None:
    run = broken(bar, 15.0, 2.1, "B3")
    assert run.used[-1].time <= 2.1 * HOUR < bar.used[-1].time
    found = survival_of(run)
    assert found is not None
    assert found.broke
    assert (found.stress, found.time) == (pytest.approx(15.0), pytest.approx(2.1 * HOUR))
    stepped = replace(run, steps=(LoadStep(0.0, run.peak_load / 2.0), LoadStep(HOUR, run.peak_load)))
    assert survival_of(stepped).time == pytest.approx(1.1 * HOUR)  # type: ignore[union-attr]
    kept = survival_of(bar)
    assert kept is not None
    assert not kept.broke
    assert kept.time == pytest.approx(5.0 * DAY)


def test_breaks_are_named_beside_sag_and_forecast(bar: Run) -> None:
    fitted = fit(bar)
    breaks = [broken(bar, 15.0, 2.1, "B3")]
    answer = sag(build_part(PART, None), fitted, "30 d", breaks=breaks)
    first = answer.cautions[0]
    assert first.code == "broke"
    assert "PETG B3 broke after 2 h 6 min at 15 MPa. This part sees 1.88 MPa." in first.text
    assert "From three breaks at two stresses on" in first.text
    ahead = forecast(fitted, "30 d", breaks=breaks)
    assert "This bar sees" in ahead.cautions[0].text
    assert "broke" not in {c.code for c in sag(build_part(PART, None), fitted, "30 d").cautions}


def test_three_breaks_at_two_stresses_make_a_line(bar: Run) -> None:
    breaks = [
        broken(bar, s, h, f"B{i}") for i, (s, h) in enumerate([(20.0, 1.0), (20.0, 2.5), (16.0, 30.0), (14.0, 200.0)])
    ]
    (near,) = break_doubts([bar, *breaks], 15.0, 30.0 * DAY, "this part")
    assert "through 4 breaks and 1 that did not break" in near.text
    assert "may well BREAK before" in near.text
    (low,) = break_doubts([bar, *breaks], 2.0, 365.0 * DAY, "this part")
    assert "a guess with a number on it" in low.text
    assert "BREAK" not in low.text


def test_the_command_reads_bars_that_broke(tmp_path: Path, short: Path) -> None:
    event = '[[event]]\nat = "100 min"\nkind = "broke"\n[readings]'
    text = (
        short.read_text()
        .replace("[readings]", event)
        .replace('"10 kg"', '"30 kg"')
        .replace('"PP"', '"PP"\nspecimen = "B1"')
    )
    other = tmp_path / "broke.toml"
    other.write_text(text)
    assert read_run(other).broke_at == 6000.0
    done = CliRunner().invoke(main, ["forecast", str(short), "--at", "2 d", "--broke", str(other)])
    assert done.exit_code == 0, done.output
    assert "PP B1 broke after 100 min at 7.35 MPa" in " ".join(done.stdout.split())
