"""The posterior by quadrature against direct numerical integration, and against a sampling chain (emcee).

`Plain` writes the model down once more, with nothing taken from the code under test but the prior of the exponent: readings
are zero + instantaneous + creep + noise with the stated covariance; only the zero, which is linear with a flat prior, is
integrated by completing the square.
"""

from __future__ import annotations

from dataclasses import replace

import emcee
import numpy as np
import pytest
from member_chains import Walkers
from numpy.typing import NDArray
from scipy.special import gammaln, logsumexp
from scipy.stats import chi2

from creepfit.inference.cells import KEEP, Cells, Grid
from creepfit.inference.columns import Observations, observations
from creepfit.inference.components import Member, UnitCreep, members_of, nodes_of
from creepfit.inference.likelihood import Likelihood
from creepfit.inference.nodes import Nodes
from creepfit.inference.posterior import (
    HOPELESS,
    Posterior,
    _between_scales,
    _seen_by,
    cells_of_each,
    posterior,
    posteriors,
    posteriors_of,
)
from creepfit.inference.priors import Priors
from creepfit.inference.truncated import Quadrant
from creepfit.mechanics.loading import superpose
from creepfit.mechanics.specimen import Direct
from creepfit.models.coordinate import Coordinate
from creepfit.models.power_family import N_HIGH, N_LOW, PowerFamily
from creepfit.records.run import Gauge, LoadStep, Reading, Run

Array = NDArray[np.float64]
MINUTE, HOUR, DAY = 60.0, 3600.0, 86400.0
PRIORS = Priors()


def cells_of(member: Member, nodes: Nodes, shared: Likelihood, noise: Array, log_prior: Array) -> Cells:
    projected = shared.projected(UnitCreep(member, shared.observed.span), nodes)
    return cells_of_each([Grid(nodes, projected, noise, log_prior)], [shared])[0]


def a_run(n: float = 0.15, creep: float = 0.3, seed: int = 0, initial: bool = True) -> Run:
    """Five days under 1 N, 2 mm at once, and a day of recovery; noise 0.01 mm."""
    loaded = [MINUTE, 10 * MINUTE, HOUR, 6 * HOUR, DAY, 2 * DAY, 3 * DAY, 5 * DAY]
    times = [*([-MINUTE] if initial else []), *loaded, 5 * DAY + MINUTE, 5 * DAY + HOUR, 6 * DAY]
    steps = (LoadStep(0.0, 1.0), LoadStep(5 * DAY, 0.0))
    run = Run("PETG", Direct(), Gauge(0.001, 0.01, "given"), steps, tuple(Reading(t, 0.0) for t in times))
    t = np.array(times)
    size = float(np.diff(PowerFamily().value(np.array([MINUTE, 5 * DAY]), np.array(n)))[0])
    curve = 2.0 * run.history.at(t) + creep / size * superpose(PowerFamily(), run.history, t, np.array([n]))[0]
    noisy = 12.0 + curve + 0.01 * np.random.default_rng(seed).normal(size=t.size)
    return replace(run, readings=tuple(replace(r, value=float(v)) for r, v in zip(run.readings, noisy, strict=True)))


def power_family(observed: Observations) -> Member:
    """The member without a set, on plain time."""
    found = [m for m in members_of(observed, PRIORS, None) if m.label == "power family" and m.set_growth is None]
    (one,) = found
    return one


