"""Doubts about a comparison: in what the runs differ besides their material."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from creepfit.answers.doubts.catalogue import several as words
from creepfit.answers.doubts.collected import about_fit
from creepfit.answers.doubts.pool import same_names, same_readings
from creepfit.answers.interval import Caution
from creepfit.inference.fitting import Fit
from creepfit.units import show_number

SAME_TEMPERATURE = 2.0
"""K within which tests count as done at one temperature (ISO 899 asks for +/-2 K, from memory)."""

SAME_STRESS = 0.05

MODULI = ("modulus-of-no-plastic", "modulus-out-of-range")


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
        *same_readings([run for fit in fits for run in fit.runs]),
        *(caution for fit in fits for caution in same_names(fit.runs)),
        *_moduli(fits),
        *_stress(fits, by, alike),
        *_surroundings(fits),
        *_printing(fits),
        *_specimens(fits, by),
        *_beyond(fits, by, latest),
    )


def _moduli(fits: Sequence[Fit]) -> Iterator[Caution]:
    """What is asked about each run's modulus: a wrong load or size would be taken for a difference of the materials."""
    for fit in fits:
        for doubt in about_fit(fit):
            if doubt.code in MODULI:
                yield replace(doubt, text=f"{fit.run.label}: {doubt.text[:1].lower()}{doubt.text[1:]}")


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
        yield words.STRESS_DIFFERS(shown=shown)
    elif by != "recovered":
        yield words.SHAPE_DIFFERS()


def _surroundings(fits: Sequence[Fit]) -> Iterator[Caution]:
    known = [f.run.temperature for f in fits if f.run.temperature is not None]
    if known and max(known) - min(known) > SAME_TEMPERATURE:
        yield words.TEMPERATURE_DIFFERS(low=min(known), high=max(known))
    states = {f.run.conditioning for f in fits if f.run.conditioning}
    if len(states) > 1:
        yield words.CONDITIONING_DIFFERS(states="; ".join(sorted(states)))


def _printing(fits: Sequence[Fit]) -> Iterator[Caution]:
    first, differing = dict(fits[0].run.print_data), []
    for key in ("orientation", "walls", "infill", "layer", "annealed", "dried"):
        values = {dict(f.run.print_data).get(key, "").casefold() for f in fits} - {""}
        if len(values) > 1:
            differing.append(f"{key} ({', '.join(sorted(values))})")
    if differing or any(set(dict(f.run.print_data)) != set(first) for f in fits):
        what = ", ".join(differing) if differing else "stated for some of them only"
        yield words.PRINT_DIFFERS(what=what)


def _specimens(fits: Sequence[Fit], by: str) -> Iterator[Caution]:
    """Runs whose scatter between specimens is assumed: those of materials with one specimen are named."""
    single = [f for f in fits if float(f.draws.scatter.max()) == 0.0]
    if not single or by == "recovered":
        return
    bars: dict[str, set[str]] = {}
    for f in fits:
        material = f.run.material.casefold()
        bars.setdefault(material, set()).update(f"{r.bar} {r.name or id(r)}" for r in f.runs)
    alone = [f.run.label for f in single if len(bars[f.run.material.casefold()]) == 1]
    if len(alone) == len(fits):
        yield words.ONE_SPECIMEN_EACH()
    elif alone:
        yield words.ONE_SPECIMEN(count=len(alone), alone=", ".join(alone), others=len(single) > len(alone))
    else:
        yield words.RUNS_BY_THEMSELVES()


def _beyond(fits: Sequence[Fit], by: str, latest: float) -> Iterator[Caution]:
    short = [f for f in fits if latest > f.run.test_length * 1.05]
    if short and by not in ("recovered", "residual"):
        least = min(short, key=lambda f: f.run.test_length)
        yield words.BEYOND_TEST(
            latest=latest,
            every=len(short) == len(fits),
            short=len(short),
            fits=len(fits),
            first=least.run.label,
            length=least.run.test_length,
        )
