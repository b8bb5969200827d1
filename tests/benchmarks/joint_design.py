"""Whether another prior of flow would do: of every simulated run the evidence and the upper tail of each cell of a prior.

    python tests/benchmarks/joint_design.py cells --runs 40 --first 1000 --into FILE.npz
    python tests/benchmarks/joint_design.py frontier FILE.npz

A prior is a weight on cells: exponent n times share of flow, a set by its n, other models, those of them that flow by
their share. Given the cells' evidence and tails every prior's upper end is known without another fit. `frontier` searches
for weights with which at most 15 % of the runs of each truth that flows have it above their upper end, and half of those of
each plain power an upper end within a limit; on one half of the runs, counted on the other, and the other way round.
Searched are the share given n, all else as today, and all cells. Beside it today's kinds of flow with other weights.

None of the truths that `truths.py` keeps apart is here. What it measured is in README.md.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import joblib
import numpy as np
from numpy.typing import NDArray
from scipy import special
from scipy.stats import gamma
from truths import CASES, YEAR, Case, Truth, flow, power, questions

from creepfit.inference.components import Member, UnitCreep, members_of
from creepfit.inference.likelihood import Likelihood
from creepfit.inference.nodes import Nodes
from creepfit.inference.posterior import posteriors
from creepfit.inference.priors import priors_for
from creepfit.inference.tested import beyond
from creepfit.inference.truncated import Quadrant
from creepfit.inference.weights import RULED_OUT, trust_in_evidence
from creepfit.mechanics.loading import LoadHistory
from creepfit.mechanics.long_history import Superposition
from creepfit.models.coordinate import Coordinate

Array = NDArray[np.float64]
PRIORS = priors_for(None)

STEP = 0.025
EXPONENTS = np.arange(-0.1, 0.5, STEP)
SHARES = np.array([0, 3, 6, 10, 15, 20, 25, 30, 40, 50, 60, 80, 100, 130, 160, 200, 250, 300, 400, 550]) / 1e3
"""Point-like shares of flow; the first is none."""

BANDS = np.array([0, 0.01, 0.02, 0.04, 0.06, 0.09, 0.13, 0.18, 0.25, 0.35, 0.5, 1.0])
"""Ends of the bands of share by which other models that flow are divided."""

LEVELS = np.array([0.8, 1.0, 1.1, 1.2, 1.25, 1.3, 1.4, 1.6, 2.0, 3.0])
"""Where tails are kept, over the truth at a year."""

OTHERS = ("zener", "kelvin-chain", "stretched-exponential")
FLOWING = ("burgers", "kelvin-chain, flow")
FAMILIES = ("power-family", "power-flow", *OTHERS, "burgers")
GRID = EXPONENTS.size * SHARES.size
MOST_ABOVE, BEYOND = 0.15, 0.05

DISCREPANCIES = (
    gamma.ppf((np.arange(3) + 0.5) / 3, PRIORS.discrepancy_degrees / 2, scale=2 / PRIORS.discrepancy_degrees) ** -0.5
)
"""Student's t of the discrepancy as so many normals of these standard deviations."""


def truths() -> dict[str, Case]:
    """Tuning rows of `truths.py` and a net of shares and exponents between them; what is before "|" counts together."""
    tuned = ("n 0.2 + flow", "n 0.15 + flow", "n 0.3 + flow", "Burgers 20 h")
    rows = {n: c for n, c in CASES.items() if not c.apart and n.startswith(tuned) and "30 d" not in n}
    rows |= {n: c for n, c in CASES.items() if c.plain and n.startswith("n ")}
    for unloaded, after in ((True, ""), (False, ", never unloaded")):
        rows |= {f"n {n}{after}": _case(n, 0.0, unloaded) for n in (0.15, 0.25)}
    for n in (0.12, 0.18, 0.22, 0.28):
        rows |= {f"flow {share}|{n}": _case(n, share, True) for share in (0.03, 0.05, 0.08, 0.12, 0.2)}
    for n in (0.12, 0.2, 0.28):
        rows |= {f"flow {share}, never unloaded|{n}": _case(n, share, False) for share in (0.06, 0.12, 0.2)}
    return rows


