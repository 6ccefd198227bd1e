"""The looks at the sheets of several slabs: on the same days, and none less often than by itself."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

import pytest

from handover.practice.rules import general_rules
from handover.schedule.model import NO_LOOK
from handover.schedule.plan import plan_cure
from handover.schedule.shared_looks import look_together
from handover.schedule.shared_visits import plan_together

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

DAILY, APART = (round(general_rules()[f"look.{each}"]) for each in ("daily", "apart"))


@pytest.fixture
def sheeted(job: Job, weather: Weather, as_of: datetime) -> CureSchedule:
    curing = {"method": "plastic sheet", "available": ("06:30-21:00",)}
    return plan_cure(job(curing=curing), weather(8.0, 18.0), as_of)


def days_later(schedule: CureSchedule, days: int) -> CureSchedule:
    """Return the schedule of a slab that was placed some days later."""
    later = timedelta(days=days)
    watering = tuple(
        replace(
            each,
            date=each.date + later,
            visits=tuple(replace(one, start=one.start + later, end=one.end + later) for one in each.visits),
            water_hours=tuple(
                replace(one, start=one.start + later, end=one.end + later) for one in each.water_hours
            ),
        )
        for each in schedule.watering
    )
    return replace(schedule, watering=watering, tasks=())


def look_days(schedule: CureSchedule) -> list[date]:
    return [each.date for each in schedule.watering if each.visits]


@pytest.mark.parametrize("later", [0, 1, 2, 3, 4, 5])
def test_sheets_of_one_site_are_looked_at_on_the_same_days(sheeted: CureSchedule, later: int) -> None:
    """In the days in which both lie; between two looks of each are no more days than by itself."""
    other = days_later(sheeted, later)
    alone = [look_days(each) for each in (sheeted, other)]
    together = [look_days(each) for each in look_together((sheeted, other), sheeted.issued_at)]
    both = alone[1][0], min(sheeted.watering[-1].date, alone[0][-1])
    first, second = ({each for each in days if both[0] <= each <= both[1]} for days in together)
    assert first == second
    for own, days in zip(alone, together, strict=True):
        assert days[0] == own[0]
        assert days[:DAILY] == own[:DAILY]
        assert all((after - before).days <= APART for before, after in pairwise(days))
        assert days[-1] >= own[-1] - timedelta(days=APART - 1)


def test_a_day_without_its_look_says_why(sheeted: CureSchedule) -> None:
    for each in look_together((sheeted, days_later(sheeted, 1)), sheeted.issued_at):
        for day in each.watering:
            assert (day.skipped_because == NO_LOOK) == (not day.visits)


def test_what_is_past_stays_and_one_slab_stays_as_it_is(sheeted: CureSchedule) -> None:
    other = days_later(sheeted, 1)
    assert look_together((sheeted,), sheeted.issued_at) == (sheeted,)
    over = sheeted.watering[-1].date + timedelta(days=9)
    late = datetime.combine(over, time(), sheeted.issued_at.tzinfo)
    assert look_together((sheeted, other), late) == (sheeted, other)
    wet = replace(other, curing_method="sprinkler")
    assert look_together((sheeted, wet), sheeted.issued_at) == (sheeted, wet)


def test_papers_that_are_joined_again_keep_the_days(sheeted: CureSchedule) -> None:
    other = days_later(sheeted, 1)
    first = look_together((sheeted, other), sheeted.issued_at)
    for days in range(3, 8):
        as_of = sheeted.issued_at + timedelta(days=days)
        again = look_together((sheeted, other), as_of)
        for one, two in zip(first, again, strict=True):
            assert [each for each in look_days(one) if each > as_of.date()] == [
                each for each in look_days(two) if each > as_of.date()
            ]


def on_its_own_days_alone(schedule: CureSchedule) -> CureSchedule:
    """Return a schedule of a slab at which nobody is on the days without a look."""
    days = (each if each.visits else replace(each, water_hours=()) for each in schedule.watering)
    return replace(schedule, watering=tuple(days))


def test_a_slab_to_which_the_days_do_not_fit_keeps_its_own(sheeted: CureSchedule) -> None:
    """The other one goes by its days; where these do not fit either, each keeps its own."""
    closed = on_its_own_days_alone(days_later(sheeted, 1))
    one, two = look_together((sheeted, closed), sheeted.issued_at)
    assert look_days(two) == look_days(closed)
    assert {each for each in look_days(two) if each <= look_days(one)[-1]} <= {*look_days(one)}
    own = on_its_own_days_alone(sheeted)
    assert look_together((own, closed), sheeted.issued_at) == (own, closed)


def test_the_looks_are_at_one_time(sheeted: CureSchedule, job: Job) -> None:
    other = days_later(sheeted, 1)
    jobs = [job(), job()]
    one, two = plan_together(jobs, (sheeted, other), sheeted.issued_at)
    starts = [{visit.start for day in each.watering[2:-2] for visit in day.visits} for each in (one, two)]
    assert len(starts[0] & starts[1]) >= len(starts[0]) - 1
