"""The load of a planned test: large enough to see creep by the gauge, small enough to be in proportion."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from creepfit.answers.plan.beliefs import Beliefs
from creepfit.answers.wording import size
from creepfit.errors import InputError
from creepfit.records.begun import BegunRun
from creepfit.records.planned import Tables
from creepfit.units import HOUR, MINUTE, STANDARD_GRAVITY, show_number, unit_of

SMALL_STRAIN = 0.003
"""Strain after a minute that most plastics creep in proportion to stress at (common practice, no source)."""

LINEAR_STRAIN = 0.005
"""Strain from which on creep of most plastics is out of proportion to stress (common practice, no source)."""

BREAKING_STRAIN = 0.01
"""Strain that many plastics craze or break under within days, though they bear it a minute (common practice, no source)."""

LARGEST_SHARE = 0.1
"""Deflection over span beyond which the formula of small deflections is off by more than a gauge shows."""

SEVERAL = 2.5
"""Times the part's stress that are tested at most: three times as far off its creep would be doubted again."""

SEEN = 20.0
"""Gauge noises that creep after the first hour should come to, so that its shape is seen (common practice, no source)."""

WEIGHTS = np.array([1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0])
"""Weights that can be made up, times a power of ten kg."""


@dataclass(frozen=True)
class PlannedLoad:
    """A load and what it is expected to do.

    `value` in N (MPa); `text` as written into the file, `key` what it is ("mass", "force", "stress"); `at_once` and `creep`
    how far the gauge moves in the first minute, and from `early` to the test's end, smallest and largest, mm (strain);
    `strain` at the surface after a minute, as a fraction; `stress` in MPa; `why` how it was chosen.
    """

    value: float
    key: str
    text: str
    at_once: tuple[float, float]
    creep: tuple[float, float]
    strain: float
    stress: float
    noise: float
    why: str

    @property
    def none(self) -> str:
        """No load, in the same unit."""
        return f"0 {unit_of(self.text)}"

    @property
    def is_seen(self) -> bool:
        """Whether creep beyond the first hour is many times the gauge's noise, at its usual size."""
        return float(np.sqrt(self.creep[0] * self.creep[1])) > SEEN * self.noise


def planned_load(
    begun: BegunRun,
    belief: Beliefs,
    tables: Tables,
    stress: float | None,
    length: float,
    of_part: float | None = None,
) -> PlannedLoad:
    """The load of the tables where they have one, that of a stress asked for, of the part's, or the one proposed.

    The part's stress is left where a larger one is in proportion, too, and so tells more of the same creep.

    Raises
    ------
    InputError
        A load and a stress.
    """
    geometry = begun.specimen.geometry
    assert geometry.stress_per_load is not None
    low, high = _moduli(begun, belief)
    middle = float(np.sqrt(low * high))
    if begun.steps:
        if stress is not None:
            raise InputError(key="stress", found="a stress, and a load", expected="one of them")
        value = max((s.value for s in begun.steps), key=abs)
        key, text = _as_written(tables, value)
        given = _described(begun, belief, value, key, text, "as given", length)
        return replace(given, why="; ".join(("as given", *_against(begun, given))))
    if stress is None and of_part is not None:
        as_part = planned_load(begun, belief, tables, of_part, length)
        shown = f"{show_number(of_part, digits=2)} MPa"
        more = planned_load(begun, belief, tables, None, length)
        if not as_part.is_seen:
            return replace(more, why=f"{more.why}; under the part's {shown} the gauge would hardly see creep")
        if more.value > as_part.value:
            several = planned_load(begun, belief, tables, min(more.stress, SEVERAL * of_part), length)
            tells = "creep is in proportion, so that the gauge sees more of the same (common practice, no source)"
            why = f"above the part's {shown}: up to about {100.0 * SMALL_STRAIN:g} % strain {tells}"
            return replace(several, why=why)
        return replace(as_part, why="; ".join((f"the part's {shown}", *_against(begun, as_part))))
    lever = float(tables.get("rig", {}).get("lever", 1.0))
    wanted = SMALL_STRAIN * middle if stress is None else stress
    force = wanted / geometry.stress_per_load
    why = (
        f"about {100.0 * SMALL_STRAIN:g} % strain, where creep is in proportion to stress for most plastics (common "
        "practice, no source)"
        if stress is None
        else "the stress asked for"
    )
    deepest = _deepest(begun)
    moved = force * geometry.reading_per_compliance / low * (1.0 + _growth(belief, length, 1.0))
    if deepest is not None and moved > deepest[0]:
        force *= deepest[0] / moved
        why = deepest[1]
    mass = force / (STANDARD_GRAVITY * lever)
    kilograms = _round_weight(mass)
    return _described(begun, belief, kilograms * STANDARD_GRAVITY * lever, "mass", f"{kilograms:g} kg", why, length)


