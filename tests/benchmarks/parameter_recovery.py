"""Does the best fit find the best fit? Simulated five-day runs, checked against a dense grid and random starts.

    python tests/benchmarks/parameter_recovery.py [RUNS] [--models findley,burgers] [--seed 1]

For each model RUNS runs are drawn (default 2000) with noise of 0.5 % of their creep and fitted with that model. The check
shares no search code with creepfit: non-negative amplitudes by going through all subsets of columns, shapes by
Levenberg-Marquardt on all starts at once, from the lowest valleys of a dense grid and from 20 random places a run.
"""

from __future__ import annotations

import argparse
import itertools
import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from creepfit.inference.columns import Observations, observations
from creepfit.inference.joint_fit import lowest_shapes
from creepfit.inference.model_fit import fit_models
from creepfit.mechanics.specimen import Direct
from creepfit.models.burgers import Burgers
from creepfit.models.findley import Findley
from creepfit.models.kelvin_chain import KelvinChain
from creepfit.models.logarithmic import Logarithmic
from creepfit.models.model import Axis, CreepModel
from creepfit.models.power import Power
from creepfit.models.power_family import PowerFamilyModel
from creepfit.models.stretched import StretchedExponential
from creepfit.models.zener import Zener
from creepfit.records.run import Gauge, LoadStep, Reading, Run

Array = NDArray[np.float64]

MODELS: dict[str, CreepModel] = {
    "findley": Findley(),
    "power-family": PowerFamilyModel(),
    "burgers": Burgers(),
    "zener": Zener(),
    "kelvin-chain-1": KelvinChain(1),
    "kelvin-chain-2": KelvinChain(2),
    "stretched-0.4": StretchedExponential(0.4),
    "power": Power(),
    "logarithmic": Logarithmic(),
}

MINUTE, HOUR, DAY = 60.0, 3600.0, 86400.0
LOADED = [MINUTE, 10 * MINUTE, HOUR, 6 * HOUR, DAY, 2 * DAY, 3 * DAY, 4 * DAY, 5 * DAY]
RESTING = [5 * DAY + s for s in (MINUTE, HOUR, 6 * HOUR, DAY)]
SCHEDULES = {
    "with recovery": [-MINUTE, *LOADED, *RESTING],
    "loading only": [-MINUTE, *LOADED],
    "no initial reading": LOADED,
}

NOISE = 0.005
"""Standard deviation of a reading over the creep of the run."""

TOLERANCE = 1e-9
RANDOM_STARTS = 20
VALLEYS = 4
"""Local minima of the dense grid that are followed down as well."""

ROUNDS = 3
STEP = 1e-5


@dataclass(frozen=True)
class Recovery:
    """What came of one model: `excess` is the residual sum over the best one found, less 1, one value a run."""

    model: str
    excess: Array
    said_so: NDArray[np.bool_]
    seconds: float

    @property
    def found(self) -> float:
        """Share of runs whose residual sum is within TOLERANCE of the best."""
        return float(np.mean(self.excess <= TOLERANCE))

    @property
    def silent(self) -> int:
        """Runs that missed the best fit and did not say so."""
        return int(np.sum((self.excess > TOLERANCE) & ~self.said_so))

    def __str__(self) -> str:
        return (
            f"{self.model:16s} {self.excess.size:6d} runs  found {100 * self.found:8.3f} %  worst excess "
            f"{self.excess.max():9.2e}  silent {self.silent}  {1e3 * self.seconds:6.1f} ms a fit"
        )


def observed_on(schedule: Sequence[float]) -> Observations:
    """A run in mm under 1 N for five days, read at the schedule's times with a fine gauge."""
    run = Run(
        "PETG",
        Direct(),
        Gauge(0.001, 0.002, "given", drift=0.0),
        (LoadStep(0.0, 1.0), LoadStep(5 * DAY, 0.0)),
        tuple(Reading(t, 0.0 if t < 0 else 1.0 + 0.01 * i) for i, t in enumerate(schedule)),
    )
    return observations(run)


def truth(creep: CreepModel, axes: Sequence[Axis], rng: np.random.Generator) -> tuple[Array, Array]:
    """Random shape and amplitudes: instantaneous 1 mm, creep functions of 0.02 to 1 mm at five days each."""
    shape = np.array([axis.from_search(rng.uniform(*axis.to_search(np.array([axis.low, axis.high])))) for axis in axes])
    shape = np.sort(shape) if len(axes) > 1 else shape
    amplitudes = []
    for term in creep.terms:
        p = None if term.axis is None else shape[term.axis]
        amplitudes.append(rng.uniform(0.02, 1.0) / float(term.value(np.asarray(5 * DAY), p)))
    if creep.instant is not None:
        amplitudes[creep.instant] = 1.0
    return shape, np.array(amplitudes)


