"""Doubts about a part's sag: what it does that the specimen was not asked, and which way the sag is then wrong."""

from __future__ import annotations

from collections.abc import Iterator

from creepfit.answers.doubts.analysis import analysis_doubts
from creepfit.answers.doubts.frame import frame_doubts
from creepfit.answers.doubts.part_bent import bent_doubts, turning_frame
from creepfit.answers.doubts.part_shape import FALLS, shape_doubts
from creepfit.answers.doubts.printing import print_doubts
from creepfit.answers.interval import Caution
from creepfit.answers.part.checks import PartChecks
from creepfit.answers.part.response import PartResponse
from creepfit.units import STANDARD_GRAVITY, show_number, show_time

STRAIN_LINEAR, STRAIN_DESIGN = 0.005, 0.01
"""Strain up to which rigid plastics are taken as linear, and design strain of ductile ones (common practice; the second
as in Crawford, Plastics Engineering, 3rd ed., p. 19)."""

HUMIDITY = 0.1
YOUNGER = 1.5
FREE, MOST = 10.0, 100.0
"""Times the length of the test: one decade is the preferred limit of an extrapolation, two the absolute one."""


def part_doubts(response: PartResponse, checks: PartChecks, after_unloading: bool = False) -> tuple[Caution, ...]:
    """Every doubt about a part's sag, the gravest first.

    Parameters
    ----------
    response : PartResponse
    checks : PartChecks
    after_unloading : bool
        Whether what is left after unloading was asked for.
    """
    found = (
        *_stress(response, checks),
        *_strain(checks),
        *_time(response, checks),
        *_circumstances(response),
        *print_doubts(response.part, response.fit.run),
        *_shape(response, checks),
        *frame_doubts(response.part, checks),
        *_unloading(response, after_unloading),
        Caution(
            "not-a-strength-check",
            "No check of strength or rupture was made: a part can break long before it sags this far. Printed bars "
            "have broken within hours at a third of their short-term strength.",
            "a part under its load, or more, watched for as long as it matters that it holds",
        ),
    )
    return tuple(sorted(found, key=lambda caution: caution.code not in FALLS))


def _stress(response: PartResponse, checks: PartChecks) -> Iterator[Caution]:
    low, high = checks.tested
    part = checks.stress.value
    where = f"in {checks.where}"
    if part > high * (1.0 + 1e-9):
        run = response.fit.run
        per_load = run.specimen.geometry.stress_per_load or 1.0
        if run.specimen.load_quantity == "stress":
            needed = f"{show_number(part)} MPa"
        else:
            force = part / per_load
            needed = f"{show_number(force)} N ({show_number(force / STANDARD_GRAVITY)} kg)"
        yield Caution(
            "stress-not-tested",
            f"OUTSIDE THE TEST: the part reaches {show_number(part)} MPa ({where}), the specimen only "
            f"{show_number(high)} MPa. That compliance is the same at the higher stress is unproven; plastics mostly "
            "give more, so the sag is rather understated.",
            f"a run of the specimen under at least {needed}",
        )
    elif part < low / 3.0:
        yield Caution(
            "stress-well-below-test",
            f"The part reaches {show_number(part)} MPa ({where}), less than a third of the lowest stress tested, "
            f"{show_number(low)} MPa: if the compliance grows with the stress, the sag is rather overstated.",
            "a run of the specimen at a stress near the part's",
        )


def _strain(checks: PartChecks) -> Iterator[Caution]:
    strain = checks.strain.high
    if strain <= STRAIN_LINEAR:
        return
    limit = STRAIN_DESIGN if strain > STRAIN_DESIGN else STRAIN_LINEAR
    tough = "the usual design strain of tough plastics"
    meaning = tough if limit == STRAIN_DESIGN else "up to which plastics are mostly linear"
    yield Caution(
        "strain",
        f"The outer fibre in {checks.segment} may reach {show_number(100.0 * strain)} % strain by "
        f"{show_time(checks.strain_time)} (upper end), beyond {100.0 * limit:g} %, {meaning} (common practice; less "
        "across layers and for brittle plastics): the sag is then understated, and crazes or cracks may start.",
        "runs of the specimen at two stresses, the higher one that of the part",
    )


