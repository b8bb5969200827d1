"""What is believed of a material before it is tested: draws of specimens that could be, to try a plan on.

Every number is said with its source; an earlier run of the material takes the place of all of them.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from creepfit.answers.doubts.material import usual_modulus
from creepfit.inference.columns import Observations
from creepfit.inference.components import Member, UnitCreep, members_of, nodes_of
from creepfit.inference.mixture import Draws, Mixture
from creepfit.inference.nodes import Nodes
from creepfit.inference.posterior import Posterior
from creepfit.inference.priors import Priors, priors_for
from creepfit.inference.run_fit import Fit
from creepfit.inference.truncated import Quadrant
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.models.coordinate import ExponentPrior
from creepfit.records.part import DEFAULT_SCATTER
from creepfit.units import show_number

LEAST_SHARE = 0.5
"""Specimens that could be creep by two processes at once, each as one model has it; the first has this share or more. So
they are like no model of the mixture, as real ones are: tried on specimens of single models, five days at a year were
promised a 90 % interval of ±4 % where truths outside the mixture had ±7 % (median)."""

UNLIKE = 0.2
"""Share of the specimens whose second process is drawn from all models alike, with any exponent: what no table of weights
expects, such as a second, steeper power of time, or a unit that comes late (judgement)."""

ANY_EXPONENT = ExponentPrior(0.2, 0.15)
"""Exponent of such a process: wider than of any kind of plastic (judgement)."""

COPIES = 6
"""Moduli and creep that each node of a member is tried with."""

NINETY = 1.645

CREEP_SHARE: dict[str, tuple[float, float]] = {
    "glassy": (0.23, 0.45),
    "semicrystalline": (0.38, 0.5),
    "fibre-filled": (0.19, 0.4),
    "": (0.27, 0.53),
}
"""Median and log standard deviation of D(100 h)/D(1 h) - 1 at 23 °C: 195 published tensile creep curves of moulded
thermoplastics (suppliers' creep moduli to ISO 899-1, collected by Lobato et al., Int. J. Solids Struct. (2024) 113014), of
which 43 glassy, 90 semicrystalline, 46 fibre-filled."""


@dataclass(frozen=True, eq=False)
class Specimens:
    """Specimens that could be: J draws of a response, brought to the size and gauge of the planned test.

    Attributes
    ----------
    draws : Draws
    factor : ndarray, shape (J,)
        What the draws' deformation is multiplied by.
    noise : ndarray, shape (J,)
        Noise of the gauge that each is read with, mm (strain).
    second : Draws
    partner, share : ndarray, shape (J,)
        The draw of `second` whose way of creeping each has too, and the share of its own; both deform alike at a minute.
    """

    draws: Draws = field(repr=False)
    factor: Array
    noise: Array
    second: Draws = field(repr=False)
    partner: NDArray[np.intp]
    share: Array

    def deformation(self, history: LoadHistory, times: Array) -> Array:
        """Deformation at times (T,) [s] under a history of loads in N (MPa), shape (J, T)."""
        held, minute = LoadHistory.held(self.draws.observed.load), np.array([60.0])
        own, early = (self.draws.deformation(h, t) for h, t in ((history, times), (held, minute)))
        other, start = (self.second.deformation(h, t)[self.partner] for h, t in ((history, times), (held, minute)))
        other = other * (early / start)
        return np.asarray(self.factor[:, None] * (self.share[:, None] * own + (1.0 - self.share[:, None]) * other))


@dataclass(frozen=True, eq=False)
class Beliefs:
    """What is believed of a material.

    Attributes
    ----------
    material : str
    kind : str or None
    priors : Priors
        Of the fit that is to come.
    earlier : Fit or None
        A run of the material that was tested already: specimens are then like it, but for scatter.
    """

    material: str
    kind: str | None
    priors: Priors
    earlier: Fit | None = field(default=None, repr=False)

    @cached_property
    def modulus(self) -> tuple[float, float, str]:
        """Usual range of the 1-minute modulus, MPa, and whose it is."""
        return usual_modulus(self.material)

    @property
    def creep_share(self) -> tuple[float, float]:
        """Median and log standard deviation of the creep from 1 to 100 h over the deformation at 1 h."""
        return CREEP_SHARE[self.kind or ""]

    @property
    def exponent(self) -> float:
        """Of creep in time, as believed."""
        return self.priors.exponent.location

    @property
    def assumptions(self) -> tuple[str, ...]:
        """Each in words, with its source."""
        scatter = f"scatter between specimens {100.0 * DEFAULT_SCATTER:g} %, one standard deviation"
        between = f"{scatter} (common practice, no source)"
        if self.earlier is not None:
            return (f"specimens like that of the earlier run of {self.earlier.label}, as it was fitted", between)
        low, high, whose = self.modulus
        median, _ = self.creep_share
        exponent = self.priors.exponent
        return (
            f"modulus after a minute {show_number(low)} to {show_number(high)} MPa, usual for {whose} (from memory)",
            f"creep from 1 to 100 h: {100.0 * median:.0f} % of the deformation at 1 h, give or take a factor of "
            f"{np.exp(self.creep_share[1]):.1f} ({self.kind or 'moulded'} thermoplastics, of 195 published curves to ISO "
            "899-1 collected by Lobato et al. 2024)",
            f"exponent of creep in time {exponent.location:g}, scale {exponent.scale:g}; models and their weights as in "
            "every fit, flow among them; each specimen creeps by two of them at once, the second one in "
            f"{100.0 * UNLIKE:.0f} % of them any of these models alike with an exponent of {ANY_EXPONENT.location:g}, "
            f"scale {ANY_EXPONENT.scale:g}",
            between,
        )

    def specimens(self, observed: Observations, count: int, seed: int) -> Specimens:
        """Draw specimens for a test as it would be read: `observed` gives its load, span, geometry and gauge."""
        rng = np.random.default_rng([seed, count])
        noise = observed.noise.stated * _scales(observed.noise.degrees, count, rng)
        if self.earlier is None:
            usual = self._before_readings(observed, self.priors, seed)
            any_ = self._before_readings(observed, self._unlike, seed + 1)
            weights = np.concatenate([(1.0 - UNLIKE) * usual.weights, UNLIKE * any_.weights])
            second = replace(usual, posteriors=usual.posteriors + any_.posteriors, weights=weights)
            partner, share = rng.permutation(count), rng.uniform(LEAST_SHARE, 1.0, count)
            draws, others = (m.draws(count, seed) for m in (usual, second))
            return Specimens(draws, np.ones(count), noise, others, partner, share)
        draws = self.earlier.mixture.draws(count, seed)
        factor = np.exp(DEFAULT_SCATTER * rng.standard_normal(count)) * observed.factor / self.earlier.observed.factor
        return Specimens(draws, factor, noise, draws, np.arange(count), np.ones(count))

    @property
    def _unlike(self) -> Priors:
        """Every model alike, with any exponent."""
        return replace(self.priors, exponent=ANY_EXPONENT, weights=dict.fromkeys(self.priors.weights_by_name(), 1.0))

    def _before_readings(self, observed: Observations, priors: Priors, seed: int) -> Mixture:
        """The models before any reading, with amplitudes by the usual modulus and creep."""
        # before any reading the models that flow stand for those that do so beside a rest
        members = [m for m in members_of(observed, priors, None) if not m.flow_beside]
        rng = np.random.default_rng(seed)
        posteriors = tuple(self._before(member, observed, rng) for member in members)
        weights = np.array([m.weight for m in members])
        return Mixture(posteriors, weights / weights.sum(), observed, priors)

    def _before(self, member: Member, observed: Observations, rng: np.random.Generator) -> Posterior:
        laid = nodes_of(member)
        place = np.tile(np.arange(laid.log_prior.size), COPIES)
        nodes, count = laid.take(place), place.size
        low, high, _ = self.modulus
        middle, half = np.sqrt(low * high), 0.5 * np.log(high / low) / NINETY
        modulus = middle * np.exp(half * rng.standard_normal(count))
        median, spread = self.creep_share
        span = observed.span
        decades = np.log10(span.last / span.first)
        share = median * np.exp(spread * rng.standard_normal(count))
        first = observed.load * observed.factor / modulus
        creep = first * ((1.0 + share) ** (decades / 2.0) - 1.0)
        instant = np.maximum(first - creep * _at_first(member, nodes, observed), 0.05 * first)
        sure = 1e-6 * first
        quadrant = Quadrant(instant, creep, sure, np.zeros(count), sure)
        noise = np.full(count, observed.noise.stated)
        return Posterior(member, laid, place, noise, nodes.log_prior - np.log(COPIES), quadrant, 0.0)


def _at_first(member: Member, nodes: Nodes, observed: Observations) -> Array:
    """Creep that is there at the first reading already, over that between the first and the last, shape (M,)."""
    unit = UnitCreep(member, observed.span)
    return unit.columns(nodes, LoadHistory.held(1.0), np.array([observed.span.first]))[:, 0]


def _scales(degrees: float, count: int, rng: np.random.Generator) -> Array:
    """Noise over that of the gauge as stated: the root of a scaled inverse chi-square, as the fit believes."""
    return np.asarray(np.sqrt(degrees / rng.chisquare(degrees, count)))


def beliefs(
    material: str, kind: str | None, given: tuple[tuple[str, float], ...] = (), earlier: Fit | None = None
) -> Beliefs:
    """What is believed of a material by its name and kind, or by an earlier run of it."""
    priors = priors_for(kind, given) if earlier is None else earlier.priors
    return Beliefs(material, kind, priors, earlier)