def simulate(creep: CreepModel, observed: Observations, runs: int, rng: np.random.Generator) -> list[Observations]:
    """Runs drawn from the model with random parameters, zero and noise."""
    axes = creep.axes(observed.span)
    out = []
    for _ in range(runs):
        shape, amplitudes = truth(creep, axes, rng)
        clean = observed.response(creep, shape[None, :])[0] @ amplitudes
        under_load = clean[(observed.times > 0.0) & (observed.times <= 5 * DAY)]
        noise = NOISE * np.ptp(under_load) * rng.normal(size=clean.size)
        out.append(observed.with_values(rng.normal() + clean + noise))
    return out


class Reference:
    """The least residual sum of all that a dense grid and random starts lead to, for runs of one schedule."""

    def __init__(self, creep: CreepModel, observed: Observations) -> None:
        self.creep, self.observed = creep, observed
        self.axes = creep.axes(observed.span)
        ends = np.array([axis.to_search(np.array([axis.low, axis.high])) for axis in self.axes]).reshape(-1, 2)
        self.low, self.width = ends[:, 0], ends[:, 1] - ends[:, 0]  # places run from 0 to 1 along each axis
        zeros = observed.noise.whiten(observed.zeros)
        q = np.linalg.qr(zeros)[0]
        whiten = observed.noise.whiten(np.eye(observed.times.size))
        self.transform = whiten - q @ (q.T @ whiten)
        with_set = observed.has_initial and observed.has_recovery and not creep.flows
        self.set_column = observed.history.peak(observed.times)[:, None] if with_set else np.empty((observed.times.size, 0))

    def columns(self, places: Array) -> Array:
        """Whitened columns (M, N, K) of unit length at places (M, d) in 0..1."""
        inside = self.low + places * self.width
        shapes = np.stack([a.from_search(inside[:, i]) for i, a in enumerate(self.axes)], axis=1) if self.axes else inside
        response = self.observed.response(self.creep, shapes)
        extra = np.broadcast_to(self.set_column, (response.shape[0], *self.set_column.shape))
        full = np.concatenate([response, extra], axis=2)
        columns = self.transform @ full
        size = np.linalg.norm(columns, axis=1, keepdims=True)
        there = size > 1e-10 * np.linalg.norm(full, axis=1, keepdims=True)
        return np.where(there, columns / np.where(there, size, 1.0), 0.0)

    def fitted(self, columns: Array, targets: Array) -> Array:
        """Non-negative least squares fits (M, R, N) of R targets a place (M, R, N): the best of all subsets of columns."""
        count, goals = columns.shape[2], targets.transpose(0, 2, 1)
        best, lowest = np.zeros(goals.shape), (goals**2).sum(axis=1)
        gram = columns.transpose(0, 2, 1) @ columns + 1e-14 * np.eye(count)
        moment = columns.transpose(0, 2, 1) @ goals
        open_ones = np.arange(goals.shape[0])
        for size in range(count, 0, -1):
            if open_ones.size == 0:
                break
            for chosen in map(list, itertools.combinations(range(count), size)):
                part, goal = columns[open_ones][:, :, chosen], goals[open_ones]
                own = gram[open_ones][:, chosen][:, :, chosen]
                amplitudes = np.linalg.solve(own, moment[open_ones][:, chosen])
                # once more on what is left: gives back the digits that the normal equations lose
                amplitudes += np.linalg.solve(own, part.transpose(0, 2, 1) @ (goal - part @ amplitudes))
                fit = part @ amplitudes
                total = ((goal - fit) ** 2).sum(axis=1)
                allowed = (amplitudes >= 0.0).all(axis=1)
                at, of = np.nonzero(allowed & (total < lowest[open_ones]))
                best[open_ones[at], :, of], lowest[open_ones[at], of] = fit[at, :, of], total[at, of]
                if size == count:  # nothing is lower than all columns together
                    open_ones = open_ones[~allowed.all(axis=1)]
        return best.transpose(0, 2, 1)

    def residuals(self, places: Array, targets: Array) -> Array:
        return np.asarray(targets - self.fitted(self.columns(places), targets[:, None])[:, 0])

    def descend(self, places: Array, targets: Array) -> tuple[Array, Array]:
        """Least residual sum (M,) reached from each place, and where, by damped Gauss-Newton steps on all at once."""
        places = places.copy()
        damping = np.full(places.shape[0], 1e-3)
        residuals = self.residuals(places, targets)
        totals = (residuals**2).sum(axis=1)
        live = np.arange(places.shape[0])
        for _ in range(80):
            here, goal = places[live], targets[live]
            steps = STEP * np.eye(places.shape[1])
            # both sides of all axes at once, shape (2, d, M, d): with few places left it is calls that cost
            beside = np.clip(here + np.stack([steps, -steps])[:, :, None, :], 0.0, 1.0)
            around = np.broadcast_to(goal, (*beside.shape[:3], goal.shape[1]))
            up, down = self.residuals(beside.reshape(-1, beside.shape[3]), around.reshape(-1, goal.shape[1])).reshape(
                around.shape
            )
            slopes = (up - down) / (beside[0] - beside[1]).sum(axis=2)[:, :, None]
            jacobian = slopes.transpose(1, 2, 0)
            gram = jacobian.transpose(0, 2, 1) @ jacobian
            gradient = (jacobian * residuals[live][..., None]).sum(axis=1)
            diagonal = np.diagonal(gram, axis1=1, axis2=2)
            # damped alike in all directions: scaled to each, a flat one would take steps across the whole range
            raised = (damping[live] + 1e-16) * diagonal.max(axis=1) + 1e-300
            gram = gram + raised[:, None, None] * np.eye(gram.shape[1])
            move = np.linalg.solve(gram, gradient[..., None])
            trial = np.clip(here - move[..., 0], 0.0, 1.0)
            fresh = self.residuals(trial, goal)
            sums = (fresh**2).sum(axis=1)
            better = sums < totals[live]
            gained = np.where(better, totals[live] - sums, 0.0) / totals[live]
            accepted = live[better]
            places[accepted], residuals[accepted], totals[accepted] = trial[better], fresh[better], sums[better]
            damping[live] = np.clip(np.where(better, damping[live] / 5.0, damping[live] * 8.0), 1e-9, 1e9)
            still = np.abs(trial - here).max(axis=1) > 1e-9
            live = live[still & ((gained > 1e-13) | ~better)]
            if live.size == 0:
                break
        return totals, places

    def dense_valleys(self, targets: Array) -> tuple[Array, NDArray[np.intp]]:
        """Places of the lowest nodes of a dense grid for each run, well apart, and the run of each."""
        per_axis = {1: 1000, 2: 70}.get(len(self.axes), 20)
        nodes = np.array(list(itertools.product(np.linspace(0.0, 1.0, per_axis), repeat=len(self.axes))))
        if len(self.axes) > 1:
            nodes = nodes[(np.diff(nodes, axis=1) > 0.0).all(axis=1)]
        fits = self.fitted(self.columns(nodes), np.broadcast_to(targets, (nodes.shape[0], *targets.shape)))
        places, rows = [], []
        for row, target in enumerate(targets):
            order = np.argsort(((target - fits[:, row]) ** 2).sum(axis=1))
            chosen: list[int] = []
            for index in order[: nodes.shape[0] // 2]:
                if all(np.abs(nodes[index] - nodes[c]).max() > 0.08 for c in chosen):
                    chosen.append(int(index))
                if len(chosen) == VALLEYS:
                    break
            places.append(nodes[chosen])
            rows += [row] * len(chosen)
        return np.concatenate(places), np.array(rows)

    def best(self, runs: Sequence[Observations], rng: np.random.Generator) -> Array:
        """Least residual sum known for each run."""
        targets = np.array([run.values for run in runs]) @ self.transform.T
        if not self.axes:
            return np.asarray((self.residuals(np.empty((len(runs), 0)), targets) ** 2).sum(axis=1))
        places, rows = self.dense_valleys(targets)
        random = rng.random((len(runs) * RANDOM_STARTS, len(self.axes)))
        places = np.concatenate([places, random])
        rows = np.concatenate([rows, np.repeat(np.arange(len(runs)), RANDOM_STARTS)])
        least = np.full(len(runs), np.inf)
        for _ in range(ROUNDS):  # anew from where it ended, as damping grown large ends a search too early
            totals, places = self.descend(places, targets[rows])
            np.minimum.at(least, rows, totals)
            near = totals <= 1.5 * least[rows]
            places, rows = places[near], rows[near]
        return least


def recover(name: str, runs: int, seed: int = 1) -> Recovery:
    """Simulate and fit `runs` runs of one model, a third on each schedule, and compare with the best known fits."""
    creep = MODELS[name]
    rng = np.random.default_rng([seed, list(MODELS).index(name)])
    excess, warned, spent = [], [], 0.0
    for i, schedule in enumerate(SCHEDULES.values()):
        share = runs // 3 + (1 if i < runs % 3 else 0)
        observed = observed_on(schedule)
        simulated = simulate(creep, observed, share, rng)
        begun = time.process_time()
        lowest = lowest_shapes([creep], simulated)  # side by side, as a batch of runs is
        fits = [fit_models([creep], run, None, own)[creep.name] for run, own in zip(simulated, lowest, strict=True)]
        spent += time.process_time() - begun
        best = Reference(creep, observed).best(simulated, rng)
        excess += [fit.residual_sum / least - 1.0 for fit, least in zip(fits, best, strict=True)]
        warned += [not (fit.status.converged and fit.status.determined) for fit in fits]
    return Recovery(name, np.array(excess), np.array(warned), spent / runs)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("runs", nargs="?", type=int, default=2000)
    parser.add_argument("--models", default=",".join(MODELS))
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    for name in given.models.split(","):
        print(recover(name, given.runs, given.seed), flush=True)


if __name__ == "__main__":
    main()