class Plain:
    """Log posterior of (n, instantaneous, creep, noise), arrays of one shape (N,)."""

    def __init__(self, observed: Observations) -> None:
        self.observed = observed
        self.inverse = np.linalg.inv(observed.noise.correlation)
        self.held = observed.history.at(observed.times) / observed.load
        self.ends = np.array([observed.span.first, observed.span.last])

    def columns(self, n: Array) -> Array:
        """Creep per unit of creep between the first and the last reading under load, shape (N, T)."""
        size = np.diff(PowerFamily().value(self.ends[None, :], n[:, None]), axis=1)
        return superpose(PowerFamily(), self.observed.history, self.observed.times, n) / (size * self.observed.load)

    def log_likelihood(self, columns: Array, instant: Array, creep: Array, noise: Array) -> Array:
        """With the zero integrated over a flat prior, and without the constants of the covariance."""
        rest = self.observed.values - instant[:, None] * self.held - creep[:, None] * columns
        white = rest @ self.inverse
        total = (white * rest).sum(axis=1) - white.sum(axis=1) ** 2 / self.inverse.sum()
        free = self.held.size - 1
        return np.asarray(-0.5 * total / noise**2 - 0.5 * free * np.log(2.0 * np.pi * noise**2))

    def log_prior_of_amplitudes(self, instant: Array, creep: Array) -> Array:
        """Half-normal, in units of the run's own deformation."""
        total = np.zeros(instant.shape)
        for value, scale in ((instant, PRIORS.instant_scale), (creep, PRIORS.creep_scale)):
            sd = scale * self.observed.scale
            inside = 0.5 * np.log(2.0 / np.pi) - np.log(sd) - 0.5 * (value / sd) ** 2
            total = total + np.where(value >= 0.0, inside, -np.inf)
        return total

    def log_prior_of_noise(self, noise: Array) -> Array:
        """sigma^2 is 2 ((0.5 stated)^2 + (0.002 deformation)^2) over a chi-square of two degrees, in log sigma."""
        nu = 2.0
        x = nu * ((0.5 * self.observed.noise.stated) ** 2 + (0.002 * self.observed.scale) ** 2) / noise**2
        return np.asarray(np.log(2.0) + 0.5 * nu * np.log(0.5 * x) - 0.5 * x - gammaln(0.5 * nu))


# --- one node ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("creep", "initial"), [(0.3, True), (0.02, True), (0.0, True), (0.3, False)])
@pytest.mark.parametrize("noise", [0.008, 0.02])
def test_one_node_against_a_dense_grid_over_both_amplitudes(creep: float, initial: bool, noise: float) -> None:
    observed = observations(a_run(creep=creep, initial=initial))
    plain = Plain(observed)
    node = Nodes(np.array([[0.2]]), np.ones((1, 1)), np.zeros(1), np.zeros(1))
    cells = cells_of(power_family(observed), node, Likelihood(observed, PRIORS), np.array([noise]), np.zeros(1))
    one = cells.quadrant
    sd0, sd1 = float(np.hypot(one.spread0, one.slope * one.sd1)[0]), float(one.sd1[0])
    instants = _points(float(one.mean0[0]), sd0)
    creeps = _points(float(one.mean1[0]), sd1)
    a, c = (grid.ravel() for grid in np.meshgrid(instants, creeps, indexing="ij"))
    column = np.broadcast_to(plain.columns(np.array([0.2])), (a.size, observed.times.size))
    log_density = plain.log_likelihood(column, a, c, np.full(a.size, noise)) + plain.log_prior_of_amplitudes(a, c)
    top = log_density.max()
    density = np.exp(log_density - top).reshape(instants.size, creeps.size)
    mass = np.trapezoid(np.trapezoid(density, creeps, axis=1), instants)
    assert cells.log_joint[0] == pytest.approx(np.log(mass) + top, abs=1e-4)

    # and what is drawn there has the grid's means and standard deviations
    rng = np.random.default_rng(4)
    many = one.take(np.zeros(40000, dtype=int))
    draws = many.draw(rng.random(40000), rng.random(40000))
    for axis, points, drawn in ((0, instants, draws[0]), (1, creeps, draws[1])):
        marginal = np.trapezoid(density, (creeps, instants)[axis], axis=1 - axis)
        marginal = marginal / np.trapezoid(marginal, points)
        mean = np.trapezoid(points * marginal, points)
        sd = np.sqrt(np.trapezoid((points - mean) ** 2 * marginal, points))
        assert drawn.mean() == pytest.approx(mean, abs=4.0 * sd / np.sqrt(40000))
        assert drawn.std() == pytest.approx(sd, rel=0.02)


