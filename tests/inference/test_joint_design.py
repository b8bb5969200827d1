"""What the benchmark of priors takes a run for: by its cells today's prior comes to the upper end that the program has."""

from __future__ import annotations

import numpy as np
import pytest
from joint_design import Runs, cells_of_run, truths, upper_ends
from truths import questions

from creepfit.inference.mixture import mixture
from creepfit.inference.priors import priors_for


@pytest.mark.parametrize("name", ["n 0.2", "n 0.3, never unloaded", "n 0.2 + flow 0.156", "Burgers 20 h, flow 0.2"])
def test_the_cells_of_a_run_have_the_upper_end_of_its_mixture(name: str) -> None:
    case, seed = truths()[name], 3
    evidence, tails, prior, trust = cells_of_run(case, seed)
    runs = Runs((name,), np.zeros(1, dtype=int), np.exp(evidence)[None], tails[None], prior[None], np.array([trust]))
    by_cells = upper_ends(runs.tail_today(np.ones(prior.size)))[0]
    history, times = questions(case)
    draws = mixture(case.observed(np.random.default_rng(seed)), priors_for(None)).draws(4000).deformation(history, times)
    program = np.quantile(draws[:, -1], 0.95) / case.truth.response(history, times)[-1]
    assert by_cells == pytest.approx(program, rel=0.05 if program < 1.6 else 0.1)  # levels are far apart higher up
