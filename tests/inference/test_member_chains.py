"""Members of five kinds against a chain or weighed points; `benchmarks/member_chains.py` does the same for every member.

Allowed beside the chain's own error: what cells of a grid leave out, which the benchmark measures.
"""

from __future__ import annotations

import member_chains
import numpy as np
import pytest

CHOSEN = [
    ("power family", 0.0, 0.15),
    ("power family with flow", None, 0.15),
    ("Burgers", None, 0.15),
    ("standard linear solid", 0.0, 0.15),
    ("Kelvin chain", None, 0.25),  # its share is a grid of eight
]


@pytest.mark.parametrize(("label", "growth", "allowed"), CHOSEN)
def test_a_member_against_its_chain(label: str, growth: float | None, allowed: float) -> None:
    (member,) = [m for m in member_chains.MEMBERS if m.label == label and m.set_growth == growth]
    found, independent = member_chains.differences(member, steps=1500)
    assert independent > 150
    error = 4.0 / np.sqrt(independent)  # four standard errors of a mean, in standard deviations
    for name, (shift, ratio) in found.items():
        assert abs(shift) < error + allowed, name
        assert ratio == pytest.approx(1.0, abs=error + allowed), name
