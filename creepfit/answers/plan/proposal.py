"""A test before it begins: load, length, reading times that a person can keep, and what they are expected to give."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from creepfit.answers.heading import heading_without_fit
from creepfit.answers.plan.adds import (
    NUMBERS,
    USUAL,
    WARMER,
    Elsewhere,
    ManySpecimens,
    left_hanging,
    many_specimens,
    second_stress,
    second_temperature,
)
from creepfit.answers.plan.beliefs import Beliefs, beliefs
from creepfit.answers.plan.hours import WorkingHours
from creepfit.answers.plan.load import BREAKING_STRAIN, PlannedLoad, planned_load
from creepfit.answers.plan.planned_reading import PlannedReading
from creepfit.answers.plan.schedules import Times, best_begin, daily, hung_longer, iso_899, kept, proposed
from creepfit.answers.plan.target import Answer
from creepfit.answers.plan.trial import EVERY, FEWER, SPECIMENS, Bench, Promise, half_width
from creepfit.answers.specimen.schedule import USUAL_LENGTH
from creepfit.answers.wording import clock_cell
from creepfit.asked import asked_fraction, asked_level, asked_size, asked_time
from creepfit.errors import InputError
from creepfit.inference.mixture import DEFAULT_SEED
from creepfit.inference.run_fit import FARTHEST, Fit
from creepfit.records.begun import BegunRun
from creepfit.records.defaults import default_material_kind
from creepfit.records.part import DEFAULT_SCATTER, Part
from creepfit.records.planned import Tables, read_tables
from creepfit.shown import Tabled
from creepfit.units import DAY, HOUR, YEAR, show_number, show_time

LONGER = (20.0, 45.0, 90.0)
"""Days that a bar could be left hanging, those beyond the test."""

MULTIPLES = (3.0, 10.0, 30.0)
"""The same for tests of less than a day, as multiples of the test."""

MORE_BARS_ON = 2
"""Further bars are simulated beside every second specimen tried."""

SURELY = 0.9
"""Share of the specimens tried from which on a width is promised."""

SHORTEST, LONGEST = 10.0 * 60.0, 400.0 * DAY

SOME_MONDAY = datetime(2001, 1, 1)
"""Where weeks are counted from when no date is given: only the days of the week are then said."""


@dataclass(frozen=True, eq=False, repr=False)
class PlannedTest(Tabled):
    """A test before it begins.

    Attributes
    ----------
    tables : dict
        Tables of its run file, the load in them; see `records.planned`.
    begun : BegunRun
        Specimen and gauge.
    belief : Beliefs
    load : PlannedLoad
    begin : datetime
        First loading; only its day of the week and hour count where not `dated`.
    readings : tuple of PlannedReading
        After three before the load: under load, then after the unloading.
    unload_at : float
        s since first loading.
    asked : str
        What is asked for, in words: the deformation of the specimen itself, or the sag of the part.
    by, wished : float
        Time answered for and time asked about, s: the second is longer where it lies beyond 100 times the test.
    wanted, level : float
        Half width wanted over the median, and the probability of the interval.
    by_readings : float
        What the readings of one bar leave open typically, without the scatter to another print, as a half width.
    schedules : tuple of Promise
        Of the proposal, of daily readings in a test of two days or more, and of the standard's times.
    longer : tuple of Promise
        Of the bar left hanging, up to the length that promises what is wanted.
    specimens : tuple of ManySpecimens
    elsewhere : tuple of Elsewhere
        At another temperature, and under another stress.
    hours : WorkingHours
    part : Part or None
        The part that the test is for.
    """

    tables: Tables = field(repr=False)
    begun: BegunRun
    belief: Beliefs
    load: PlannedLoad
    begin: datetime
    dated: bool
    readings: tuple[PlannedReading, ...]
    unload_at: float
    asked: str
    by: float
    wished: float
    wanted: float
    level: float
    by_readings: float
    schedules: tuple[Promise, ...]
    longer: tuple[Promise, ...]
    specimens: tuple[ManySpecimens, ...]
    elsewhere: tuple[Elsewhere, ...]
    hours: WorkingHours
    seed: int
    part: Part | None = None

    @property
    def label(self) -> str:
        """Material and specimen."""
        return self.begun.label

    @property
    def unit(self) -> str:
        return self.begun.unit

    @property
    def proposal(self) -> Promise:
        """What the proposed times are expected to give."""
        return self.schedules[0]

    @property
    def headline(self) -> str:
        return (
            f"{self.label}, {self.load.text} for {show_time(self.unload_at)}: {self.asked} to "
            f"±{100.0 * self.proposal.typical:.0f} % typically, as tried on paper, level {self.level:g}"
        )

    @property
    def verdict(self) -> str:
        """Whether the test can promise what is wanted, and what would, as a sentence."""
        return f"{self._too_large}{self._promised}{self._cut}"

    @property
    def _cut(self) -> str:
        """That another time was asked for than is answered, and what test would answer for it."""
        if self.wished <= self.by:
            return ""
        least = show_time(math.ceil(self.wished / FARTHEST / DAY) * DAY)
        return (
            f" Asked for was {show_time(self.wished)}, answered is {show_time(self.by)}, {FARTHEST:g} times the test: for "
            f"all of it the load has to stay on for {least} or longer."
        )

    @property
    def _too_large(self) -> str:
        """What stands before a promise that a bar cannot keep which breaks."""
        if self.load.strain <= BREAKING_STRAIN:
            return ""
        strain = f"{show_number(100.0 * self.load.strain, digits=2)} % strain"
        return f"{self.load.text} is too large a load: under about {strain} the bar may break within the test. If it held: "

    @property
    def _promised(self) -> str:
        own, wanted = self.proposal, f"±{100.0 * self.wanted:.3g} %"
        what = "for the bar itself" if self.part is None else f"for {self.asked}, by one bar"
        wanted = f"{wanted} at {show_time(self.by)}" if self.part is None else wanted
        ends = f"{own.kept} of {own.tried} specimens tried on paper end within it"
        length = show_time(self.unload_at)
        if own.chance >= SURELY:
            return f"{length} can promise {wanted} {what}: {ends}."
        enough = next((p for p in self.longer if p.chance >= SURELY), None)
        more = (
            f"; hung for {show_time(enough.times.length)} it could"
            if enough is not None
            else (f"; nor could {show_time(self.longer[-1].times.length)}" if self.longer else "")
        )
        return f"{length} cannot promise {wanted} {what}: {ends}{more}."

    @property
    def for_the_part(self) -> str:
        """The same for another print, with one bar and with the usual number of them, as a sentence."""
        trusted, alone = (next(s for s in self.specimens if s.count == 1 and s.trusted == t) for t in (True, False))
        usual = next(s for s in self.specimens if s.count == USUAL)
        fewest = next((s for s in self.specimens if s.next_one <= self.wanted), None)
        wanted = f"±{100.0 * self.wanted:.3g} %"
        whose = "another print, such as the part," if self.part is None else "the part, which is another print,"
        if fewest is not None:
            had = f"{wanted} is to be had by {_bars(fewest.count)}, in half of such tests or more"
        elif self.by_readings > self.wanted:  # then no number of bars makes up for it
            had = f"{wanted} is not to be had by any number of bars, as this test leaves more open on each"
        else:
            had = f"{wanted} is not to be had by up to {_bars(max(NUMBERS))}, as prints differ whatever is read"
        return (
            f"For {whose} one bar typically makes it ±{100.0 * trusted.next_one:.0f} %, but shows nothing of how far "
            f"prints differ: that {100.0 * self.scatter:.0f} % (one standard deviation) is trusted. Without that "
            f"trust one bar makes it ±{100.0 * alone.next_one:.0f} %, and {USUAL}, which show how far prints differ, "
            f"±{100.0 * usual.next_one:.0f} %. {had}."
        )

    @property
    def rests_on(self) -> str:
        """The assumption that the plan rests on most."""
        own = self.proposal
        if own.poor > 2.5 * own.typical:
            return (
                "that the material hardly flows: the widest of the intervals are those of specimens whose steady flow "
                "cannot be told from slowing creep within the test"
            )
        if not self.load.is_seen:
            return "the gauge: creep comes to few of its divisions, so its repeatability decides"
        return (
            "how fast creep slows down, which is believed from published curves of moulded plastics and not of this print"
        )

    @property
    def scatter(self) -> float:
        """From the bar to another print, standard deviation of the logarithm, as trusted where one bar is tested."""
        return DEFAULT_SCATTER if self.part is None else self.part.allowance.scatter

    @property
    def also(self) -> tuple[str, ...]:
        """What a bar left hanging adds, in words."""
        return (left_hanging(self.unload_at),)

    def _rows(self) -> list[dict[str, Any]]:
        """One row a reading to take, with an empty column for it."""
        return [
            {
                "what": "before the load" if r.time < 0.0 else "after unloading" if r.after is not None else "under load",
                "time_h": r.time / HOUR,
                "clock": clock_cell(r.clock),
                "reading": "",
            }
            for r in self.readings
        ]

    def to_dict(self) -> dict[str, Any]:
        """What ``plan --json`` prints before a test."""
        return {
            **heading_without_fit(self.label, self.level, self.seed),
            "part": None if self.part is None else self.part.name,
            "asked": self.asked,
            "by_h": self.by / HOUR,
            "asked_for_h": self.wished / HOUR,
            "wanted_half_width_percent": 100.0 * self.wanted,
            "load": {
                "value": self.load.value,
                "unit": "N",
                "text": self.load.text,
                "stress_MPa": self.load.stress,
                "strain_percent": 100.0 * self.load.strain,
                "at_once": {"low": self.load.at_once[0], "high": self.load.at_once[1], "unit": self.unit},
                "creep": {"low": self.load.creep[0], "high": self.load.creep[1], "unit": self.unit},
                "why": self.load.why,
            },
            "begin": clock_cell(self.begin) if self.dated else None,
            "begin_weekday": f"{self.begin:%A}",
            "length_h": self.unload_at / HOUR,
            "readings": [r.to_dict() for r in self.readings],
            "schedules": [p.to_dict() for p in self.schedules],
            "hung_longer": [p.to_dict() for p in self.longer],
            "specimens": [s.to_dict() for s in self.specimens],
            "elsewhere": [e.to_dict() for e in self.elsewhere],
            "verdict": self.verdict,
            "for_the_part": self.for_the_part,
            "rests_on": self.rests_on,
            "also": list(self.also),
            "assumptions": list(self.belief.assumptions),
        }


def plan_test(
    tables: Tables,
    by: str | float | None = None,
    *,
    wanted: str | float = 0.15,
    level: str | float = 0.9,
    lasts: str | float | None = None,
    stress: str | float | None = None,
    begin: datetime | None = None,
    hours: WorkingHours | None = None,
    earlier: Fit | None = None,
    part: Part | None = None,
    seed: int = DEFAULT_SEED,
    file: str | None = None,
) -> PlannedTest:
    """Plan a test before it begins.

    Parameters
    ----------
    tables : dict
        As in a run file: "run" with the material, "specimen", "gauge", perhaps "rig" and "load".
    by : str or float, optional
        Time that the answer is for, text or s; at most 100 times the test. By default the part's life, else a year.
    wanted : str or float
        Half width of the interval over the deformation that is wanted: 0.15 or "15 %".
    level : str or float
    lasts : str or float, optional
        How long the load is to stay on, text or s; by default until the file takes it off, else 5 d.
    stress : str or float, optional
        Stress that the part has, text or MPa, to test at.
    begin : datetime, optional
        Day from which on the test can begin; by default the file's own start, without one only days of the week are said.
    hours : WorkingHours, optional
    earlier : Fit, optional
        A run of the material.
    part : Part, optional
        The part that the answer is for: its sag is asked for, and its stress tested where that can be seen.

    Raises
    ------
    InputError
        A mistake in the tables; a time, width, level or stress that is none; a part that the test says nothing of.
    """
    begun = read_tables(tables, file)
    stress_of_part = None
    if part is not None:
        from creepfit.answers.plan.part_target import largest_stress  # with all of a part's mechanics

        stress_of_part = largest_stress(part)
    if tables.get("load") and not begun.steps:
        raise InputError("no load", file=file, key="load", expected="a load above zero, or none for one to be proposed")
    off = next((s.at for s in begun.steps if s.value == 0.0 and s.at > 0.0), USUAL_LENGTH)
    length = off if lasts is None else asked_time(lasts, "lasts")
    if not SHORTEST <= length <= LONGEST:
        raise InputError(key="lasts", found=show_time(length), expected="from 10 min to 400 d")
    life = None if part is None else part.limit.life
    wished_by = asked_time((life or YEAR) if by is None else by, "by")
    horizon = min(wished_by, FARTHEST * length)
    if (half := asked_fraction(wanted, "wanted")) <= 0.0:
        raise InputError(key="wanted", found=wanted, expected='a share above zero, such as "15 %"')
    probability = asked_level(level)
    belief = beliefs(begun.material, default_material_kind(begun.material), earlier=earlier)
    keeping = WorkingHours() if hours is None else hours
    wished = proposed(length, belief.exponent)
    own_start = begun.began if begin is None and begun.began is not None and keeping.holds(begun.began) else None
    start = own_start or best_begin(wished, begin or SOME_MONDAY, keeping)
    times = kept(wished, start, keeping)
    tested_at = None if stress is None else asked_size(stress, "stress", "stress")
    load = planned_load(begun, belief, tables, tested_at, times.length, stress_of_part)
    bench = Bench(tables, load, belief, times, horizon, half, probability, seed, part, SPECIMENS)
    answers = bench.answers(times, bench.own_specimens, seed)
    some = answers[::MORE_BARS_ON]
    others = (daily(length), iso_899(length)) if length >= 2.0 * DAY else (iso_899(length),)
    lengths = [days * DAY for days in LONGER] if length >= DAY else [k * length for k in MULTIPLES]
    return PlannedTest(
        tables,
        begun,
        belief,
        load,
        start,
        begin is not None or own_start is not None,
        _readings(times, start),
        times.length,
        bench.target.words,
        horizon,
        wished_by,
        half,
        probability,
        float(np.median([half_width(a.values, probability) for a in answers])),
        (bench.promise(times, answers), *(bench.tried(s, answers, EVERY) for s in others)),
        tuple(_hung(bench, answers, [t for t in lengths if t > 1.5 * times.length])),
        many_specimens(bench, some),
        (second_temperature(bench, some, bench.target.warmer or WARMER), second_stress(bench, some)),
        keeping,
        seed,
        part,
    )


def _readings(times: Times, begin: datetime) -> tuple[PlannedReading, ...]:
    def reading(time: float, after: float | None = None) -> PlannedReading:
        return PlannedReading(time, after, begin + timedelta(seconds=float(np.round(time))))

    before = [reading(-60.0)] * 3
    loaded = [reading(t) for t in times.under_load]
    return (*before, *loaded, *(reading(times.length + t, t) for t in times.after))


def _hung(bench: Bench, answers: Sequence[Answer], lengths: Sequence[float]) -> Iterator[Promise]:
    """The bar left hanging for longer and longer, until that promises what is wanted."""
    for length in lengths:
        yield (longer := bench.tried(hung_longer(bench.first, length), answers, FEWER))
        if longer.chance >= SURELY:
            return


def _bars(count: int) -> str:
    return "one bar" if count == 1 else f"{count} bars"
