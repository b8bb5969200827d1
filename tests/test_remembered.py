"""What is remembered between tests can neither be changed by one of them nor stand in for another run's or program's."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from creepfit.answers.part.sag import sag
from creepfit.answers.specimen.forecast import forecast
from creepfit.inference import run_fit
from creepfit.inference.fitting import Fit, fit
from creepfit.inference.priors import Priors
from creepfit.records.files import read_run
from creepfit.records.part_files import read_part


@pytest.fixture
def twice(short: Path) -> tuple[Fit, Fit]:
    again = short.with_name("again.toml")
    again.write_bytes(short.read_bytes())
    return fit(read_run(short)), fit(read_run(again))


def test_one_run_is_fitted_once(twice: tuple[Fit, Fit]) -> None:
    one, two = twice
    assert one.mixture is two.mixture
    assert one.draws is two.draws
    assert one.run.file != two.run.file


@pytest.mark.parametrize("count", [pytest.param(1000, marks=pytest.mark.few_draws), 4000] * 2)
def test_few_draws_stand_in_for_no_others(short: Path, count: int) -> None:
    own = fit(read_run(short))
    assert own.draws.count == count
    assert forecast(own, at=["1 d"]).fit.draws.count == count


def test_no_test_can_change_what_another_one_gets(twice: tuple[Fit, Fit]) -> None:
    one, two = twice
    for array in (one.mixture.weights, one.observed.values, one.draws.instant):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1.0
    one.models.clear()
    assert two.models


def test_what_differs_is_worked_out_by_itself(twice: tuple[Fit, Fit]) -> None:
    one, two = twice
    last = one.run.readings[-1]
    others = (
        fit(replace(one.run, readings=(*one.run.readings[:-1], replace(last, value=last.value + 0.001)))),
        fit(one.run, priors=Priors(creep_scale=2.0)),
        replace(one, observed=replace(one.observed, factor=2.0 * one.observed.factor)),
    )
    assert all(other.mixture is not two.mixture for other in others)
    assert fit(one.run, seed=3).draws is not two.draws
    assert fit(one.run, seed=3).mixture is two.mixture


ARM = """\
format = 1
[part]
name = "arm"
[[segment]]
length = "60 mm"
section = "round"
diameter = "6 mm"
[[load]]
force = "1 N"
at = "end"
[limit]
sag = "1 mm"
life = "2 d"
"""


def test_what_keeps_a_limit_is_worked_out_once_for_each_question(short: Path) -> None:
    path, again = short.with_name("arm.toml"), short.with_name("again.toml")
    path.write_text(ARM, encoding="utf-8")
    again.write_text(ARM, encoding="utf-8")
    part, fitted = read_part(path), fit(read_run(short))
    first = sag(part, fitted, "1 d").design
    assert first is not None
    assert sag(read_part(again), fitted, "1 d").design is first
    heavier = replace(part, loads=(replace(part.loads[0], size=2.0),))
    others = (
        sag(heavier, fitted, "1 d"), sag(part, fit(fitted.run, seed=3), "1 d"), sag(part, fitted, "1 d", limit="2 mm"),
        sag(part, fitted, "1 d", life="3 d"), sag(part, fitted, "1 d", level=0.5),
        sag(part, fitted, "1 d", specimen_scatter=0.2),
    )  # fmt: skip
    assert all(other.design is not first for other in others)


def test_an_answer_is_worked_out_once_for_each_question_and_file(twice: tuple[Fit, Fit]) -> None:
    one, two = twice
    first = forecast(one, at=["30 d"])
    assert forecast(fit(one.run), at=["30 d"]) is first
    others = (
        forecast(one, at=["31 d"]), forecast(one, at=["30 d"], level=0.5), forecast(one.at_level(0.5), at=["30 d"]),
        forecast(fit(one.run, seed=3), at=["30 d"]), forecast(fit(one.run, models=["zener"]), at=["30 d"]),
        forecast(two, at=["30 d"]),
    )  # fmt: skip
    assert all(other is not first for other in others)
    assert fit([one.run, replace(one.run, name="B")], pool=True) is fit([one.run, replace(one.run, name="B")], pool=True)


@pytest.mark.fits_anew
def test_tests_about_fitting_fit(twice: tuple[Fit, Fit]) -> None:
    one, two = twice
    assert one.mixture is not two.mixture


def test_a_changed_program_is_not_answered_by_the_one_before(
    twice: tuple[Fit, Fit], monkeypatch: pytest.MonkeyPatch
) -> None:
    one, two = twice
    assert one.mixture.weights.size  # were it remembered, it would answer for the other one
    monkeypatch.setattr(run_fit, "mixture_of", lambda *_: pytest.fail("worked out anew"))
    with pytest.raises(pytest.fail.Exception):
        _ = two.mixture
