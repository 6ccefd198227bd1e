"""Dates that wait for another thing: first water for the frost to be over, wheels for the cover to be off."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest

from handover.schedule.cover_times import is_covered_at
from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

Kind = MilestoneKind


def frost_then_mild(weather: Weather) -> WeatherSeries:
    """Five days that freeze every night, then mild ones."""
    cold, mild = weather(-6.0, 4.0).air_c, weather(8.0, 16.0).air_c
    return weather(air_c=np.where(np.arange(len(cold)) < 5 * 24, cold, mild))


def first_visit(schedule: CureSchedule) -> datetime:
    return min(visit.start for day in schedule.watering for visit in day.visits)


def test_first_water_is_never_printed_for_an_hour_that_freezes(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """UFGS and trade practice: no water curing when freezing is expected."""
    schedule = plan_cure(job(), frost_then_mild(weather), as_of)
    first = schedule.milestone(Kind.FIRST_WATER)
    assert first is not None
    assert schedule.watering[0].skipped_because == "frost"
    assert first.not_before == first_visit(schedule)
    assert first.because.governing.rule == "first-water.no-frost"
    hard = {each.rule: each.not_before for each in first.because.others}["first-water.hard-enough"]
    assert hard is not None
    assert hard < first.not_before


def test_where_no_day_is_free_of_frost_there_is_no_first_water(
    job: Job, lasting: Weather, as_of: datetime
) -> None:
    nowhere = {"latitude": None, "longitude": None}  # nothing tells that the frost of the forecast will end
    schedule = plan_cure(job(site=nowhere), lasting(-6.0, 4.0), as_of)
    assert not any(day.visits for day in schedule.watering)
    assert schedule.milestone(Kind.FIRST_WATER) is None


def test_mild_weather_leaves_first_water_where_the_surface_has_it(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    first = plan_cure(job(), weather(), as_of).milestone(Kind.FIRST_WATER)
    assert first is not None
    assert "first-water.no-frost" not in {
        each.rule for each in (first.because.governing, *first.because.others)
    }


@pytest.mark.parametrize("method", ["insulating blanket", "plastic sheet", "wet burlap", "ponding"])
def test_nothing_drives_on_the_slab_while_it_is_covered(
    job: Job, weather: Weather, as_of: datetime, method: str
) -> None:
    schedule = plan_cure(job(curing={"method": method}), weather(2.0, 12.0), as_of)
    ends = schedule.milestone(Kind.PROTECTION_ENDS if method == "insulating blanket" else Kind.CURING_ENDS)
    assert ends is not None
    assert ends.not_before is not None
    for kind in (Kind.LIGHT_VEHICLES, Kind.HEAVY_VEHICLES):
        wheels = schedule.milestone(kind)
        assert wheels is not None
        assert wheels.not_before is None or wheels.not_before >= ends.not_before
        rules = {each.rule for each in (wheels.because.governing, *wheels.because.others)}
        assert f"{kind}.cover-off" in rules


@pytest.mark.parametrize("air_c", [(2.0, 12.0), (14.0, 26.0)])
def test_no_tools_go_into_a_pond(
    job: Job, weather: Weather, as_of: datetime, air_c: tuple[float, float]
) -> None:
    """Light work waits until the pond is let off; under other methods it waits for its strength alone."""
    pond, bare = (
        plan_cure(job(curing={"method": method}), weather(*air_c), as_of)
        for method in ("ponding", "sprinkler")
    )
    work, ends = pond.milestone(Kind.LIGHT_WORK), pond.milestone(Kind.CURING_ENDS)
    assert work is not None
    assert ends is not None
    assert ends.not_before is not None
    assert work.not_before is not None
    assert work.not_before >= ends.not_before
    assert work.because.governing.rule == "light-work.cover-off"
    free = bare.milestone(Kind.LIGHT_WORK)
    assert free is not None
    assert "cover-off" not in str([each.rule for each in (free.because.governing, *free.because.others)])


def test_a_bare_slab_has_no_cover_to_wait_for(job: Job, weather: Weather, as_of: datetime) -> None:
    cars = plan_cure(job(), weather(), as_of).milestone(Kind.LIGHT_VEHICLES)
    assert cars is not None
    assert "light-vehicles.cover-off" not in {each.rule for each in cars.because.others}


def frost_on(weather: Weather, day: int) -> WeatherSeries:
    """Cool days, of which one freezes."""
    cool, cold = weather(6.0, 16.0).air_c, weather(-6.0, 2.0).air_c
    return weather(air_c=np.where(np.arange(len(cool)) // 24 == day, cold, cool))


def test_wheels_do_not_wait_for_curing_where_a_cover_comes_off_for_water(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """Seen: cars five days later for one night of frost, whose cover is off in the morning in every paper."""
    record = job(mix={"slag": 0.5})
    frosty = plan_cure(record, frost_on(weather, 3), as_of)
    [cold] = [each.date for each in frosty.watering if each.skipped_because == "frost"]
    after = min(visit.start for day in frosty.watering if day.date > cold for visit in day.visits)
    cars, cured, work = (
        frosty.milestone(each) for each in (Kind.LIGHT_VEHICLES, Kind.CURING_ENDS, Kind.LIGHT_WORK)
    )
    assert cars is not None
    assert cured is not None
    assert work is not None
    assert cars.not_before is not None
    assert cured.not_before is not None
    assert work.not_before is not None
    assert cars.not_before < cured.not_before
    assert cars.not_before >= after
    assert is_covered_at(frosty, after - timedelta(hours=1))
    assert not is_covered_at(frosty, cars.not_before)
