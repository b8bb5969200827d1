"""The line of life against stress: ordinary regression where all broke, censored bars, and how often its bound holds."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import t as student

from creepfit.inference.life import LifeLine, Survival


def bars(stress: list[float], time: list[float], broke: list[bool] | None = None) -> tuple[Survival, ...]:
    flags = [True] * len(stress) if broke is None else broke
    return tuple(Survival(f"B{i}", s, t, b) for i, (s, t, b) in enumerate(zip(stress, time, flags, strict=True)))


STRESS = [20.0, 20.0, 16.0, 16.0, 13.0, 13.0]
TIME = [1e3, 2.2e3, 1.5e4, 0.8e4, 1.1e5, 2.3e5]


@pytest.mark.parametrize("count", [3, 4, 6])
@pytest.mark.parametrize("stress", [18.0, 8.0])
def test_without_survivors_it_is_ordinary_regression(count: int, stress: float) -> None:
    stresses, times = (STRESS[-count:], TIME[-count:]) if count > 3 else (STRESS[1:4], TIME[1:4])
    x, y = np.log10(stresses), np.log10(times)
    slope, level = np.polyfit(x, y, 1)
    s = np.sqrt(np.sum((y - level - slope * x) ** 2) / (count - 2))
    at = np.log10(stress)
    error = s * np.sqrt(1.0 + 1.0 / count + (at - x.mean()) ** 2 / np.sum((x - x.mean()) ** 2))
    found = LifeLine(bars(stresses, times))
    assert np.log10(found.life(stress, 0.5)) == pytest.approx(level + slope * at, abs=0.2 * error)
    expected = level + slope * at + error * student.ppf(0.1, count - 2)
    # the line never rises with stress: with few breaks that cuts away short lives at low stresses
    low = np.log10(found.life(stress, 0.1))
    if count == 3 and stress < 10.0:
        assert expected < low < level + slope * at
    else:
        assert low == pytest.approx(expected, abs={3: 0.7, 4: 0.2, 6: 0.08}[count] * error)


def test_a_survivor_lengthens_life_where_it_is() -> None:
    without = LifeLine(bars(STRESS, TIME))
    survivor = bars([*STRESS, 10.0], [*TIME, 3e7], [True] * 6 + [False])
    assert LifeLine(survivor).life(10.0, 0.1) > 1.5 * without.life(10.0, 0.1)
    early = bars([*STRESS, 10.0], [*TIME, 60.0], [True] * 6 + [False])
    assert LifeLine(early).life(10.0, 0.5) == pytest.approx(without.life(10.0, 0.5), rel=0.02)


def test_which_bars_make_a_line() -> None:
    assert LifeLine.possible(bars(STRESS[:3], TIME[:3]))
    assert not LifeLine.possible(bars(STRESS[:2], TIME[:2]))
    assert not LifeLine.possible(bars([20.0] * 4, TIME[:4]))
    assert not LifeLine.possible(bars(STRESS[:3], TIME[:3], [True, True, False]))


def test_nine_in_ten_last_longer_than_the_bound() -> None:
    """Truth: 4 decades of life a factor of two in stress (slope 13), scatter 0.3 decades; tests end after 30 d."""
    rng, held, runs, end = np.random.default_rng(3), 0, 30, 30.0 * 86400.0
    for _ in range(runs):
        stress = np.array([24.0, 24.0, 20.0, 20.0, 16.0, 14.0])
        life = 10.0 ** (4.0 - 13.0 * np.log10(stress / 20.0) + 0.3 * rng.standard_normal(6))
        broke = life < end
        found = LifeLine(bars(list(stress), list(np.minimum(life, end)), list(broke)))
        if not LifeLine.possible(found.bars):
            continue
        new = 10.0 ** (4.0 - 13.0 * np.log10(12.0 / 20.0) + 0.3 * rng.standard_normal())
        held += new > found.life(12.0, 0.1)
    assert 24 <= held <= 30