def _points(mean: float, sd: float) -> Array:
    """Grid across all the mass of an amplitude that is not negative."""
    return np.linspace(max(mean - 8.0 * sd, 0.0), max(mean + 8.0 * sd, 8.0 * sd), 300)


@pytest.mark.parametrize("creep", [0.3, 0.02, 0.0])
def test_no_cell_that_matters_is_left_out(creep: float) -> None:
    """Every cell worked out by itself, from columns laid out in full: what was kept, and only that, is within reach."""
    observed = observations(a_run(creep=creep))
    shared = Likelihood(observed, PRIORS)
    noise, log_prior = shared.noise_grid(*shared.noise_range(), 7)
    (member,) = [m for m in members_of(observed, PRIORS, None) if m.model.name == "kelvin-chain" and m.set_growth == 0.0]
    nodes = nodes_of(member).take(np.arange(0, nodes_of(member).log_prior.size, 7))
    cells = cells_of(member, nodes, shared, noise, log_prior)

    columns = UnitCreep(member, observed.span).columns_at(observed, nodes) @ shared.transform.T
    x = np.stack([np.broadcast_to(shared.instant, columns.shape), columns], axis=2)  # (M, T, 2)
    per_noise = noise[:, None, None] ** -2.0
    precision = np.einsum("mtk,mtl->mkl", x, x)[:, None] * per_noise + np.diag(shared.prior_precision)
    h = (np.einsum("mtk,t->mk", x, shared.values)[:, None, :] * per_noise[..., 0])[..., None]
    mean = np.linalg.solve(precision, h)
    fit = np.sum(h * mean, axis=(2, 3)) - shared.values @ shared.values / noise**2
    whole = 0.5 * (fit - np.linalg.slogdet(precision)[1] - shared.free * np.log(2.0 * np.pi * noise**2))
    whole += 0.5 * np.log(16.0 * np.prod(shared.prior_precision)) + log_prior + nodes.log_prior[:, None]
    p, q = precision, h[..., 0]
    flat = (a.ravel() for a in (p[..., 0, 0], p[..., 0, 1], p[..., 1, 1], q[..., 0], q[..., 1]))
    whole += Quadrant.from_precision(*flat).log_probability().reshape(whole.shape)

    assert cells.log_joint == pytest.approx(whole[cells.node, cells.scale], abs=1e-6)
    kept = np.zeros(whole.shape, dtype=bool)
    kept[cells.node, cells.scale] = True
    assert kept.any()
    assert not kept.all()
    assert whole[~kept].max() < whole.max() - KEEP + 1e-6


def test_a_prior_sums_to_one_over_its_grid() -> None:
    """Also that of two retardation times in ascending order, whose grid is cut along its diagonal."""
    for member in members_of(observations(a_run()), PRIORS, 1e6):
        for fine in (False, True):
            total = float(np.exp(nodes_of(member, fine=fine).log_prior).sum())
            # the share of flow has a density that rises as a root at nought
            assert total == pytest.approx(1.0, abs=7e-2 if member.flows else 1e-4)


# --- a whole member ---------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module", params=[0.3, 0.03], ids=["much creep", "little creep"])
def case(request: pytest.FixtureRequest) -> tuple[Observations, Posterior]:
    observed = observations(a_run(creep=request.param))
    return observed, posterior(power_family(observed), Likelihood(observed, PRIORS))


def test_weights_sum_to_one(case: tuple[Observations, Posterior]) -> None:
    _, found = case
    assert logsumexp(found.log_weight) == pytest.approx(0.0, abs=1e-12)
    assert found.noise.shape == found.log_weight.shape == found.quadrant.mean0.shape == (found.nodes.shapes.shape[0],)