def _case(n: float, share: float, unloaded: bool) -> Case:
    return Case(Truth(((1.0 - share, power(n)), (share, flow))), unloaded=unloaded, plain=share == 0.0)


# ---------------------------------------------------------------------------------------------------- cells of a run


def labels() -> list[tuple[str, int]]:
    """Kind and place of each cell."""
    kinds = [("grid", GRID), ("set", EXPONENTS.size), *((name, 1) for name in OTHERS)]
    kinds += [(name, BANDS.size - 1) for name in FLOWING]
    return [(kind, k) for kind, count in kinds for k in range(count)]


def of_family() -> NDArray[np.intp]:
    """The family of each cell, a place in FAMILIES, between which evidence is trusted in part only."""
    own = {"set": "power-family", "kelvin-chain, flow": "kelvin-chain"}
    names = [
        ("power-flow" if k % SHARES.size else "power-family") if kind == "grid" else own.get(kind, kind)
        for kind, k in labels()
    ]
    return np.array([FAMILIES.index(name) for name in names])


def cells_of_run(case: Case, seed: int) -> tuple[Array, Array, Array, float]:
    """Of each cell log evidence (C,), tail beyond each level (C, K) and today's prior weight (C,); trust in evidence."""
    observed = case.observed(np.random.default_rng(seed))
    year = float(case.truth.response(*questions(case))[-1])
    shared, members = Likelihood(observed, PRIORS), members_of(observed, PRIORS, None)
    found = [*_of_grid(members, shared, year), *_of_others(members, shared, year)]
    index = {label: i for i, label in enumerate(labels())}
    evidence, prior = np.full(len(index), -np.inf), np.zeros(len(index))
    tails = np.zeros((len(index), LEVELS.size))
    for label, weight, log_evidence, tail in found:
        i = index[label]
        before, now = np.log(max(prior[i], 1e-300)) + evidence[i], np.log(weight) + log_evidence
        both = np.logaddexp(before, now)
        if np.isfinite(both):
            tails[i] = np.exp(before - both) * tails[i] + np.exp(now - both) * tail
        prior[i] += weight
        evidence[i] = both - np.log(prior[i])
    return evidence - evidence.max(), tails, prior, trust_in_evidence(observed.telling)


Found = tuple[tuple[str, int], float, float, Array]


def _of_grid(members: tuple[Member, ...], shared: Likelihood, year: float) -> Iterator[Found]:
    """Power of time with and without flow: each cell of n by two nodes in it."""
    flowing = next(m for m in members if m.model.name == "power-flow")
    plain = next(m for m in members if m.model.leads and m.set_growth is None)
    inside = (EXPONENTS[:, None] + STEP * np.array([-0.25, 0.25])).ravel()
    n, share = np.repeat(inside, SHARES.size), np.tile(SHARES, inside.size)
    nodes = Nodes(n[:, None], np.column_stack([1.0 - share, share]), np.zeros(n.size), np.zeros(n.size))
    noise, noise_prior = shared.noise_grid(shared.noise_range()[0], 6.0 * shared.observed.noise.stated, 14)
    projected = shared.projected(UnitCreep(flowing, shared.observed.span), nodes)
    bound = projected.bound(shared, noise[None], noise_prior[None], np.zeros(n.size), np.zeros(n.size, dtype=np.intp)).T
    node, scale = np.nonzero(bound > bound.max() - 14.0)
    log_joint, quadrant = projected.gaussians(shared, node, noise[scale] ** -2.0)
    log_joint = log_joint + noise_prior[scale] + quadrant.log_probability() - np.log(2.0)
    tail = _tails(flowing, shared, nodes.take(node), quadrant, year)
    cell = node // SHARES.size // 2 * SHARES.size + node % SHARES.size
    by_n = _mass(plain.coordinates[0], np.append(EXPONENTS - STEP / 2, EXPONENTS[-1] + STEP / 2))
    between = np.sqrt(SHARES[2:] * SHARES[1:-1])
    by_share = _mass(flowing.coordinates[1], np.concatenate([[0.7 * SHARES[1]], between, [1.0]]))
    by_share /= by_share.sum()
    for k in range(GRID):
        i, j = divmod(k, SHARES.size)
        weight = by_n[i] * (flowing.weight * by_share[j - 1] if j else plain.weight)
        yield ("grid", k), weight, *_together(log_joint, tail, cell == k)


