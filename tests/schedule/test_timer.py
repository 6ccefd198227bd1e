"""The work with a timer: its party is there for all of it, and each day has one look at most.

By principles: a task has one party, and an hour at which that party is there.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest

from handover.documents.care_sheet import CareSheet
from handover.documents.change_sentences import change_sentences
from handover.documents.templating import languages
from handover.documents.wording import Wording
from handover.practice.rules import practice
from handover.schedule.changes import changes
from handover.schedule.plan import plan_cure
from handover.schedule.tasks import WATERING, with_tasks
from handover.schedule.timer import LOOKING, attended_windows, timer_reset, timer_tasks

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


@pytest.mark.parametrize("available", WINDOWS)
def test_the_daily_look_is_at_one_hour_as_long_after_a_run_as_can_be(
    job: Job, weather: Weather, as_of: datetime, available: tuple[str, ...]
) -> None:
    """Right after a run every top is wet: only later does it show whether the runs suffice."""
    record, schedule = planned(job, weather, as_of, available)
    tasks = timer_tasks(schedule, record)
    assert tasks.watched is not None  # the first day has that look
    assert len({each.time() for each in tasks.looks}) == 1
    look = tasks.looks[1]
    [day] = (each for each in schedule.watering if each.date == look.date())
    between = day.visits[1].start - day.visits[0].start

    def since(when: datetime) -> timedelta:
        """Return how long ago a run ended; -1 where one is on, or begins, or where it is too long ago."""
        ends = [visit.end for visit in day.visits if visit.end <= when]
        meets = any(visit.start < when + LOOKING and when < visit.end for visit in day.visits)
        dry = when - max(ends) if ends and not meets else -LOOKING
        return dry if dry <= between else -LOOKING

    night = {time(hour, minute) for hour in (*range(7), 21, 22, 23) for minute in (0, 30)}
    slots = [datetime.combine(look.date(), time(n // 2, n % 2 * 30), look.tzinfo) for n in range(47)]
    there = [each for each in slots if is_there(each, record) and since(each) >= timedelta()]
    by_day = [each for each in there if each.time() not in night] or there
    assert since(look) == max(map(since, by_day))


def test_a_timer_whose_program_changes_is_set_again(job: Job, weather: Weather, as_of: datetime) -> None:
    """Seen: a second issue named new hours as set by the crew the day before, and nobody was asked to."""
    record, first = planned(job, weather, as_of, WINDOWS[0], "soaker hose")
    issued = as_of + timedelta(days=2)
    cooler = plan_cure(record, weather(6.0, 14.0), issued, members=MEMBERS, revision=2)
    hour = timer_reset(first, cooler, record)
    assert hour is not None
    assert issued <= hour < issued + timedelta(days=1)
    assert is_there(hour, record)
    again = with_tasks(replace(cooler, timer_reset=hour, tasks=()), record)
    [task] = (each for each in again.tasks_of("owner", WATERING) if each.how == "reset-timer")
    assert task.start == hour
    found = changes(first, again)
    assert [each.after for each in found if each.kind == "timer"] == [(hour,)]
    assert not [each for each in found if each.kind == WATERING and each.before and each.after]
    for language in languages():
        wording = Wording(record, replace(again, changes=found), language=language)
        when = wording.speak.moment(hour).text
        assert when in CareSheet(wording, {}).intro
        how, before = (
            str(CareSheet(each, {}).how) for each in (wording, Wording(record, first, language=language))
        )
        assert how.partition("</li>")[0] != before.partition("</li>")[0]  # no longer the crew's
        assert [each for each in change_sentences(wording) if when in each]
    third = replace(again, issued_at=issued + timedelta(days=1), revision=3)
    assert timer_reset(again, third, record) == hour  # set once more, not with each issue
    assert not [each for each in changes(again, third) if each.kind == "timer"]
    assert timer_reset(first, replace(first, revision=2), record) is None


def test_a_timer_that_runs_on_one_day_needs_no_look_but_the_first(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    record, schedule = planned(job, weather, as_of, WINDOWS[0])
    first = next(day for day in schedule.watering if day.visits)
    tasks = timer_tasks(replace(schedule, watering=(first,)), record)
    assert tasks.watched == first.visits[0]
    assert tasks.looks == ()