def test_evidence_of_a_member_against_a_finer_integral(case: tuple[Observations, Posterior]) -> None:
    """The same integral over exponent and noise on a grid ten times as fine, each node as tested above."""
    observed, found = case
    one, shared, plain = found.member, Likelihood(observed, PRIORS), Plain(observed)
    n = N_LOW + (N_HIGH - N_LOW) * (np.arange(400) + 0.5) / 400
    log_noise = np.log(observed.noise.stated) + np.linspace(np.log(0.2), np.log(8.0), 120)
    log_prior = plain.log_prior_of_noise(np.exp(log_noise)) + np.log(log_noise[1] - log_noise[0])
    nodes = Nodes(n[:, None], np.ones((400, 1)), np.zeros(400), _log_prior_of_n(one, n))
    cells = cells_of(one, nodes, shared, np.exp(log_noise), log_prior)
    log_joint = np.full((400, 120), -np.inf)
    log_joint[cells.node, cells.scale] = cells.log_joint
    assert found.log_evidence == pytest.approx(float(logsumexp(log_joint)), abs=0.02)

    weight = np.exp(logsumexp(log_joint, axis=1) - logsumexp(log_joint))
    mean = float(weight @ n)
    variance = float(weight @ (n - mean) ** 2)
    own = float(np.exp(found.log_weight) @ found.nodes.shapes[:, 0])
    assert own == pytest.approx(mean, abs=0.03 * np.sqrt(variance))
    assert np.exp(found.log_weight) @ (found.nodes.shapes[:, 0] - own) ** 2 == pytest.approx(variance, rel=0.05)

    weight = np.exp(logsumexp(log_joint, axis=0) - logsumexp(log_joint))
    mean, chance, scales = float(weight @ log_noise), np.exp(found.log_weight), np.log(found.noise)
    sd = float(np.sqrt(weight @ (log_noise - mean) ** 2))
    assert chance @ scales == pytest.approx(mean, abs=0.03 * sd)
    assert np.sqrt(chance @ (scales - mean) ** 2) == pytest.approx(sd, rel=0.03)


def test_many_readings_leave_scales_of_the_noise_enough_to_see_it() -> None:
    """Its logarithm has a standard deviation of 1/sqrt(2 N): a tenth of a cell of the coarse grid with 400 readings."""
    times = np.geomspace(MINUTE, 5 * DAY, 400)
    n, rng = np.array([0.15]), np.random.default_rng(2)
    size = float(np.diff(PowerFamily().value(times[[0, -1]], n))[0])
    curve = 2.0 + 0.3 / size * PowerFamily().value(times, n) + 0.01 * rng.normal(size=400)
    readings = (Reading(-MINUTE, 12.0), *(Reading(float(t), 12.0 + float(y)) for t, y in zip(times, curve, strict=True)))
    gauge = Gauge(0.001, 0.01, "given", drift=0.0)
    observed = observations(Run("PETG", Direct(), gauge, (LoadStep(0.0, 1.0),), readings))
    found = posterior(power_family(observed), Likelihood(observed, PRIORS))
    assert np.unique(found.noise).size >= 4
    chance, scales = np.exp(found.log_weight), np.log(found.noise)
    mean = float(chance @ scales)
    assert mean == pytest.approx(np.log(0.01), abs=0.1)
    assert np.sqrt(chance @ (scales - mean) ** 2) == pytest.approx(1.0 / np.sqrt(2.0 * 397), rel=0.1)


@pytest.mark.parametrize("repeats", [1, 3, 12])
def test_the_prior_of_the_noise_is_a_scaled_inverse_chi_square(repeats: int) -> None:
    spread = 0.012 if repeats > 1 else None
    run = a_run()
    readings = tuple(replace(r, repeats=repeats, spread=spread) for r in run.readings[:2]) + run.readings[2:]
    observed = observations(replace(run, readings=readings))
    centre, degrees = observed.noise.prior_of(observed.scale)
    assert (degrees > 2.0) == (repeats > 1)
    scales, log_prior = Likelihood(observed, PRIORS).noise_grid(1e-2 * centre, 1e4 * centre, 4000)
    below = np.cumsum(np.exp(log_prior))
    assert below[-1] == pytest.approx(1.0, abs=1e-3)
    for probability in (0.1, 0.5, 0.9):
        exact = centre * np.sqrt(degrees / chi2(degrees).isf(probability))
        assert np.interp(probability, below, scales) == pytest.approx(exact, rel=5e-3)


