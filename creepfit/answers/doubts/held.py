"""Doubts about the force of a part that is held bent, and which way the force is then wrong."""

from __future__ import annotations

from collections.abc import Iterator

from creepfit.answers.interval import Caution
from creepfit.answers.part.checks import HeldChecks
from creepfit.inference.fitting import Fit
from creepfit.records.part import Part
from creepfit.units import show_number, show_time

STRAIN_LINEAR, STRAIN_DESIGN = 0.005, 0.01
"""As for the sag: linear up to the first, design strain of ductile plastics (common practice)."""

KELVIN = 2.0
FREE, MOST = 10.0, 100.0


def held_doubts(part: Part, fit: Fit, checks: HeldChecks, latest: float, released: bool) -> tuple[Caution, ...]:
    """Every doubt, the gravest first.

    Parameters
    ----------
    part, fit
    checks : HeldChecks
    latest : float
        Latest time that counts, s.
    released : bool
        Whether what is left after letting go was asked for.
    """
    return (
        *_stress(checks),
        *_time(fit, checks, latest),
        *_circumstances(part, fit),
        *_holding(part, fit, released),
        Caution(
            "not-a-strength-check",
            "No check of strength or rupture was made: a part that is held bent can crack long before its force is gone, "
            "soonest at notches, across layers and where grease, solvents or cleaners reach it.",
            "a part held bent, or more so, for as long as it matters that it holds",
        ),
    )


def _stress(checks: HeldChecks) -> Iterator[Caution]:
    tested = checks.tested[1]
    if checks.stress > tested * (1.0 + 1e-9):
        yield Caution(
            "stress-not-tested",
            f"OUTSIDE THE TEST: when first bent the part reaches {show_number(checks.stress)} MPa, the specimen only "
            f"{show_number(tested)} MPa. Plastics mostly give more at a higher stress, so the force is rather overstated.",
            f"a run of the specimen under {show_number(checks.stress)} MPa",
        )
    if checks.strain > STRAIN_LINEAR:
        limit = STRAIN_DESIGN if checks.strain > STRAIN_DESIGN else STRAIN_LINEAR
        meaning = "the usual design strain of tough plastics" if limit == STRAIN_DESIGN else "up to which most are linear"
        yield Caution(
            "strain",
            f"The outer fibre is held at {show_number(100.0 * checks.strain)} % strain, beyond {100.0 * limit:g} %, "
            f"{meaning} (common practice): the force is then overstated, and crazes or cracks may start.",
            "runs of the specimen at two stresses, the higher one that of the part",
        )


def _time(fit: Fit, checks: HeldChecks, latest: float) -> Iterator[Caution]:
    if checks.beyond <= FREE * (1.0 + 1e-9):
        return
    far = f"{show_time(latest)} is {show_number(checks.beyond, digits=2)} times the test ({show_time(fit.run.test_length)})"
    rest = (
        "more than the hundredfold that any extrapolation is good for: take it as a guess"
        if checks.beyond > MOST
        else "beyond the preferred tenfold: models that agree in the test part there"
    )
    yield Caution("far-beyond-test", f"{far}, {rest}.", f"readings up to {show_time(latest / FREE)}")


def _circumstances(part: Part, fit: Fit) -> Iterator[Caution]:
    mine, its = part.temperature, fit.run.temperature
    if mine is not None and its is not None and abs(mine - its) > KELVIN:
        wrong = "over" if mine > its else "under"
        yield Caution(
            "temperature",
            f"The part is at {show_number(mine)} °C, the specimen was at {show_number(its)} °C: the force is "
            f"{wrong}stated.",
            f"a run of a specimen at {show_number(mine)} °C",
        )
    elif mine is None or its is None:
        yield Caution(
            "circumstances-unsaid",
            "The temperature is not stated for both specimen and part: a warmer part loses more force than is said here.",
            None,
        )


def _holding(part: Part, fit: Fit, released: bool) -> Iterator[Caution]:
    if part.loads and part.analysed is None:
        yield Caution(
            "loads-left-out",
            "The loads of the part file are left out: the force is that of the deflection alone.",
            None,
        )
    held = part.held
    if held is not None and held.series_compliance == 0.0:
        yield Caution(
            "rigid-counterpart",
            "What holds the part is taken as rigid. A counterpart, washer or spring that gives way elastically keeps more "
            "of the force; one of plastic creeps itself and keeps less.",
            "series_compliance in [held], in mm/N",
        )
    if released and not fit.observed.has_recovery:
        yield Caution(
            "recovery-not-read",
            "The specimen was not read after unloading: what stays for good is unknown, so what is left after letting "
            "go is rather understated.",
            "readings 1 min, 1 h and 1 d after unloading the specimen, and as long as it was loaded",
        )
