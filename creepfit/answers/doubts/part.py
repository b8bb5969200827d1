"""Doubts about a part's sag: what it does that the specimen was not asked, and which way the sag is then wrong."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from creepfit.answers.doubts.analysis import analysis_doubts
from creepfit.answers.doubts.catalogue import part as words
from creepfit.answers.doubts.catalogue.entry import Entry
from creepfit.answers.doubts.flow import part_flow_doubts
from creepfit.answers.doubts.frame import frame_doubts
from creepfit.answers.doubts.load import BELOW
from creepfit.answers.doubts.part_bent import bent_doubts, turning_frame
from creepfit.answers.doubts.part_loads import part_load_doubts
from creepfit.answers.doubts.part_shape import FALLS, shape_doubts
from creepfit.answers.doubts.printing import print_doubts
from creepfit.answers.doubts.readings import came_off_by_the_end
from creepfit.answers.doubts.trial import trial_doubts
from creepfit.answers.interval import Caution
from creepfit.answers.part.checks import PartChecks
from creepfit.answers.part.response import PartResponse
from creepfit.inference.run_fit import FAR, FARTHEST, Fit
from creepfit.records.run import Run

STRAIN_LINEAR, STRAIN_DESIGN = 0.005, 0.01
"""Strain up to which rigid plastics are taken as linear, and design strain of ductile ones (common practice; the second
as in Crawford, Plastics Engineering, 3rd ed., p. 19)."""

HUMIDITY_APART = 0.1
YOUNGER = 1.5


def part_doubts(response: PartResponse, checks: PartChecks, after_unloading: bool = False) -> tuple[Caution, ...]:
    """Every doubt about a part's sag, the gravest first.

    Parameters
    ----------
    response : PartResponse
    checks : PartChecks
    after_unloading : bool
        Whether what is left after unloading was asked for.
    """
    doubts = (
        *part_load_doubts(response.part),
        *_stress(response, checks),
        *strain_doubts(
            words.STRAIN,
            checks.strain.high,
            segment=checks.segment,
            when=checks.strain_time,
            borne=checks.strain.high <= strain_borne(response.fit),
        ),
        *far_doubts(words.FAR_BEYOND_TEST, response.fit.run, checks.strain_time),
        *trial_doubts(response.fit, checks.strain_time),
        *part_flow_doubts(response, checks.strain_time),
        *_circumstances(response),
        *print_doubts(response.part, response.fit.run),
        *_shape(response, checks),
        *frame_doubts(response.part, checks),
        *_unloading(response, after_unloading),
        words.NOT_A_STRENGTH_CHECK(),
    )
    return tuple(sorted(doubts, key=lambda caution: caution.code not in FALLS))


def _stress(response: PartResponse, checks: PartChecks) -> Iterator[Caution]:
    low, high = checks.tested
    part = checks.stress.value
    where = f"in {checks.where}"
    if part > high * (1.0 + 1e-9):
        run = response.fit.run
        needed = run.load_unit.show(part / (run.specimen.geometry.stress_per_load or 1.0))
        yield words.STRESS_NOT_TESTED(part=part, where=where, high=high, needed=needed)
    elif part < low / BELOW and checks.strain.high <= max(strain_borne(response.fit), STRAIN_LINEAR):
        # where it is strained further than the specimen was and than is linear, the sag is not overstated
        yield words.STRESS_WELL_BELOW_TEST(part=part, where=where, low=low)


def strain_borne(fit: Fit) -> float:
    """Largest strain that the specimen reached while it was read."""
    per_reading = fit.run.specimen.geometry.strain_per_reading or 0.0
    return float(np.max(np.abs(fit.observed.deformation), initial=0.0)) * per_reading


def strain_doubts(entry: Entry, strain: float, **case: Any) -> Iterator[Caution]:
    """An outer fibre that is strained beyond what is linear, or beyond what is designed for; `case` for its words."""
    if strain > STRAIN_LINEAR:
        limit = STRAIN_DESIGN if strain > STRAIN_DESIGN else STRAIN_LINEAR
        yield entry(strain=strain, limit=100.0 * limit, design=limit == STRAIN_DESIGN, **case)


def far_doubts(entry: Entry, run: Run, asked: float) -> Iterator[Caution]:
    """A time [s] far beyond the test, and until when a longer test would have to be read."""
    beyond = asked / run.test_length
    if beyond > FAR * (1.0 + 1e-9):
        off = came_off_by_the_end(run)
        until, guess = asked / FAR, beyond > FARTHEST
        yield entry(asked=asked, beyond=beyond, test=run.test_length, guess=guess, until=until, came_off=off)


def _circumstances(response: PartResponse) -> Iterator[Caution]:
    part, run = response.part, response.fit.run
    if part.humidity is not None and run.humidity is not None and abs(part.humidity - run.humidity) > HUMIDITY_APART:
        wetter = part.humidity > run.humidity
        yield words.HUMIDITY(part=100.0 * part.humidity, specimen=100.0 * run.humidity, wetter=wetter)
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
        yield words.CIRCUMSTANCES_UNSAID(unsaid=", ".join(unsaid))


def _age(part: float, specimen: float) -> Iterator[Caution]:
    if 1.0 / YOUNGER < part / specimen < YOUNGER:
        return
    younger = part < specimen
    yield words.AGE(part=part, specimen=specimen, younger=younger)


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
        yield words.RECOVERY_NOT_READ()
    if asked and response.part.analysed is None and response.part.self_weight is None:
        yield words.NO_OWN_WEIGHT()
