"""A new model declares everything about itself: it is registered here, and then fitted, weighted, forecast and shown.

The fractional Zener solid: D(t) = 1/E1 + (1 - E_a(-(t/tau)^a))/E2 with the Mittag-Leffler function E_a. For a = 1/2 that is
exp(x^2) erfc(x) (Abramowitz & Stegun 7.1), for 0 < a < 1 its spectrum is known in closed form (Gorenflo & Mainardi 1997,
from memory), which is how its modes come about.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.special import erfcx

import creepfit as cf
from creepfit.inference.fitting import Fit, fit
from creepfit.mechanics.loading import Array
from creepfit.mechanics.specimen import Direct
from creepfit.models.model import Axis, CreepModel, Instant, Modes, Parameter, Span, Term, modulus, needed
from creepfit.models.registry import forget, register
from creepfit.records.run import Gauge, LoadStep, Reading, Run

HOUR, DAY = 3600.0, 86400.0
STEP = 0.05


@dataclass(frozen=True)
class MittagLeffler(Term):
    """phi = 1 - E_a(-(t/tau)^a), by its spectrum of rates."""

    order: float = 0.5
    axis: int | None = 0

    def _density(self, x: Array) -> Array:
        """Weight of the rate x/tau for each unit of ln x; over all it is 1."""
        angle = self.order * np.pi
        power = x**self.order
        return np.asarray(np.sin(angle) / np.pi * power / (power**2 + 2.0 * power * np.cos(angle) + 1.0))

    def value(self, t: Array, shape: Array | None = None) -> Array:
        x = (np.asarray(t) / needed(shape)) ** self.order
        return 1.0 - erfcx(x) if self.order == 0.5 else self._summed(np.asarray(t), needed(shape), lambda s: -np.expm1(-s))

    def integral(self, t: Array, shape: Array | None = None) -> Array:
        return self._summed(np.asarray(t), needed(shape), lambda s: 1.0 + np.expm1(-s) / np.where(s > 0.0, s, 1.0)) * t

    def _summed(self, t: Array, tau: Array, of: object) -> Array:
        total = np.zeros(np.broadcast(t, tau).shape)
        for log_rate in np.arange(-40.0, 40.0, STEP):
            rate = np.exp(log_rate)
            total = total + STEP * self._density(rate) * of(rate * t / tau)  # type: ignore[operator]
        return total

    def modes(self, rates: Array, step: float, shape: Array | None = None) -> Modes:
        tau = np.ravel(needed(shape))[:, None]
        weights = step * self._density(rates * tau)
        slower = rates[0] * np.exp(-step * np.arange(1.0, 400.0))
        slow = step * self._density(slower * tau)
        return Modes(1.0 - weights.sum(axis=1) - slow.sum(axis=1), slow @ slower, weights)


class FractionalZener(CreepModel):
    name = "fractional-zener"
    title = "fractional Zener solid"
    formula = "D(t) = 1/E1 + (1 - E_a(-(t/tau)^a))/E2, a = 1/2"
    source = "Gorenflo & Mainardi (1997), from memory"
    meanings = {"E1": "Stiffness at once.", "E2": "Stiffness of the fractional part.", "tau": "When it is under way."}
    weight = 0.2
    terms = (Instant(), MittagLeffler())

    def axes(self, span: Span) -> tuple[Axis, ...]:
        return (Axis("tau", span.first, 30.0 * span.last, 60, log=True),)

    def parameters(self, shape: Sequence[float], amplitudes: Sequence[float]) -> tuple[Parameter, ...]:
        stiffness = (Parameter(f"E{i + 1}", modulus(a), "modulus") for i, a in enumerate(amplitudes))
        return (*stiffness, Parameter("tau", shape[0] / HOUR, "h"))


@pytest.fixture(scope="module")
def found() -> Iterator[Fit]:
    """A run whose truth is the new model: 1/E1 = 1/2000 MPa, 1/E2 = 1/4000 MPa, tau = 20 h, unloaded after five days."""
    register(FractionalZener())
    times = np.array([60.0, 600.0, HOUR, 6 * HOUR, *(DAY * d for d in range(1, 6))])
    after = np.array([60.0, HOUR, DAY, 2 * DAY])

    def creep(t: Array) -> Array:
        return np.asarray(2.5e-4 * (1.0 - erfcx(np.sqrt(t / (20 * HOUR)))))

    strain = [*(5e-4 + creep(times)), *(creep(5 * DAY + after) - creep(after))]
    readings = [Reading(-60.0, 0.0), *map(Reading, [*times, *(5 * DAY + after)], map(float, strain))]
    loads = (LoadStep(0.0, 1.0), LoadStep(5 * DAY, 0.0))
    yield fit(Run("PX", Direct("strain"), Gauge(1e-9, 1e-6, "as given"), loads, tuple(readings), name="own"))
    forget("fractional-zener")


def test_its_function_agrees_with_its_closed_form_and_with_its_modes() -> None:
    term, tau = MittagLeffler(), np.array([20 * HOUR])
    t = np.geomspace(1.0, 1e8, 12)
    rates = np.exp(np.arange(-30.0, 10.0, 0.5))
    modes = term.modes(rates, 0.5, tau)
    by_modes = modes.spring[0] + modes.dashpot[0] * t - np.expm1(-np.outer(t, rates)) @ modes.weights[0]
    np.testing.assert_allclose(by_modes, term.value(t, tau), rtol=1e-6, atol=1e-9)
    summed = term._summed(t, tau, lambda s: -np.expm1(-s))
    np.testing.assert_allclose(summed, term.value(t, tau), rtol=1e-7, atol=1e-9)


def test_a_new_model_is_fitted(found: Fit) -> None:
    own = {p.name: p.value for p in found.models["fractional-zener"].parameters}
    assert own["E1"] == pytest.approx(2000.0, rel=0.01)
    assert own["E2"] == pytest.approx(4000.0, rel=0.01)
    assert own["tau"] == pytest.approx(20.0, rel=0.02)


def test_it_is_weighted_and_forecast(found: Fit) -> None:
    assert found.mixture.weight_of("fractional-zener") > 0.9
    row = cf.forecast(found, at=["30 d"]).to_dict()["forecast"][0]
    truth = 5e-4 + 2.5e-4 * (1.0 - erfcx(np.sqrt(30 * DAY / (20 * HOUR))))
    assert row["low"] < truth < row["high"] < 1.05 * truth
    assert "fractional-zener" in {m["model"] for m in row["models"]}


def test_it_is_named_in_the_text_and_on_the_page(found: Fit) -> None:
    from creepfit.report.page.findings import Findings, find
    from creepfit.report.page.tables import parameters_table

    seen: Findings = find(found)
    table = parameters_table(seen)
    assert ("fractional-zener", "Stiffness of the fractional part.") in {
        (name, meaning) for row in _named(table.rows) for name, meaning in [row] if meaning.startswith("Stiffness of the")
    }
    assert "fractional-zener 20 %" in found.priors.assumptions(True)[1]


def _named(rows: Sequence[Sequence[str]]) -> list[tuple[str, str]]:
    out, name = [], ""
    for row in rows:
        name = row[0] or name
        out.append((name, row[5]))
    return out


def test_a_name_stands_for_one_model() -> None:
    class Other(FractionalZener):
        name = "zener"

    with pytest.raises(ValueError, match="zener"):
        register(Other())
