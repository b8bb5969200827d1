"""Every member of the mixture against a sampling chain (emcee) through its coordinates, both amplitudes and the noise.

The density is written down once more from the model's functions of time: nothing is taken from the code under test but the
priors of the coordinates. Chains start at points of a wide box drawn by their own density, made flat, and are as long as a
few seconds allow; differences are held against what their own autocorrelation says they are good for.

Members of two Kelvin units are weighed instead: where the first unit is nearly over before the first reading it may take
the instantaneous response's place, a bent tail of one in fifty that holds most of that response's variance, and no chain
of such a length goes there and back. Points are drawn over all retardation times, the three amplitudes of each from a
Student t about its least squares, and weighted by the density (importance sampling).

    nice python tests/benchmarks/member_chains.py

`tests/inference/test_member_chains.py` compares five of them in the suite.
"""

from __future__ import annotations

from dataclasses import replace

import emcee
import numpy as np
from numpy.typing import NDArray

from creepfit.inference.columns import Observations, observations
from creepfit.inference.components import Member, members_of
from creepfit.inference.likelihood import Likelihood
from creepfit.inference.posterior import posterior
from creepfit.inference.priors import Priors
from creepfit.mechanics.clock import AgeingClock
from creepfit.mechanics.loading import superpose
from creepfit.mechanics.specimen import Direct
from creepfit.models.power_family import PowerFamily
from creepfit.records.run import Gauge, LoadStep, Reading, Run

Array = NDArray[np.float64]
MINUTE, HOUR, DAY = 60.0, 3600.0, 86400.0
PRIORS = Priors()
LATER = np.array([30 * DAY])
WALKERS = 100
DEGREES = 4.0
LOG_NOISE = np.log(0.004), np.log(0.06)
LIKELY = np.array([[3.0, 9.0], [10.5, 12.7]])
"""Where most pairs of logarithms of retardation times in s are drawn: of the first and of the second unit."""


def a_run() -> Run:
    """Five days under 1 N, 2 mm at once and 0.3 mm more, and a day of recovery; noise 0.01 mm."""
    loaded = [MINUTE, 10 * MINUTE, HOUR, 6 * HOUR, DAY, 2 * DAY, 3 * DAY, 5 * DAY]
    t = np.array([-MINUTE, *loaded, 5 * DAY + MINUTE, 5 * DAY + HOUR, 6 * DAY])
    steps = (LoadStep(0.0, 1.0), LoadStep(5 * DAY, 0.0))
    run = Run("PETG", Direct(), Gauge(0.001, 0.01, "given"), steps, tuple(Reading(x, 0.0) for x in t), age=7 * DAY)
    n = np.array([0.15])
    size = float(np.diff(PowerFamily().value(np.array([MINUTE, 5 * DAY]), n))[0])
    curve = 2.0 * run.history.at(t) + 0.3 / size * superpose(PowerFamily(), run.history, t, n)[0]
    noisy = 12.0 + curve + 0.01 * np.random.default_rng(0).normal(size=t.size)
    return replace(run, readings=tuple(replace(r, value=float(v)) for r, v in zip(run.readings, noisy, strict=True)))


OBSERVED = observations(a_run())
MEMBERS = members_of(OBSERVED, PRIORS, 7 * DAY)