def _of_others(members: tuple[Member, ...], shared: Likelihood, year: float) -> Iterator[Found]:
    """All other members by their own posterior: sets by n, those that flow by their share."""
    others = [m for m in members if m.model.name != "power-flow" and not (m.model.leads and m.set_growth is None)]
    for member, post in zip(others, posteriors(others, shared), strict=True):
        log_joint = post.log_weight + post.log_evidence
        tail = _tails(member, shared, post.nodes, post.quadrant, year)
        kind, place, count = member.model.name, np.zeros(log_joint.size), 1
        by: Array = np.full(1, 1.0)
        if member.model.leads:
            kind, count = "set", EXPONENTS.size
            place = np.clip(np.round((post.nodes.shapes[:, 0] - EXPONENTS[0]) / STEP), 0, count - 1)
            by = _mass(member.coordinates[0], np.append(EXPONENTS - STEP / 2, EXPONENTS[-1] + STEP / 2))
            by /= by.sum()
        elif member.flow_share is not None and member.flows:
            kind, count = kind + ", flow" * member.flow_beside, BANDS.size - 1
            place = np.searchsorted(BANDS, post.nodes.shares[:, -1]) - 1.0
            by = _mass(member.flow_share, BANDS)
        for k in range(count):
            log_evidence, own = _together(log_joint, tail, place == k)
            yield (kind, k), member.weight * by[k], log_evidence - np.log(by[k]), own


def _mass(coordinate: Coordinate, ends: Array) -> Array:
    """Prior probability between successive ends of a coordinate."""
    steps = ends[:-1, None] + np.diff(ends)[:, None] * (np.arange(200) + 0.5) / 200
    return np.asarray(np.exp(coordinate.log_prior(steps)).mean(axis=1) * np.diff(ends))


def _together(log_joint: Array, tail: Array, here: NDArray[np.bool_]) -> tuple[float, Array]:
    if not here.any():
        return -np.inf, np.zeros(tail.shape[1])
    whole = float(np.logaddexp.reduce(log_joint[here]))
    return whole, np.exp(log_joint[here] - whole) @ tail[here]


def _tails(member: Member, shared: Likelihood, nodes: Nodes, quadrant: Quadrant, year: float) -> Array:
    """P(deformation at a year > level x truth) given each node and its noise, shape (M, K)."""
    span, held = shared.observed.span, LoadHistory.held(1.0)
    columns = UnitCreep(member, span).columns(nodes, held, np.append(span.last * np.array([1.0, 10.0, 100.0]), YEAR))
    creep, instant = np.maximum(quadrant.mean1, 0.0), np.maximum(quadrant.mean0, 0.0)
    growth = np.maximum(np.diff(columns[:, :3], axis=1).min(axis=1), 0.0) * creep
    allowed = np.minimum(PRIORS.discrepancy * (instant + creep), PRIORS.discrepancy_of_growth * growth)
    allowed = allowed * float(beyond(Superposition(held, np.array([YEAR])), span.last)[0])
    mean = quadrant.mean0 + columns[:, 3] * quadrant.mean1
    sd = np.hypot(quadrant.spread0, (quadrant.slope + columns[:, 3]) * quadrant.sd1)
    off = mean[:, None] - LEVELS * year
    return np.asarray(np.mean([special.ndtr(off / np.hypot(sd, t * allowed)[:, None]) for t in DISCREPANCIES], axis=0))


# ---------------------------------------------------------------------------------------------------------- the search


