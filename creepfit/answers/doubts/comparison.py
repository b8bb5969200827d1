"""Doubts about a comparison: in what the runs differ besides their material."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from creepfit.answers.interval import Caution
from creepfit.inference.fitting import Fit
from creepfit.inference.pooling import PooledFit
from creepfit.units import show_number, show_time

SAME_TEMPERATURE = 2.0
"""K within which tests count as done at one temperature (ISO 899 asks for +/-2 K, from memory)."""

SAME_STRESS = 0.05


def comparison_doubts(fits: Sequence[Fit], by: str, alike: bool, latest: float) -> tuple[Caution, ...]:
    """Everything besides the material that could make the difference, by the case.

    Parameters
    ----------
    fits : sequence of Fit
    by : str
        The property compared.
    alike : bool
        Whether loads and shapes are alike.
    latest : float
        Latest time asked for, s.
    """
    return (
        *_stress(fits, by, alike),
        *_surroundings(fits),
        *_printing(fits),
        *_specimens(fits, by),
        *_beyond(fits, by, latest),
    )


def _stress(fits: Sequence[Fit], by: str, alike: bool) -> Iterator[Caution]:
    if alike:
        return
    stresses = [f.run.specimen.geometry.stress_per_load for f in fits]
    shown = ", ".join(
        f"{f.run.label} {show_number(abs(f.run.working_load * s))} MPa"
        for f, s in zip(fits, stresses, strict=True)
        if s is not None
    )
    sizes = [abs(f.run.working_load * s) for f, s in zip(fits, stresses, strict=True) if s is not None]
    if len(sizes) == len(fits) and max(sizes) > (1.0 + SAME_STRESS) * min(sizes):
        yield Caution(
            "stress-differs",
            f"The runs were tested at different stress ({shown}) and are compared per stress. Plastics creep more than in "
            "proportion at higher stress, which makes the one tested higher look worse than it is.",
            "runs of both at one stress",
        )
    elif by != "recovered":
        yield Caution(
            "shape-differs",
            "The specimens differ in shape or load, so they are compared per stress; errors in their sizes are in the "
            "intervals as far as tolerances were given.",
            "specimens of one size under one load",
        )


def _surroundings(fits: Sequence[Fit]) -> Iterator[Caution]:
    known = [f.run.temperature for f in fits if f.run.temperature is not None]
    if known and max(known) - min(known) > SAME_TEMPERATURE:
        yield Caution(
            "temperature-differs",
            f"Tested at different temperatures, {min(known):g} to {max(known):g} degC: the warmer one creeps more for that "
            "alone.",
            "runs at one temperature",
        )
    states = {f.run.conditioning for f in fits if f.run.conditioning}
    if len(states) > 1:
        yield Caution(
            "conditioning-differs",
            f"Conditioned differently ({'; '.join(sorted(states))}): moisture and age change creep as much as a change of "
            "material can.",
            "runs conditioned alike",
        )


def _printing(fits: Sequence[Fit]) -> Iterator[Caution]:
    first, differing = dict(fits[0].run.print_data), []
    for key in ("orientation", "walls", "infill", "layer", "annealed", "dried"):
        words = {dict(f.run.print_data).get(key, "").casefold() for f in fits} - {""}
        if len(words) > 1:
            differing.append(f"{key} ({', '.join(sorted(words))})")
    if differing or any(set(dict(f.run.print_data)) != set(first) for f in fits):
        what = ", ".join(differing) if differing else "stated for some of them only"
        yield Caution(
            "print-differs",
            f"Printed differently: {what}. The difference may be that and not the material's.",
            "specimens printed alike",
        )


def _specimens(fits: Sequence[Fit], by: str) -> Iterator[Caution]:
    """Runs whose scatter between specimens is assumed: those of materials with one specimen are named."""
    single = [f for f in fits if float(f.draws.scatter.max()) == 0.0]
    if not single or by == "recovered":
        return
    bars: dict[str, set[str]] = {}
    for f in fits:
        material = f.run.material.casefold()
        own = f.runs if isinstance(f, PooledFit) else (f.run,)
        bars.setdefault(material, set()).update(f"{r.label} {r.name or id(r)}" for r in own)
    alone = [f.run.label for f in single if len(bars[f.run.material.casefold()]) == 1]
    assumed = "8 % of scatter between specimens (common practice, no source) is in the intervals, not measured."
    if len(alone) == len(fits):
        text, advice = "Every material was tested on one specimen", "three specimens of each, fitted together with --pool"
    elif alone:
        text = f"Tested on one specimen of {'its' if len(alone) == 1 else 'their'} material: {', '.join(alone)}"
        advice = "three specimens of each material, those of one fitted together with --pool"
    else:
        text, advice = "Each of these runs stands for itself", "the runs of one material fitted together with --pool"
    others = "" if len(alone) in (0, len(fits)) or len(single) == len(alone) else ", as each run stands for itself"
    yield Caution("one-specimen", f"{text}; {assumed[:-1]}{others}.", advice)


def _beyond(fits: Sequence[Fit], by: str, latest: float) -> Iterator[Caution]:
    short = [f for f in fits if latest > f.run.test_length * 1.05]
    if short and by not in ("recovered", "residual"):
        shortest = min(f.run.test_length for f in short)
        yield Caution(
            "beyond-test",
            f"{show_time(latest)} lies beyond the test of {len(short)} of {len(fits)} runs (the shortest took "
            f"{show_time(shortest)}): there the comparison is one of forecasts.",
            f"a reading of each at {show_time(latest)}",
        )