class Density:
    """Log posterior of (coordinates, instantaneous, creep, log noise), shape (N, d + 3); a log axis by its logarithm."""

    def __init__(self, member: Member, observed: Observations) -> None:
        self.member, self.observed = member, observed
        self.inverse = np.linalg.inv(observed.noise.correlation)
        self.held = observed.history.at(observed.times) / observed.load
        ranges = [np.log((c.low, c.high)) if c.log else (c.low, c.high) for c in member.coordinates]
        self.low, self.high = np.array(ranges).T

    def creep(self, points: Array, times: Array, held: bool = False) -> Array:
        """Creep per unit of it in the test, (N, T), under the run's own load or under the same load held."""
        clock = (lambda t: t) if self.member.rate is None else AgeingClock(self.member.age, self.member.rate)
        history = self.observed.history.until(1.0) if held else self.observed.history
        ends = clock(np.array([self.observed.span.first, self.observed.span.last]))
        roles = [c.role for c in self.member.coordinates]
        along = [np.exp(x) if c.log else x for c, x in zip(self.member.coordinates, points.T, strict=True)]
        shapes = [x for x, role in zip(along, roles, strict=True) if role == "shape"]
        share = along[roles.index("share")] if "share" in roles else np.zeros(len(points))
        shares = [1.0 - share, share]
        total = np.zeros((len(points), times.size))
        for weight, term in zip(shares, self.member.model.terms[1:], strict=False):
            shape = None if term.axis is None else shapes[term.axis]
            column = np.atleast_2d(superpose(term, history.warped(clock), clock(times), shape))
            size = np.diff(term.value(ends) if shape is None else term.value(ends[None, :], shape[:, None]))
            total += weight[:, None] * column / (np.atleast_2d(size) * self.observed.load)
        if "set" in roles:
            under = np.clip(times, 0.0, np.inf if held else 5 * DAY)  # a set grows while the load is on and then stays
            grown = (under / self.observed.span.last) ** self.member.set_growth
            total += points[:, [roles.index("set")]] * np.where(times > 0.0, grown, 0.0)
        return total

    def __call__(self, theta: Array) -> Array:
        points, (instant, creep, log_noise) = theta[:, :-3], theta[:, -3:].T
        inside = ((points > self.low) & (points < self.high)).all(axis=1) & (theta[:, -3:-1] >= 0.0).all(axis=1)
        shapes = points[:, [c.role == "shape" for c in self.member.coordinates]]
        inside &= (np.diff(shapes, axis=1) >= 0.0).all(axis=1) & (np.abs(log_noise) < 20.0)
        out = np.full(len(theta), -np.inf)
        points, instant, creep, noise = points[inside], instant[inside], creep[inside], np.exp(log_noise[inside])
        rest = self.observed.values - instant[:, None] * self.held
        rest = rest - creep[:, None] * self.creep(points, self.observed.times)
        white = rest @ self.inverse
        squares = (white * rest).sum(axis=1) - white.sum(axis=1) ** 2 / self.inverse.sum()  # over the zero, flat
        found = -0.5 * squares / noise**2 - (self.held.size - 1) * np.log(noise)
        found -= 0.5 * (instant / (PRIORS.instant_scale * self.observed.scale)) ** 2
        found -= 0.5 * (creep / (PRIORS.creep_scale * self.observed.scale)) ** 2
        # sigma^2 is degrees times centre^2 over a chi-square of so many
        centre, degrees = self.observed.noise.prior_of(self.observed.scale)
        x = degrees * (centre / noise) ** 2
        found += 0.5 * degrees * np.log(x) - 0.5 * x
        for c, value in zip(self.member.coordinates, points.T, strict=True):
            found += c.log_density(np.exp(value) if c.log else value)
        out[inside] = found
        return out


class Walkers(emcee.EnsembleSampler):
    """A sampler whose density takes all walkers at once; emcee's own then takes its answer apart, one number at a time."""

    def compute_log_prob(self, coords: Array) -> tuple[Array, None]:
        return self.log_prob_fn(coords), None


def walked(density: Density, seed: int, steps: int) -> tuple[Array, float]:
    """Points (N, d + 3) of a chain, and how many independent ones they are worth."""
    rng = np.random.default_rng(seed)
    low = np.concatenate([density.low, [1.9, 0.1, np.log(0.005)]])
    high = np.concatenate([density.high, [2.3, 0.5, np.log(0.05)]])
    box = rng.uniform(low, high, (6000, low.size))
    flat = density(box) / 20.0
    # as many different points as there are walkers, the likelier the sooner
    start = box[np.argsort(flat + rng.gumbel(size=flat.size))[-WALKERS:]]
    moves = [(emcee.moves.DEMove(), 0.6), (emcee.moves.StretchMove(), 0.3), (emcee.moves.DESnookerMove(), 0.1)]
    sampler = Walkers(WALKERS, low.size, density, moves=moves)
    sampler.random_state = np.random.RandomState(seed).get_state()
    sampler.run_mcmc(start, steps)
    chain = sampler.get_chain(discard=steps // 3)
    length = float(emcee.autocorr.integrated_time(chain, quiet=True).max())
    return chain.reshape(-1, low.size), chain.shape[0] * chain.shape[1] / length


def weighed(density: Density, seed: int, draws: int) -> tuple[Array, float]:
    """The same for a member of two Kelvin units, by importance sampling."""
    rng = np.random.default_rng(seed)
    points, inside = _retardations(density, rng, draws)
    noise = np.exp(rng.uniform(*LOG_NOISE, draws))
    share = [c.role for c in density.member.coordinates].index("share")
    units = []
    for only in (0.0, 1.0):
        points[:, share] = only
        units.append(density.creep(points, OBSERVED.times))
    columns = np.stack([np.broadcast_to(density.held, units[0].shape), *units], axis=1)
    ones = density.inverse.sum(axis=0)
    weight = density.inverse - np.outer(ones, ones) / ones.sum()  # the zero is free
    prior = np.array([PRIORS.instant_scale, PRIORS.creep_scale, PRIORS.creep_scale]) * OBSERVED.scale
    precision = (columns @ weight) @ columns.swapaxes(1, 2) / noise[:, None, None] ** 2 + np.diag(prior**-2.0)
    middle = np.linalg.solve(precision, (columns @ (weight @ OBSERVED.values) / noise[:, None] ** 2)[..., None])[..., 0]
    root = np.linalg.cholesky(precision)
    apart = rng.standard_normal((draws, 3)) / np.sqrt(rng.chisquare(DEGREES, draws) / DEGREES)[:, None]
    amplitudes = middle + np.linalg.solve(root.swapaxes(1, 2), apart[..., None])[..., 0]
    proposed = np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1) + np.log(inside)
    proposed -= 0.5 * (DEGREES + 3.0) * np.log1p((apart**2).sum(axis=1) / DEGREES)
    kept = (amplitudes > 0.0).all(axis=1)
    amplitudes, creep = amplitudes[kept], amplitudes[kept, 1:].sum(axis=1)
    points, noise = points[kept], noise[kept]
    points[:, share] = amplitudes[:, 2] / creep
    theta = np.column_stack([points, amplitudes[:, 0], creep, np.log(noise)])
    # a pair of amplitudes is creep and share, which stretches areas by the creep
    log_weight = density(theta) - np.log(creep) - proposed[kept]
    chance = np.exp(log_weight - log_weight.max())
    chance /= chance.sum()
    return theta[rng.choice(chance.size, size=20000, p=chance)], float(1.0 / (chance**2).sum())