@dataclass(frozen=True, eq=False)
class Runs:
    """Evidence (R, C), tails (R, C, K), prior weights (R, C) and trust (R,) of runs; which group `of` each is."""

    groups: tuple[str, ...]
    of: NDArray[np.intp]
    evidence: Array
    tails: Array
    prior: Array
    trust: Array

    @classmethod
    def read(cls, path: Path) -> Runs:
        kept = np.load(path)
        names = [str(n).split("|")[0] for n in kept["names"]]
        groups = tuple(dict.fromkeys(names))
        of = np.array([groups.index(n) for n in names])
        return cls(
            groups, of, np.exp(kept["evidence"].astype(float)), kept["tails"].astype(float), kept["prior"], kept["trust"]
        )

    def take(self, rows: NDArray[np.intp]) -> Runs:
        each = {name: getattr(self, name)[rows] for name in ("of", "evidence", "tails", "prior", "trust")}
        return replace(self, **each)

    @property
    def plain(self) -> NDArray[np.bool_]:
        """Which groups are plain powers."""
        return np.array(["flow" not in name for name in self.groups])

    def tail(self, factor: Array) -> Array:
        """P(above each level) with the prior times a factor (C,), evidence trusted in full, shape (R, K)."""
        joint = self.evidence * self.prior * factor
        return np.asarray(np.einsum("rc,rck->rk", joint / joint.sum(axis=1, keepdims=True), self.tails))

    def tail_today(self, factor: Array) -> Array:
        """The same as `weights.weights_of` trusts evidence between families."""
        member = np.eye(len(FAMILIES))[of_family()]
        prior = self.prior * factor
        joint, share = (prior * self.evidence) @ member, prior @ member
        share /= share.sum(axis=1, keepdims=True)
        log = self.trust[:, None] * np.log(np.maximum(joint, 1e-300) / (prior @ member))
        weight = share * np.exp(log - log.max(axis=1, keepdims=True))
        weight /= weight.sum(axis=1, keepdims=True)
        weight = np.maximum(weight, PRIORS.floor * special.expit(RULED_OUT - (log.max(axis=1, keepdims=True) - log)))
        weight /= weight.sum(axis=1, keepdims=True)
        within = prior * self.evidence * (weight / np.maximum(joint, 1e-300))[:, of_family()]
        return np.asarray(np.einsum("rc,rck->rk", within, self.tails))


def search(runs: Runs, limit: float, free: Array, steps: int = 400) -> Array:
    """Factors of the prior (C,), those not `free` left at 1: the smoothed worst excess of any group, downhill by Adam."""
    flat, sign = runs.plain[runs.of], np.where(runs.plain[runs.of], 1.0, -1.0)
    level = np.where(flat, np.searchsorted(LEVELS, limit), np.searchsorted(LEVELS, 1.0))
    tails = runs.tails[np.arange(level.size), :, level]
    size, worth = np.bincount(runs.of), np.where(runs.plain, 0.6, 1.0)
    aim = np.where(runs.plain, 0.5, MOST_ABOVE)
    log_factor, slope, square = np.zeros((3, free.size))
    lowest, best = np.inf, log_factor
    for step in range(steps):
        joint = runs.evidence * runs.prior * np.exp(log_factor - log_factor.max())
        whole, above = joint.sum(axis=1), (joint * tails).sum(axis=1)
        off = sign * (np.log(np.maximum(above, 1e-300) / whole) - np.log(BEYOND))
        soft = max(0.12, 0.6 * (1.0 - step / (0.6 * steps)))
        missed = special.expit(off / soft)
        excess = worth * (np.bincount(runs.of, missed) / size - aim)
        counted = float((worth * (np.bincount(runs.of, off > 0.0) / size - aim)).max())
        if step > 0.5 * steps and counted < lowest:
            lowest, best = counted, log_factor
        pull = np.exp(40.0 * (excess - excess.max()))
        pull = (pull / pull.sum() * worth / size)[runs.of] * missed * (1.0 - missed) / soft * sign
        down = ((pull / np.maximum(above, 1e-300)) @ (joint * tails) - (pull / whole) @ joint) * free
        slope, square = 0.9 * slope + 0.1 * down, 0.99 * square + 0.01 * down**2
        ahead = slope / (1.0 - 0.9 ** (step + 1)) / (np.sqrt(square / (1.0 - 0.99 ** (step + 1))) + 1e-8)
        log_factor = log_factor - 0.05 * ahead
    return np.asarray(np.exp(best - best.max()))


