"""What the crew sees of the surface moves the dates to where it says, and narrows them.

By what must hold: the last pass of the trowel lies between initial and final set, and so on.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.jobs.record import InfraredReading, JobRecord, LogReading, ScratchTest, TemperatureLog
from handover.schedule.ensemble import CENTRAL
from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure
from handover.schedule.simulation import simulate

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.schedule.model import CureSchedule
    from handover.schedule.simulation import Simulation
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]
    Seen = Callable[..., Simulation]

SURFACE = 0
MILD = (12.0, 22.0)


@pytest.fixture
def seen(job: Job, weather: Weather, as_of: datetime) -> Seen:
    """Simulate a mild day with looks at the surface, by default without any, in its evening.

    A last pass that lies after the time of issue is a plan, and no look.
    """

    def simulate_with(finished: datetime | None = None, **looks: Any) -> Simulation:
        record = job(placement={"finished": finished}).model_copy(update=looks)
        return simulate(record, weather(*MILD), at(as_of, 20.0))

    return simulate_with


def at(as_of: datetime, hour: float) -> datetime:
    return as_of.replace(hour=0) + timedelta(hours=hour)


def final_set(simulation: Simulation) -> tuple[float, float, float]:
    """Return the age at final set: its early end, its middle, its late end, in h at 21.1 degC."""
    low, middle, high = np.quantile(
        simulation.concrete.final_set_h[simulation.ensemble.last_placed], (0.1, 0.5, 0.9)
    )
    return float(low), float(middle), float(high)


def not_before(schedule: CureSchedule, kind: MilestoneKind) -> datetime:
    milestone = schedule.milestone(kind)
    assert milestone is not None
    assert milestone.not_before is not None
    return milestone.not_before


def test_without_a_look_nothing_is_moved(seen: Seen) -> None:
    plain = seen()
    assert np.array_equal(plain.ensemble.draws["setting"][:1], [0.0])
    assert plain.measurements.records == ()


def test_the_last_pass_is_between_initial_and_final_set(seen: Seen, as_of: datetime) -> None:
    simulation = seen(at(as_of, 13.0))
    last, margin = simulation.ensemble.last_placed, simulation.practice["setting.observed-margin"]
    age = simulation.slab.age_at(at(as_of, 13.0), SURFACE)[last]
    assert np.all(simulation.concrete.initial_set_h[last] * (1.0 - margin) <= age * 1.02)
    assert np.all(simulation.concrete.final_set_h[last] * (1.0 + margin) >= age / 1.02)


def test_finishing_later_never_sets_earlier(seen: Seen, as_of: datetime) -> None:
    sets = [final_set(seen(at(as_of, hour))) for hour in (9.0, 11.0, 13.0, 15.0, 17.0)]
    for end in range(3):
        column = [each[end] for each in sets]
        assert column == sorted(column)


@pytest.mark.all_members
def test_finishing_as_estimated_narrows_the_band(seen: Seen, as_of: datetime) -> None:
    low, _, high = final_set(seen())
    narrow_low, _, narrow_high = final_set(seen(at(as_of, 13.0)))
    assert narrow_high - narrow_low < high - low


@pytest.mark.all_members
def test_an_early_broom_moves_the_cautious_end_no_further_than_is_usual(seen: Seen, as_of: datetime) -> None:
    """A broom may pass an hour after placing; nobody waters nine tenths of such slabs too early by it."""
    spread, reach = (seen().practice[rule] for rule in ("spread.setting", "setting.observed-reach"))
    _, middle, _ = final_set(seen())
    _, _, cautious = final_set(seen(at(as_of, 8.0)))
    assert cautious >= middle * spread**-reach * 0.97


def test_the_first_concrete_sets_as_the_last(seen: Seen, as_of: datetime) -> None:
    """One mix: the same factor on the time to set in the members that follow the concrete placed first."""
    ensemble = seen(at(as_of, 15.0)).ensemble
    first = ensemble.setting[ensemble.first_placed]
    assert np.array_equal(first, ensemble.setting[: len(first)])


@pytest.mark.all_members
def test_no_water_on_a_surface_that_a_key_marks(job: Job, weather: Weather, as_of: datetime) -> None:
    marked = ScratchTest(time=at(as_of, 19.0), marks=True)
    plain, looked = (
        plan_cure(
            job(placement={"finished": None}).model_copy(update={"scratch": looks}), weather(*MILD), as_of
        )
        for looks in ((), (marked,))
    )
    water = MilestoneKind.FIRST_WATER
    assert not_before(plain, water) < marked.time < not_before(looked, water)


def test_a_surface_that_no_key_marks_has_set(seen: Seen, as_of: datetime) -> None:
    hard = ScratchTest(time=at(as_of, 13.5), marks=False)
    simulation = seen(scratch=(hard,))
    age = simulation.slab.age_at(hard.time, SURFACE)
    assert simulation.concrete.final_set_h[CENTRAL] <= age[CENTRAL] * 1.02
    assert final_set(simulation)[2] < final_set(seen())[2]


def test_of_two_looks_that_contradict_each_other_the_later_date_counts(seen: Seen, as_of: datetime) -> None:
    hard, marked = (
        ScratchTest(time=at(as_of, 12.0), marks=False),
        ScratchTest(time=at(as_of, 20.0), marks=True),
    )
    both, alone = (final_set(seen(scratch=looks)) for looks in ((hard, marked), (marked,)))
    assert both[0] >= alone[0] * 0.99


def test_a_colder_surface_sets_later(seen: Seen, as_of: datetime) -> None:
    when = at(as_of, 11.0)
    estimate = float(seen().slab.temperature_at(when, SURFACE)[CENTRAL])
    times = []
    for warmer in (-6.0, 0.0, 6.0):
        simulation = seen(infrared=(InfraredReading(time=when, temperature=estimate + warmer),))
        there = float(simulation.slab.temperature_at(when, SURFACE)[CENTRAL])
        assert abs(there - estimate) <= abs(warmer)
        assert (there - estimate) * warmer >= 0.0
        times.append(float(simulation.slab.age_at(at(as_of, 16.0), SURFACE)[CENTRAL]))
    assert times == sorted(times)


@pytest.mark.all_members
def test_a_reading_as_estimated_narrows_the_members(seen: Seen, as_of: datetime) -> None:
    when = at(as_of, 12.0)
    plain = seen().slab.temperature_at(when, SURFACE)
    reading = InfraredReading(time=when, temperature=float(plain[CENTRAL]))
    read = seen(infrared=(reading,)).slab.temperature_at(when, SURFACE)
    assert read[CENTRAL] == pytest.approx(plain[CENTRAL], abs=1e-9)
    assert read.std() < plain.std()


def test_beside_a_logger_a_reading_is_only_noted(seen: Seen, as_of: datetime) -> None:
    log = TemperatureLog(
        file="log.csv", depth=0.05, readings=tuple(LogReading(at(as_of, hour), 20.0) for hour in (9, 10, 11))
    )
    reading = InfraredReading(time=at(as_of, 11.0), temperature=40.0)
    alone, both = seen(temperature_log=log), seen(temperature_log=log, infrared=(reading,))
    assert np.array_equal(alone.slab.temperature_c, both.slab.temperature_c)
    assert both.measurements.records[-1].outcome == "surface-noted"


def test_each_look_is_among_the_measurements(seen: Seen, as_of: datetime) -> None:
    records = seen(
        at(as_of, 13.0),
        scratch=(ScratchTest(time=at(as_of, 14.0), marks=True),),
        infrared=(InfraredReading(time=at(as_of, 12.0), temperature=25.0),),
    ).measurements.records
    assert [each.kind for each in records] == ["finishing", "scratch", "infrared"]
