"""Specimens are counted once: scatter in a sag, two runs of one bar, and how many specimens a difference needs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.special import stdtrit

import creepfit as cf
from creepfit.inference.pooling import PooledFit
from creepfit.inference.priors import Priors
from creepfit.records.part_files import build_part
from creepfit.units import DAY, HOUR, MINUTE

SHORT = (MINUTE, HOUR, DAY, 2 * DAY)


@pytest.fixture(scope="module")
def bars(creep_run: Callable[..., Any], truth: Any) -> Callable[..., list[Any]]:
    """Runs of one material on bars of given relative stiffness."""

    def make(stiffness: Sequence[float], material: str = "PETG", first: int = 1) -> list[Any]:
        return [
            replace(
                creep_run(
                    truth(modulus=2000.0 * s), seed=first + i, name=f"S{first + i}", times=SHORT, unload=None, age=None
                ),
                material=material,
            )
            for i, s in enumerate(stiffness)
        ]

    return make


@pytest.fixture(scope="module")
def pool(bars: Callable[..., list[Any]], alone: Priors) -> PooledFit:
    """Three bars a fifth apart."""
    return cf.fit_pooled(bars([0.85, 1.0, 1.2]), priors=alone)


def test_scatter_between_specimens_is_in_a_sag_once(pool: PooledFit) -> None:
    """The part is the bar itself, so its sag is as doubtful as the next specimen's deflection: not sqrt(2) times that."""
    bar = {"section": "rectangle", "length": "80 mm", "width": "12 mm", "thickness": "5 mm"}
    part = build_part(
        {
            "format": 1,
            "part": {"name": "bar", "support": "cantilever"},
            "segment": [bar],
            "load": [{"force": "1.96 N", "at": "end"}],
        },
        None,
    )
    specimen = cf.forecast(pool, at=["30 d"]).rows[0].interval
    found = cf.sag(part, pool, at=["30 d"]).rows[0].interval
    assert found.median == pytest.approx(specimen.median, rel=0.02)
    width, wanted = (np.log(i.high / i.low) for i in (found, specimen))
    assert wanted > 0.3  # scatter is most of it
    assert width == pytest.approx(wanted, rel=0.05)


def test_two_runs_of_one_bar_are_one_specimen(bars: Callable[..., list[Any]], alone: Priors) -> None:
    one, other = bars([1.0, 1.02])
    again = replace(other, name=one.name)
    assert cf.fit_pooled([one, other], priors=alone).scatter.specimens == 2
    found = cf.fit_pooled([one, again], priors=alone)
    assert found.scatter.specimens == 1
    assert "one specimen shows none" in found.scatter.source
    assert [f.specimen for f in found.factors] == [one.name]


def test_a_difference_between_pools_needs_the_specimens_that_their_own_spread_asks_for(
    pool: PooledFit, bars: Callable[..., list[Any]], alone: Priors
) -> None:
    """Two-sample t by hand. The log ratio of two averages of three spreads by s; one specimen by s / sqrt(1/3 + 1/3).

    At a level of 0.6826 the interval's half width is that spread itself.
    """
    level = 0.6826
    other = cf.fit_pooled(bars([0.95, 1.02, 1.3], "PLA", 11), priors=alone)
    ratio = cf.compare([pool, other], at=["1 d"], level=level).moments[0].ratios[0]
    assert ratio.interval is not None
    spread = 0.5 * np.log(ratio.interval.high / ratio.interval.low)
    single, difference = spread / np.sqrt(2.0 / 3.0), abs(np.log(ratio.interval.median))

    def shown(count: int) -> float:
        free = 2 * count - 2
        return float((stdtrit(free, 0.5 + level / 2.0) + stdtrit(free, 0.8)) * single * np.sqrt(2.0 / count))

    wanted = next(n for n in range(2, 10_000) if shown(n) <= difference)
    assert 6 < wanted < 200
    assert not ratio.distinguishable
    assert ratio.specimens_needed == pytest.approx(wanted, rel=0.05)
    assert np.log(ratio.detectable) == pytest.approx(shown(3), rel=0.02)