def upper_ends(tails: Array) -> Array:
    """Level over the truth that 5 % lie beyond, of tails (R, K), shape (R,)."""
    log = np.log(np.maximum(tails, 1e-9))
    return np.array([np.interp(-np.log(BEYOND), -row, LEVELS) for row in np.minimum.accumulate(log, axis=1)])


def report(label: str, parts: list[tuple[Runs, Array]]) -> None:
    """Truths above the upper end, mean and worst of the groups that flow; median upper ends of plain powers."""
    groups, plain = parts[0][0].groups, parts[0][0].plain
    of, tails = np.concatenate([r.of for r, _ in parts]), np.concatenate([t for _, t in parts])
    below = tails[:, np.searchsorted(LEVELS, 1.0)] < BEYOND
    above = {groups[g]: 100.0 * below[of == g].mean() for g in np.flatnonzero(~plain)}
    ends = {groups[g]: float(np.median(upper_ends(tails[of == g]))) for g in np.flatnonzero(plain)}
    worst, highest = max(above, key=lambda g: above[g]), max(ends, key=lambda g: ends[g])
    print(f"{label} | {np.mean(list(above.values())):.0f} | {above[worst]:.0f} ({worst}) | "
          f"{np.median(list(ends.values())):.2f} | {ends[highest]:.2f} ({highest})", flush=True)  # fmt: skip


def frontier(path: Path) -> None:
    runs = Runs.read(path)
    print(f"{len(runs.of)} runs of {len(runs.groups)} groups\nprior | above, mean | worst | upper end, median | worst")
    flows = np.array([kind == "grid" and k % SHARES.size > 0 for kind, k in labels()])
    for weight in (0.08, 0.15, 0.25, 0.4):
        report(f"today's kinds, weight {weight}", [(runs, runs.tail_today(np.where(flows, weight / 0.15, 1.0)))])
    mixed = np.random.default_rng(0).permutation(len(runs.of))
    halves = runs.take(mixed[::2]), runs.take(mixed[1::2])
    for what, free in (("share given n", 1.0 * flows), ("all cells", np.ones(flows.size))):
        for limit in (1.25, 1.3, 1.4, 1.6, 2.0):
            tried = [(own, other, search(own, limit, free)) for own, other in (halves, halves[::-1])]
            report(f"{what}, {limit}, where it was searched", [(own, own.tail(f)) for own, _, f in tried])
            report(f"{what}, {limit}, on the other half", [(other, other.tail(f)) for _, other, f in tried])


def cells(runs: int, first: int, into: Path, jobs: int) -> None:
    cases = [(name, case, seed) for name, case in truths().items() for seed in range(first, first + runs)]
    found = joblib.Parallel(jobs)(joblib.delayed(cells_of_run)(case, seed) for _, case, seed in cases)
    arrays = {
        key: np.array([f[i] for f in found], dtype=np.float32)
        for i, key in enumerate(("evidence", "tails", "prior", "trust"))
    }
    np.savez(into, names=np.array([name for name, _, _ in cases]), **arrays)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    commands = parser.add_subparsers(dest="what", required=True)
    making = commands.add_parser("cells")
    making.add_argument("--runs", type=int, default=40)
    making.add_argument("--first", type=int, default=1000, help="seed of the first run of each truth")
    making.add_argument("--jobs", type=int, default=2)
    making.add_argument("--into", type=Path, default=Path("joint_design.npz"))
    commands.add_parser("frontier").add_argument("path", type=Path)
    given = parser.parse_args()
    if given.what == "cells":
        cells(given.runs, given.first, given.into, given.jobs)
    else:
        frontier(given.path)


if __name__ == "__main__":
    main()
