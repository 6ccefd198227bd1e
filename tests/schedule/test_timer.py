"""The work with a timer: its party is there for all of it, and each day has one look at most.

By principles: a task has one party, and an hour at which that party is there.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest

from handover.practice.rules import practice
from handover.schedule.plan import plan_cure
from handover.schedule.tasks import WATERING, with_tasks
from handover.schedule.timer import LOOKING, attended_windows, timer_tasks

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

MEMBERS = 8
WINDOWS = [("06:30-08:00", "12:00-13:00", "17:00-21:00"), ("18:00-22:00",), ("05:30-06:30", "20:00-23:30")]


def is_there(when: datetime, job: JobRecord) -> bool:
    end = when + LOOKING
    return any(
        opens <= when.time() and end.time() <= closes for opens, closes in attended_windows(job, practice())
    )


def planned(
    job: Job, weather: Weather, as_of: datetime, available: tuple[str, ...], method: str = "sprinkler"
) -> tuple[JobRecord, CureSchedule]:
    record = job(curing={"method": method, "timer": True, "available": available})
    return record, plan_cure(record, weather(), as_of, members=MEMBERS)


@pytest.mark.parametrize("available", WINDOWS)
def test_the_owner_sets_the_timer_at_its_first_run_and_looks_once_a_day(
    job: Job, weather: Weather, as_of: datetime, available: tuple[str, ...]
) -> None:
    record, schedule = planned(job, weather, as_of, available)
    tasks = timer_tasks(schedule, record)
    first = next(day.visits[0] for day in schedule.watering if day.visits)
    assert tasks.set_by == first.start
    assert tasks.watched == first
    assert all(is_there(each, record) for each in (first.start, *tasks.looks))
    days = [each.date() for each in tasks.looks]
    assert len(days) == len(set(days))
    runs = {day.date: day.visits[0].end for day in schedule.watering if day.visits}
    assert all(each >= runs[each.date()] for each in tasks.looks if each.date() in runs)


def test_issued_late_the_timer_is_set_at_the_next_hour_of_the_owner(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """The runs of the first day are over: it is set at the next hour at which the owner is there."""
    record, schedule = planned(job, weather, as_of, WINDOWS[0])
    first = next(day for day in schedule.watering if day.visits)
    late = replace(schedule, issued_at=first.visits[-1].end + timedelta(minutes=10))
    tasks = timer_tasks(late, record)
    assert tasks.set_by is not None
    assert tasks.set_by >= late.issued_at
    assert is_there(tasks.set_by, record)


@pytest.mark.parametrize("air", [(-2.0, 14.0), (1.0, 15.0), (4.0, 18.0)])
@pytest.mark.parametrize("available", WINDOWS)
def test_a_timer_that_is_set_once_runs_at_the_same_hours_on_all_days(
    job: Job, weather: Weather, as_of: datetime, available: tuple[str, ...], air: tuple[float, float]
) -> None:
    """A timer knows no frost: a day on which one of its runs may freeze has none, and the timer is off."""
    record = job(curing={"method": "sprinkler", "timer": True, "available": available})
    schedule = plan_cure(record, weather(*air), as_of, members=MEMBERS)
    runs = [{each.start.time() for each in day.visits} for day in schedule.watering if day.visits]
    if not runs:
        return
    program = max(runs, key=len)
    assert all(each <= program for each in runs[1:])  # the last day ends with curing
    assert all(each == program for each in runs[1:-1])


def test_where_mornings_freeze_the_timer_waits_for_the_hours_that_do_not(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    record = job(curing={"method": "sprinkler", "timer": True})
    schedule = plan_cure(record, weather(-2.0, 14.0), as_of, members=MEMBERS)
    mild = plan_cure(record, weather(4.0, 14.0), as_of, members=MEMBERS)
    in_frost, without = (
        min(each.start.time() for day in plan.watering[1:] for each in day.visits)
        for plan in (schedule, mild)
    )
    assert in_frost >= without


def test_a_timer_runs_on_in_rain(job: Job, weather: Weather, as_of: datetime) -> None:
    """It is set once: nobody turns it off for a wet day, and its owner looks at the slab on that day too."""
    rain = np.zeros(14 * 24)
    rain[2 * 24 : 3 * 24] = 4.0
    wet = weather(12.0, 18.0, precipitation_mm=rain, precipitation_probability=np.where(rain > 0.0, 0.9, 0.1))
    by_hand = plan_cure(job(), wet, as_of)
    assert "rain" in {day.skipped_because for day in by_hand.watering}
    timed = plan_cure(job(curing={"timer": True}), wet, as_of)
    assert all(day.visits for day in timed.watering[:-1])
    assert not {day.skipped_because for day in timed.watering} & {"rain"}


@pytest.mark.parametrize("minutes", [-60, 0, 1, 300])
def test_nobody_is_asked_for_the_first_run_once_it_has_begun(
    job: Job, weather: Weather, as_of: datetime, minutes: int
) -> None:
    """Of a timer that the crew has set: from the first run on, the owner's looks are those of all days."""
    record, schedule = planned(job, weather, as_of, WINDOWS[0], "soaker hose")
    first = next(day.visits[0] for day in schedule.watering if day.visits)
    issued = first.start + timedelta(minutes=minutes)
    later = with_tasks(replace(schedule, issued_at=issued, revision=2, tasks=()), record)
    assert timer_tasks(later, record).set_by is None  # the crew sets it: it lays the hose
    looks = [each.how for each in later.tasks_of("owner", WATERING)]
    assert looks
    assert looks[0] == ("first-run" if minutes <= 0 else "look-timer")
    assert set(looks[1:]) <= {"look-timer"}
