"""A run as a linear problem: what acts, what is read, where a zero begins, and the columns of a model."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from creepfit.errors import FitError
from creepfit.inference.columns import SETTLING_BEFORE, observations
from creepfit.mechanics.clock import AgeingClock
from creepfit.mechanics.loading import superpose
from creepfit.mechanics.specimen import Cantilever, Direct
from creepfit.models.findley import Findley, PurePower
from creepfit.models.kelvin_chain import KelvinChain
from creepfit.models.model import Kelvin
from creepfit.records.run import Event, Gauge, LoadStep, Reading, Rig, Run
from creepfit.units import Measure

Array = NDArray[np.float64]
MINUTE, HOUR, DAY = 60.0, 3600.0, 86400.0

TIMES = (-MINUTE, MINUTE, HOUR, DAY, 2 * DAY, 2 * DAY + MINUTE, 3 * DAY)
VALUES = (12.40, 13.50, 13.60, 13.70, 13.72, 12.70, 12.60)


def a_run(**changes: object) -> Run:
    """Two days under 2 N and a day of recovery."""
    run = Run(
        "PETG",
        Direct(),
        Gauge(0.01, 0.008, "given"),
        (LoadStep(0.0, 2.0), LoadStep(2 * DAY, 0.0)),
        tuple(Reading(t, v) for t, v in zip(TIMES, VALUES, strict=True)),
    )
    return replace(run, **changes)  # type: ignore[arg-type]


def test_what_a_fit_needs_of_a_run() -> None:
    seen = observations(a_run())
    assert seen.times.tolist() == list(TIMES)
    assert seen.values.tolist() == list(VALUES)
    assert seen.zeros.tolist() == [[1.0]] * 7
    assert seen.load == 2.0
    assert seen.factor == 1.0
    assert (seen.span.first, seen.span.last) == (MINUTE, 2 * DAY)
    assert seen.has_initial
    assert seen.has_recovery
    assert seen.scale == pytest.approx(1.32)
    assert seen.deformation == pytest.approx(np.array(VALUES) - 12.40)


def test_a_gauge_whose_readings_fall() -> None:
    fallen = a_run(
        gauge=Gauge(0.01, 0.008, "given", falls=True),
        readings=tuple(Reading(t, 30.0 - v) for t, v in zip(TIMES, VALUES, strict=True)),
    )
    assert observations(fallen).deformation == pytest.approx(observations(a_run()).deformation)


def test_what_the_rig_gives_way_is_taken_off() -> None:
    seen = observations(a_run(rig=Rig(compliance=0.01)))
    # 0.02 mm while 2 N hang; the reading at exactly the unloading was taken before it
    assert seen.values == pytest.approx(np.array(VALUES) - 0.02 * np.array([0, 1, 1, 1, 1, 0, 0]))


def test_first_elapsed_time_is_counted_from_the_last_change_of_load() -> None:
    steps = (LoadStep(0.0, 1.0), LoadStep(DAY - 10.0, 2.0), LoadStep(2 * DAY, 0.0))
    assert observations(a_run(steps=steps)).span.first == 10.0


def test_without_initial_or_recovery_readings() -> None:
    run = a_run(readings=tuple(Reading(t, v) for t, v in zip(TIMES[1:5], VALUES[1:5], strict=True)))
    seen = observations(run)
    assert not seen.has_initial
    assert not seen.has_recovery
    assert seen.deformation[0] == 0.0


@pytest.mark.parametrize("kept", [(0,), (0, 5, 6)])
def test_no_reading_under_load_is_an_error(kept: tuple[int, ...]) -> None:
    with pytest.raises(FitError, match="no reading was taken under load"):
        observations(a_run(readings=tuple(Reading(TIMES[i], VALUES[i]) for i in kept)))


# --- zeros --------------------------------------------------------------------------------------------------------------


def test_each_event_that_moves_the_zero_starts_a_column() -> None:
    seen = observations(a_run(events=(Event(HOUR, "rezeroed"), Event(2.5 * DAY, "bumped"))))
    # a reading at exactly the event's time was taken before it
    assert seen.zeros.T.tolist() == [[1, 1, 1, 0, 0, 0, 0], [0, 0, 0, 1, 1, 1, 0], [0, 0, 0, 0, 0, 0, 1]]
    # laid end to end for the scale, the jump at the event is gone
    assert seen.deformation[3] == pytest.approx(seen.deformation[2])


def test_a_stretch_without_readings_has_no_column() -> None:
    seen = observations(a_run(events=(Event(1.2 * HOUR, "rezeroed"), Event(1.5 * HOUR, "new observer"))))
    assert seen.zeros.shape == (7, 2)


def test_readings_after_a_slip_are_not_used() -> None:
    seen = observations(a_run(events=(Event(DAY, "slipped"),)))
    assert seen.times.tolist() == list(TIMES[:4])
    assert seen.zeros.shape == (4, 1)
    assert not seen.has_recovery


# --- what acts besides the load -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("falls", "force", "preload", "before"), [(False, 0.5, 0.0, -0.5), (True, 0.5, 0.0, 0.5), (False, 0.5, 0.8, 0.3)]
)
def test_plunger_and_hanger_act_from_a_minute_before_the_first_reading(
    falls: bool, force: float, preload: float, before: float
) -> None:
    """A plunger that is pushed in as the specimen deforms pushes back; one that follows it pushes along."""
    run = a_run(gauge=Gauge(0.01, 0.008, "given", falls=falls, force=force), rig=Rig(preload=preload))
    seen = observations(run)
    start = -MINUTE - SETTLING_BEFORE
    at = np.array([start - 1.0, start + 1.0, -1.0, HOUR, 3 * DAY])
    assert seen.history.at(at) == pytest.approx([0.0, before, before, 2.0 + before, before])
    # the reference load is what was added
    assert seen.load == 2.0
    assert seen.has_initial


# --- columns ---------------------------------------------------------------------------------------------------------


def test_response_columns_are_superposed_functions_times_the_geometry() -> None:
    bar = Cantilever(length=Measure(60.0), width=Measure(12.0), thickness=Measure(4.0))
    seen = observations(a_run(specimen=bar))
    assert seen.factor == pytest.approx(bar.geometry.reading_per_compliance)
    columns = seen.response(Findley(), np.array([[0.1], [0.3]]))
    assert columns.shape == (2, 7, 2)
    assert columns[0, :, 0] == pytest.approx(seen.factor * seen.history.at(seen.times))
    for i, n in enumerate((0.1, 0.3)):
        power = superpose(PurePower(), seen.history, seen.times, np.array([n]))[0]
        assert columns[i, :, 1] == pytest.approx(seen.factor * power)


def test_nodes_of_a_product_grid_come_out_in_their_own_order() -> None:
    seen = observations(a_run())
    shapes = np.array([[HOUR, DAY], [10 * HOUR, DAY], [HOUR, 5 * DAY], [DAY, HOUR]])
    columns = seen.response(KelvinChain(2), shapes)
    for row, taus in zip(columns, shapes, strict=True):
        for k, tau in enumerate(taus):
            assert row[:, 1 + k] == pytest.approx(superpose(Kelvin(), seen.history, seen.times, np.array([tau]))[0])


def test_columns_on_an_ageing_clock() -> None:
    seen = observations(a_run())
    clock = AgeingClock(DAY, 0.9)
    column = seen.response(Findley(), np.array([[0.2]]), clock)[0, :, 1]
    wanted = superpose(PurePower(), seen.history.warped(clock), clock(seen.times), np.array([0.2]))[0]
    assert column == pytest.approx(wanted)
    assert column[3] < seen.response(Findley(), np.array([[0.2]]))[0, 3, 1]


def test_the_set_column_follows_the_highest_load_so_far() -> None:
    seen = observations(a_run())
    assert seen.peak_column().tolist() == [0.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0]
    assert seen.instant_column().tolist() == [0.0, 1.0, 1.0, 1.0, 1.0, 0.0, 0.0]


def test_other_values_leave_the_rest_alone() -> None:
    seen = observations(a_run())
    other = seen.with_values(np.zeros(7))
    assert other.values.tolist() == [0.0] * 7
    assert other.history is seen.history
    assert seen.values.tolist() == list(VALUES)


def test_readings_that_never_move_still_have_a_scale() -> None:
    still = a_run(readings=tuple(Reading(t, 12.4) for t in TIMES))
    seen = observations(still)
    assert seen.scale == seen.noise.stated > 0.0