def _retardations(density: Density, rng: np.random.Generator, draws: int) -> tuple[Array, Array]:
    """Coordinates drawn over their whole range, and half of them where five days tell most, with their density."""
    points = rng.uniform(density.low, density.high, (draws, density.low.size))
    closer = rng.random(draws) < 0.5
    low, high = LIKELY.T
    points[closer, :2] = rng.uniform(low, high, (int(closer.sum()), 2))
    points[:, :2] = np.sort(points[:, :2], axis=1)
    within = ((points[:, :2] > low) & (points[:, :2] < high)).all(axis=1)
    everywhere = 2.0 / float(np.prod(density.high[:2] - density.low[:2]))  # of a pair in order
    return points, 0.5 * everywhere + 0.5 * within / float(np.prod(high - low))


def differences(member: Member, steps: int = 1500) -> tuple[dict[str, tuple[float, float]], float]:
    """By quantity: what the means differ by, in standard deviations, and the ratio of these; and the chain's worth."""
    density = Density(member, OBSERVED)
    two_units = [c.role for c in member.coordinates].count("shape") == 2
    chain, independent = weighed(density, 7, 100 * steps) if two_units else walked(density, 7, steps)
    found = posterior(member, Likelihood(OBSERVED, PRIORS))
    rng, count = np.random.default_rng(3), 20000
    index = rng.choice(found.log_weight.size, size=count, p=np.exp(found.log_weight))
    instant, creep = found.quadrant.take(index).draw(rng.random(count), rng.random(count))
    nodes = found.nodes.take(index)
    own = {"shape": nodes.shapes, "share": nodes.shares[:, -1:], "set": nodes.set_share[:, None]}
    values = [np.log(own[c.role][:, c.index]) if c.log else own[c.role][:, c.index] for c in member.coordinates]
    mine = np.column_stack([*values, instant, creep, np.log(found.noise[index])])
    names = [f"{c.role} {c.index}" for c in member.coordinates] + ["instant", "creep", "noise"]
    both = {name: (mine[:, i], chain[:, i]) for i, name in enumerate(names)}
    picked = chain[rng.integers(len(chain), size=8000)]
    both["in 30 d"] = (_later(density, mine[:8000]), _later(density, picked))
    compared = {k: (float((a.mean() - b.mean()) / b.std()), float(a.std() / b.std())) for k, (a, b) in both.items()}
    return compared, independent


def _later(density: Density, theta: Array) -> Array:
    """Deformation at 30 d under the load held."""
    return np.asarray(theta[:, -3] + theta[:, -2] * density.creep(theta[:, :-3], LATER, held=True)[:, 0])


def main() -> None:
    for member in MEMBERS:
        found, independent = differences(member)
        what = ", ".join(f"{name} {shift:+.2f} x{ratio:.2f}" for name, (shift, ratio) in found.items())
        print(
            f"{member.label}, set {member.set_growth}, rate {member.rate}: {independent:.0f} independent: {what}",
            flush=True,
        )


if __name__ == "__main__":
    main()