def _log_prior_of_n(one: Member, n: Array) -> Array:
    """Normalised on the grid n, which covers the whole range."""
    (coordinate,) = one.coordinates
    log_density = coordinate.log_density(n)
    return np.asarray(log_density - logsumexp(log_density))


def test_the_prior_of_a_grid_sums_to_one() -> None:
    observed = observations(a_run())
    for one in members_of(observed, PRIORS, age=7 * DAY):
        # of two retardation times the cells on the diagonal, where both fall into one, are left out: a tenth at most
        left_out = 0.11 if one.model.name == "kelvin-chain" else 0.0
        for fine in (False, True):
            assert logsumexp(nodes_of(one, fine=fine).log_prior) == pytest.approx(0.0, abs=0.05 + left_out)


def test_a_whole_member_against_a_sampling_chain(case: tuple[Observations, Posterior]) -> None:
    observed, found = case
    plain, (coordinate,) = Plain(observed), found.member.coordinates

    def log_posterior(theta: Array) -> Array:
        n, instant, creep, log_noise = theta.T
        inside = (n > N_LOW) & (n < N_HIGH) & (instant >= 0.0) & (creep >= 0.0) & (np.abs(log_noise) < 20.0)
        out = np.full(n.size, -np.inf)
        n, instant, creep, noise = n[inside], instant[inside], creep[inside], np.exp(log_noise[inside])
        out[inside] = (
            plain.log_likelihood(plain.columns(n), instant, creep, noise)
            + plain.log_prior_of_amplitudes(instant, creep)
            + plain.log_prior_of_noise(noise)
            + coordinate.log_density(n)
        )
        return out

    # many walkers and few steps: a density of many points at once costs little more than one of a few
    rng, walkers = np.random.default_rng(3), 400
    start = np.column_stack([rng.uniform(0.0, 0.4, walkers), rng.normal(2.0, 0.02, walkers),
                             rng.uniform(0.01, 0.4, walkers), np.log(0.01) + rng.normal(0.0, 0.1, walkers)])  # fmt: skip
    sampler = Walkers(walkers, 4, log_posterior)
    sampler.random_state = np.random.RandomState(7).get_state()
    sampler.run_mcmc(start, 800)
    chain = sampler.get_chain(discard=300)
    length = float(emcee.autocorr.integrated_time(chain, quiet=True).max())
    independent = chain.shape[0] * chain.shape[1] / length
    assert independent > 4000

    count = 40000
    index = rng.choice(found.log_weight.size, size=count, p=np.exp(found.log_weight))
    instant, creep = found.quadrant.take(index).draw(rng.random(count), rng.random(count))
    mine = np.column_stack([found.nodes.shapes[index, 0], instant, creep, np.log(found.noise[index])])
    sampled = chain.reshape(-1, 4)
    later = np.array([30 * DAY])
    quantities = {name: (mine[:, i], sampled[:, i]) for i, name in enumerate(("n", "instant", "creep", "noise"))}
    quantities["in 30 d"] = (_at(plain, mine, later), _at(plain, sampled, later))
    error = 4.0 / np.sqrt(independent)  # four standard errors of a mean, in standard deviations
    for name, (drawn, walked) in quantities.items():
        sd = walked.std()
        assert drawn.mean() == pytest.approx(walked.mean(), abs=(error + 0.02) * sd)
        assert drawn.std() == pytest.approx(sd, rel=error + 0.05)
        if name == "noise":  # seven values of it carry the integral, not its quantiles
            continue
        wanted = np.quantile(walked, [0.05, 0.5, 0.95])
        assert np.quantile(drawn, [0.05, 0.5, 0.95]) == pytest.approx(wanted, abs=(2.5 * error + 0.06) * sd)


def _at(plain: Plain, theta: Array, time: Array) -> Array:
    """Deformation at a time under the load held."""
    n = theta[:, 0]
    size = np.diff(PowerFamily().value(plain.ends[None, :], n[:, None]), axis=1)[:, 0]
    return np.asarray(theta[:, 1] + theta[:, 2] * PowerFamily().value(time[None, :], n[:, None])[:, 0] / size)


