"""Does the best fit find the best fit? A smaller number of simulated runs than the benchmark's two thousand a model.

The engine is tests/benchmarks/parameter_recovery.py, which says what the best fit is compared with.
"""

from __future__ import annotations

import numpy as np
import parameter_recovery as engine
import pytest

from creepfit.models.zener import Zener

RUNS = 30


@pytest.mark.parametrize("name", list(engine.MODELS))
def test_the_best_known_fit_is_found_and_a_miss_is_said(name: str) -> None:
    """Residual sum within 1e-9 relative of the best of a dense grid and 20 random starts."""
    found = engine.recover(name, RUNS)
    assert found.excess.size == RUNS
    assert found.found >= 0.999
    assert found.silent == 0
    # nor may the search that it is compared with be the poorer one
    assert found.excess.min() > -1e-6


def test_the_reference_search_finds_what_least_squares_by_hand_finds() -> None:
    """Two amplitudes and a zero at a known retardation time: the normal equations, solved in the open."""
    observed = engine.observed_on(engine.SCHEDULES["loading only"])
    rng = np.random.default_rng(5)
    (run,) = engine.simulate(Zener(), observed, 1, rng)
    least = engine.Reference(Zener(), observed).best([run], rng)[0]
    tau = np.geomspace(20.0, 15 * engine.DAY, 4000)
    columns = observed.response(Zener(), tau[:, None])
    sums = []
    for c in columns:
        x = np.column_stack([c, np.ones(run.times.size)])
        gram = x.T @ x
        rest = run.values - x @ np.linalg.solve(gram, x.T @ run.values)
        sums.append(rest @ rest)
    assert least == pytest.approx(min(sums), rel=1e-2)
    assert least <= min(sums) * (1.0 + 1e-9)


def test_a_miss_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """With no descent together and next to no polish the comparison sees the misses, and the fits own up to them."""
    monkeypatch.setattr("creepfit.inference.descent.MOST_STEPS", 0)
    monkeypatch.setattr("creepfit.inference.best_fit.RESTARTS", 1)
    monkeypatch.setattr("creepfit.inference.best_fit.EVALUATIONS", 2)
    found = engine.recover("kelvin-chain-2", 9)
    assert found.found < 0.9
    assert found.silent == 0
