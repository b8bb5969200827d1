"""Members of five kinds against a chain or weighed points; `benchmarks/member_chains.py` does the same for every member.

Allowed beside the chain's own error: what cells of a grid leave out, which the benchmark measures.
"""

from __future__ import annotations

from dataclasses import replace

import member_chains
import numpy as np
import pytest

from creepfit.inference.columns import observations
from creepfit.inference.components import Member, members_of

CHOSEN = [
    ("power family", 0.0, 0.15),
    ("power family with flow", None, 0.15),
    ("Burgers", None, 0.15),
    ("standard linear solid", 0.0, 0.15),
    ("Kelvin chain", None, 0.25),  # its share is a grid of eight
]


def test_the_benchmark_has_every_member_that_any_run_has() -> None:
    def kind(member: Member) -> tuple[object, ...]:
        return member.label, member.set_growth, member.rate, len(member.coordinates)

    compared = {kind(member) for member in member_chains.MEMBERS}
    whole = member_chains.a_run()
    loaded = replace(whole, steps=whole.steps[:1], readings=tuple(r for r in whole.readings if r.time <= 5 * 86400.0))
    for run in (whole, loaded, replace(loaded, readings=loaded.readings[1:])):
        for age in (None, 3600.0):
            members = members_of(observations(run), member_chains.PRIORS, age)
            assert {kind(member) for member in members} <= compared
    assert len(compared) > 15


@pytest.mark.parametrize(("label", "growth", "allowed"), CHOSEN)
def test_a_member_against_its_chain(label: str, growth: float | None, allowed: float) -> None:
    (member,) = [m for m in member_chains.MEMBERS if m.label == label and m.set_growth == growth]
    found, independent = member_chains.differences(member, steps=500)
    assert independent > 150
    error = 4.0 / np.sqrt(independent)  # four standard errors of a mean, in standard deviations
    for name, (shift, ratio) in found.items():
        assert abs(shift) < error + allowed, name
        assert ratio == pytest.approx(1.0, abs=error + allowed), name