# --- what must not matter ---------------------------------------------------------------------------------------------


def test_evidence_does_not_depend_on_where_the_gauge_stands() -> None:
    run = a_run()
    moved = replace(run, readings=tuple(replace(r, value=r.value + 100.0) for r in run.readings))
    evidence = []
    for one in (run, moved):
        observed = observations(one)
        evidence.append(posterior(power_family(observed), Likelihood(observed, PRIORS)).log_evidence)
    assert evidence[1] == pytest.approx(evidence[0], abs=1e-6)


def test_units_of_length_change_no_ratio_of_evidence() -> None:
    run = a_run()
    readings = tuple(replace(r, value=1000.0 * r.value) for r in run.readings)
    micrometres = replace(run, gauge=Gauge(1.0, 10.0, "given"), readings=readings)
    ratios = []
    for one in (run, micrometres):
        observed = observations(one)
        shared = Likelihood(observed, PRIORS)
        evidence = [posterior(m, shared).log_evidence for m in members_of(observed, PRIORS, None)[:4]]
        ratios.append(np.diff(evidence))
    assert ratios[1] == pytest.approx(ratios[0], abs=1e-6)


def test_members_gone_through_together_come_out_as_each_alone() -> None:
    observed = observations(a_run())
    shared = Likelihood(observed, PRIORS)
    members = members_of(observed, PRIORS, None)
    together = posteriors(members, shared)
    best = -np.inf
    compared = 0
    for member, found in zip(members, together, strict=True):
        if found.log_evidence > best - HOPELESS:  # one far behind has had its coarse pass only
            alone = posterior(member, shared)
            assert found.log_evidence == pytest.approx(alone.log_evidence, rel=1e-12)
            np.testing.assert_allclose(found.log_weight, alone.log_weight, rtol=0.0, atol=1e-9)
            np.testing.assert_allclose(found.nodes.shapes, alone.nodes.shapes, rtol=1e-6)
            compared += 1
        best = max(best, found.log_evidence)
    assert compared >= 4


def test_likelihoods_gone_through_together_come_out_as_each_alone() -> None:
    """Other readings, another gauge, no zero: nothing of one likelihood gets into the nodes of another's grid."""
    coarse = replace(a_run(seed=2), gauge=Gauge(0.001, 0.05, "given"))
    runs = a_run(), a_run(creep=0.05, seed=1), coarse, a_run(initial=False)
    problems = [(m, Likelihood(o, PRIORS)) for o in map(observations, runs) for m in members_of(o, PRIORS, None)[:3]]
    for problem, found in zip(problems, posteriors_of(problems), strict=True):
        alone = posterior(*problem)
        assert found.log_evidence == pytest.approx(alone.log_evidence, rel=1e-12)
        np.testing.assert_allclose(found.log_weight, alone.log_weight, rtol=0.0, atol=1e-9)
        np.testing.assert_allclose(found.noise, alone.noise, rtol=1e-12)


def test_a_member_is_not_given_up_between_two_noise_scales() -> None:
    """Hundreds of readings tell the noise to 4 %, where the scales of the first pass are a factor of 1.5 apart."""
    run, t = a_run(), np.linspace(-600.0, 5.5 * DAY, 400)
    observed = observations(replace(run, readings=tuple(Reading(at, 0.0) for at in t.tolist())))
    creep = superpose(PowerFamily(), run.history, t, np.array([0.2]))[0]
    curve = 2.0 * run.history.at(t) + 0.5 * creep / (5 * DAY) ** 0.2
    shared = Likelihood(observed.with_values(curve + 0.0102 * np.random.default_rng(3).normal(size=t.size)), PRIORS)
    plain = [m for m in members_of(observed, PRIORS, None) if m.set_growth is None]
    members = [next(m for m in plain if m.model.name == name) for name in ("power-family", "stretched-exponential")]
    first, second = posteriors(members, shared)
    assert first.log_evidence - 5.0 < second.log_evidence < first.log_evidence
    assert second.log_evidence == pytest.approx(posterior(members[1], shared).log_evidence, abs=0.01)