def _against(begun: BegunRun, load: PlannedLoad) -> Iterator[str]:
    """What speaks against a load that was given, in words; nothing where it is fine."""
    over = f"{show_number(100.0 * load.strain, digits=2)} % strain"
    if load.strain > BREAKING_STRAIN:
        yield (
            f"TOO LARGE: under {over} many plastics craze or break within days, and creep is out of proportion to stress "
            f"(common practice, no source); {100.0 * SMALL_STRAIN:g} % would be usual"
        )
    elif load.strain > LINEAR_STRAIN:
        yield (
            f"LARGE: at {over} creep of most plastics is out of proportion to stress (common practice, no source), so that "
            f"the run holds for this stress alone; {100.0 * SMALL_STRAIN:g} % would be usual"
        )
    deepest = _deepest(begun)
    if deepest is not None and float(np.sqrt(load.at_once[0] * load.at_once[1])) > deepest[0]:
        yield f"TOO LARGE: the gauge may move only {deepest[1]}"
    if not load.is_seen:
        yield f"SMALL: creep should come to {SEEN:g} times the gauge's noise for its shape to be seen"


def _as_written(tables: Tables, value: float) -> tuple[str, str]:
    """Key and text of a load that is held, as in its file; in N where there are several."""
    loads = [load for load in tables.get("load", []) if isinstance(load, dict)]
    written = {key: str(load[key]) for load in reversed(loads) for key in ("mass", "force") if key in load}
    steps = [text for text in written.values() if unit_of(text)]
    if len(steps) == 1 and len(loads) <= 2:
        return next((key, text) for key, text in written.items() if text == steps[0])
    return "force", f"{value:.6g} N"


def _moduli(begun: BegunRun, belief: Beliefs) -> tuple[float, float]:
    if belief.earlier is None:
        return belief.modulus[0], belief.modulus[1]
    compliance = belief.earlier.draws.compliance(np.array([60.0]))[:, 0]
    low, high = 1.0 / np.quantile(compliance, [0.95, 0.05])
    return float(0.85 * low), float(1.15 * high)  # another specimen of it


def _growth(belief: Beliefs, length: float, sds: float) -> float:
    """Creep from `early` to the end over the deformation then, so many log standard deviations above the median."""
    median, spread = belief.creep_share
    decades = max(np.log10(length / early(length)), 0.3)
    return float((1.0 + median * np.exp(sds * spread)) ** (decades / 2.0) - 1.0)


def early(length: float) -> float:
    """What creep is counted from where it is reported: an hour, in a short test a minute; s."""
    return HOUR if length > 3.0 * HOUR else MINUTE


def _deepest(begun: BegunRun) -> tuple[float, str] | None:
    """How far the gauge may move, mm, and why."""
    limits = []
    if begun.specimen.deflects and begun.specimen.geometry.span is not None:
        limits.append(
            (LARGEST_SHARE * begun.specimen.geometry.span, "as far as a tenth of the length, beyond which formulas fail")
        )
    if begun.gauge.range is not None:
        limits.append((0.8 * abs(begun.gauge.range), "as far as the gauge's range goes"))
    return min(limits, default=None)


def _round_weight(mass: float) -> float:
    power = 10.0 ** np.floor(np.log10(mass))
    choices = power * np.append(WEIGHTS, 10.0)
    return float(f"{choices[np.argmin(np.abs(np.log(choices / mass)))]:.3g}")


def _described(begun: BegunRun, belief: Beliefs, value: float, key: str, text: str, why: str, length: float) -> PlannedLoad:
    geometry = begun.specimen.geometry
    assert geometry.stress_per_load is not None
    low, high = _moduli(begun, belief)
    stress = abs(value) * geometry.stress_per_load
    once = tuple(abs(value) * geometry.reading_per_compliance / modulus for modulus in (high, low))
    middle = float(np.sqrt(once[0] * once[1]))
    creep = (middle * _growth(belief, length, -1.0), middle * _growth(belief, length, 1.0))
    noise = float(np.hypot(begun.gauge.repeatability, begun.gauge.resolution / np.sqrt(12.0)))
    return PlannedLoad(value, key, text, (once[0], once[1]), creep, stress / float(np.sqrt(low * high)), stress, noise, why)


def load_words(load: PlannedLoad, unit: str, length: float) -> str:
    """In a sentence, what it does in a test of some length [s]."""
    since = "hour" if early(length) == HOUR else "minute"
    once = " to ".join(size(end, unit, 2) for end in load.at_once)
    creep = " to ".join(size(end, unit, 2) for end in load.creep)
    strain = show_number(100.0 * load.strain, digits=2)
    return (
        f"{load.text}: {show_number(load.stress, digits=2)} MPa at the surface, about {strain} % strain. The gauge should "
        f"move by {once} at once and by {creep} from the first {since} to the end "
        f"({load.creep[0] / load.noise:.0f} to {load.creep[1] / load.noise:.0f} times its noise)"
    )