def _time(response: PartResponse, checks: PartChecks) -> Iterator[Caution]:
    if checks.beyond <= FREE * (1.0 + 1e-9):
        return
    test = show_time(response.fit.run.test_length)
    far = f"{show_time(checks.strain_time)} is {show_number(checks.beyond, digits=2)} times the test ({test})"
    rest = (
        "more than the hundredfold that any extrapolation is good for: take it as a guess, of unknown direction"
        if checks.beyond > MOST
        else "beyond the preferred tenfold: the interval is wide because models that agree in the test part there"
    )
    yield Caution("far-beyond-test", f"{far}, {rest}.", f"readings up to {show_time(_rounded(checks.strain_time / FREE))}")


def _rounded(seconds: float) -> float:
    return float(f"{seconds / 86400.0:.1g}") * 86400.0


def _circumstances(response: PartResponse) -> Iterator[Caution]:
    part, run = response.part, response.fit.run
    if part.humidity is not None and run.humidity is not None and abs(part.humidity - run.humidity) > HUMIDITY:
        wetter = part.humidity > run.humidity
        yield Caution(
            "humidity",
            f"The part is kept at {100.0 * part.humidity:.0f} % relative humidity, the specimen at "
            f"{100.0 * run.humidity:.0f} %: {'moisture softens' if wetter else 'dryness stiffens'} polyamides most, so "
            f"the sag is {'under' if wetter else 'over'}stated.",
            "a run of a specimen kept as the part will be",
        )
    if part.age is not None and run.age is not None:
        yield from _age(part.age, run.age)
    unsaid = [
        name
        for name, mine, its in (
            ("temperature", part.temperature if part.climate is None else part.climate.mean, run.temperature),
            ("humidity", part.humidity, run.humidity),
            ("age at loading", part.age, run.age),
        )
        if mine is None or its is None
    ]
    if unsaid:
        yield Caution(
            "circumstances-unsaid",
            f"Not stated for both specimen and part: {', '.join(unsaid)}. A warmer, wetter or fresher part sags "
            "more than is said here.",
            None,
        )


def _age(part: float, specimen: float) -> Iterator[Caution]:
    if 1.0 / YOUNGER < part / specimen < YOUNGER:
        return
    younger = part < specimen
    yield Caution(
        "age",
        f"The part is {show_time(part)} old when put up, the specimen was {show_time(specimen)}: a "
        f"{'younger' if younger else 'older'} plastic creeps {'faster' if younger else 'slower'}, so the sag is rather "
        f"{'under' if younger else 'over'}stated where ageing is more than the models take into account.",
        f"a run of a specimen loaded {show_time(part)} after it was made"
        + (f", or putting the part up {show_time(specimen)} after it was made" if younger else ""),
    )


def _shape(response: PartResponse, checks: PartChecks) -> Iterator[Caution]:
    if response.part.analysed is not None:
        yield from analysis_doubts(response.part.analysed)
        return
    yield from shape_doubts(response.courses, checks)
    if checks.bent is not None:
        yield from bent_doubts(checks.bent, checks.strain_time)
    if checks.frame_turn is not None:
        yield from turning_frame(checks.frame_turn)


def _unloading(response: PartResponse, asked: bool) -> Iterator[Caution]:
    changes = asked or not response.courses.always_on
    if changes and not response.fit.observed.has_recovery:
        yield Caution(
            "recovery-not-read",
            "Loads come off the part, but the specimen was not read after unloading: what stays for good is unknown, "
            "so the sag after unloading is rather understated.",
            "readings 1 min, 1 h and 1 d after unloading the specimen, and as long as it was loaded",
        )
    if asked and response.part.analysed is None and response.part.self_weight is None:
        yield Caution("no-own-weight", "The part's own weight is not counted: its density is not stated.", None)