@pytest.mark.parametrize(("held", "power", "spare"), [(8, 3, 4), (6, 2, 3), (4, 1, 2), (2, 1, 0)])
def test_the_noise_is_first_looked_for_about_a_curve_that_leaves_readings_to_spare(
    held: int, power: int, spare: int
) -> None:
    """A polynomial of log time, up to a cubic: it has what such a curve has, and shows as noise what it has not."""
    run = a_run()
    times = np.array([-MINUTE, *np.geomspace(MINUTE, 4 * DAY, held)])
    observed = observations(replace(run, steps=run.steps[:1], readings=tuple(Reading(t, 0.0) for t in times.tolist())))
    log = np.log1p(np.maximum(times, 0.0))
    like = [Likelihood(observed.with_values(12.0 + (times > 0.0) * log**p), PRIORS) for p in (power, power + 1)]
    assert like[0].misfit == (pytest.approx(0.0, abs=1e-6), spare)
    assert like[1].misfit[0] > 0.1 or spare == 0


def test_the_nodes_of_a_grid_give_back_the_values_it_was_laid_over() -> None:
    """Shares of flow are of what a flow beside the model leaves, and retardation times in ascending order."""
    observed = observations(a_run())
    beside = 0
    for member in members_of(observed, PRIORS, 7 * DAY):
        nodes = nodes_of(member)
        for c in member.coordinates:
            laid = c.grid(c.low, c.high, c.coarse)
            values = np.unique(_values(member, c, nodes.every))
            assert (np.abs(values[:, None] / laid - 1.0).min(axis=1) < 1e-9).all()
            assert values.max() == pytest.approx(laid[-1])
        beside += member.flow_beside and any(c.role == "share" for c in member.coordinates)
        every = np.arange(nodes.log_prior.size)
        assert _seen_by(nodes, every)
        first = _values(member, member.coordinates[0], nodes.every)
        assert not _seen_by(nodes, np.flatnonzero(first <= np.unique(first)[1]))
        some = every[:: 1 + every.size // 5]
        for c, values in zip(member.coordinates, nodes.reached(some), strict=True):
            apart = np.abs(values[:, None] / _values(member, c, nodes.take(some)) - 1.0)
            assert apart.min(axis=0).max() < 1e-9
            assert apart.min(axis=1).max() < 1e-9
            assert (np.diff(values) > 0.0).all()
    assert beside


def _values(member: Member, coordinate: Coordinate, nodes: Nodes) -> NDArray[np.float64]:
    """Values of a coordinate of a member at nodes (M,), by what the nodes are made of."""
    if coordinate.role == "shape":
        return nodes.shapes[:, coordinate.index]
    if coordinate.role == "set":
        return nodes.set_share
    if coordinate.role == "share" and member.flow_beside:
        return nodes.shares[:, -2] / (1.0 - nodes.shares[:, -1])
    return nodes.shares[:, -1]


def test_what_lies_between_two_noise_scales_is_the_loss_of_a_chi_square() -> None:
    """Of 500 readings that scatter by exactly 1 the log likelihood at the best scale less that half a step off it."""
    step = np.log(1.5)
    scales = np.exp(0.5 * np.array([-step, step]))

    def log_likelihood(scale: float) -> float:
        return float(-500 * np.log(scale) - 0.5 * 500 / scale**2)

    assert _between_scales(scales, 500) == pytest.approx(log_likelihood(1.0) - log_likelihood(float(scales[0])))


def test_without_an_initial_reading_the_instantaneous_part_keeps_its_prior() -> None:
    """Its column is the zero's own, and what rounding leaves of it says nothing."""
    run = a_run(initial=False)
    observed = observations(replace(run, readings=tuple(r for r in run.readings if r.time <= 5 * DAY)))
    shared = Likelihood(observed, PRIORS)
    assert not shared.instant.any()
    found = posterior(power_family(observed), shared)
    np.testing.assert_allclose(found.quadrant.mean0, 0.0, atol=1e-9)
    np.testing.assert_allclose(found.quadrant.spread0, PRIORS.instant_scale * observed.scale)
