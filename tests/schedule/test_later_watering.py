"""The watering plan goes on until curing ends, also past the simulation.

By principle: a table that ends weeks before the date "stop watering" contradicts it.
"""

from __future__ import annotations

from datetime import UTC, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

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

SIMULATED = timedelta(days=28)
SLOW = {"slag": 0.5, "specified_strength": 38.0}


@pytest.fixture
def planned(job: Job, weather: Weather, as_of: datetime) -> Callable[..., CureSchedule]:
    """The schedule of a slow mix in a dull, cold month without frost."""
    columns = {"shortwave_wm2": np.zeros(14 * 24), "latitude": None, "longitude": None}

    def build(**curing: Any) -> CureSchedule:
        record = job(mix=SLOW, curing=curing, placement={"finished": None})
        return plan_cure(record, weather(4.0, 11.0, **columns), as_of, members=20)

    return build


@pytest.mark.parametrize(
    "curing",
    [{"method": "sprinkler"}, {"method": "soaker hose", "timer": True}, {"method": "wet burlap"}],
    ids=["sprinkler", "timer", "burlap"],
)
def test_each_day_until_curing_ends_is_in_the_plan(
    planned: Callable[..., CureSchedule], curing: dict[str, Any]
) -> None:
    schedule = planned(**curing)
    ends = schedule.milestone(MilestoneKind.CURING_ENDS)
    assert ends is not None
    assert ends.printed is not None
    assert ends.printed.instant - schedule.placement_end > SIMULATED + timedelta(days=2)
    days = [each.date for each in schedule.watering]
    assert all(later - earlier == timedelta(days=1) for earlier, later in pairwise(days))
    assert days[-1] == ends.printed.instant.date() - timedelta(days=1)


def test_a_later_day_has_the_hours_of_the_last_planned_one(planned: Callable[..., CureSchedule]) -> None:
    schedule = planned(method="sprinkler")
    planned_until = schedule.placement_end + SIMULATED - timedelta(days=3)
    hours = [
        [(visit.start.time(), visit.end.time(), visit.litres) for visit in day.visits]
        for day in schedule.watering
        if day.date > planned_until.date()
    ]
    assert len(hours) > 4
    assert all(each == hours[0] for each in hours)
    assert hours[0]


def test_the_water_of_all_days_is_that_of_the_visits(planned: Callable[..., CureSchedule]) -> None:
    schedule = planned(method="sprinkler")
    total = {each.name: each.value for each in schedule.figures}["water_total"]
    assert total == pytest.approx(sum(day.litres for day in schedule.watering))


def test_no_visit_is_after_the_end_of_curing(planned: Callable[..., CureSchedule]) -> None:
    schedule = planned(method="sprinkler")
    ends = schedule.milestone(MilestoneKind.CURING_ENDS)
    assert ends is not None
    assert ends.printed is not None
    last = max(visit.end for day in schedule.watering for visit in day.visits)
    assert last.astimezone(UTC) <= ends.printed.instant.astimezone(UTC)
