"""Who sets a timer, and when the owner looks at what it waters: each at hours when they are there."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from handover.practice.rules import general_rules, practice
from handover.schedule.cover_times import is_hose_by_crew
from handover.schedule.printed_times import half_hour_up

if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.jobs.record import JobRecord
    from handover.jobs.time_windows import TimeWindow
    from handover.practice.rules import Practice
    from handover.schedule.model import CureSchedule, Visit, WateringDay

LOOKING = general_rules().duration("visit.slot")
"""How long somebody sets a timer, or looks at the slab."""


@dataclass(frozen=True)
class TimerTasks:
    """The work with a timer.

    Attributes:
        set_by: When the owner sets it, in the zone of the site; None: the crew does, before it leaves.
        watched: The first run that is to come, if the owner is there at it; they lift the crew's cover.
        looks: When the owner looks at the slab: once a day at most, after the first run of the day; where the
            crew sets the timer, first at the run that they watch.
    """

    set_by: datetime | None
    watched: Visit | None
    looks: tuple[datetime, ...]


def timer_tasks(schedule: CureSchedule, job: JobRecord) -> TimerTasks:
    """Return who sets the timer of a job, and when the owner looks.

    The crew sets it where it lays the hose, because the owner may not step there by the first run. Else the
    owner sets it at the first run; issued later, at their last hour before the next run.
    """
    days = [day for day in schedule.watering if day.visits]
    if not days:
        return TimerTasks(None, None, ())
    windows, zone = attended_windows(job, practice()), ZoneInfo(schedule.timezone)
    days = _days_to_come(schedule, days)
    run = _next_run(days[0].visits, schedule.issued_at)
    watched = run if _is_there(run.start, windows, zone) else None
    begins = max(schedule.finishing_ends, schedule.issued_at, key=datetime.timestamp)
    by_owner = _to_set(run, begins, windows, zone) or _first_hour(begins, windows, zone)
    set_by = None if is_hose_by_crew(schedule) else by_owner
    after = [day.visits[0].end for day in days[1:]]
    looks = tuple(_looks(after if watched else [run.end, *after], windows, zone))
    return TimerTasks(set_by, watched, (run.start, *looks) if watched and set_by is None else looks)


def is_by_timer(schedule: CureSchedule, job: JobRecord) -> bool:
    """Return whether a timer waters: it is set once, and somebody looks once a day."""
    visited = [day for day in schedule.watering if day.visits]
    return job.curing.timer and bool(visited) and all(day.litres for day in visited)


def attended_windows(job: JobRecord, rules: Practice) -> tuple[TimeWindow, ...]:
    """Return the hours of the day when somebody can be at the slab, from and to, in order.

    They are the usual ones for a record without any.
    """
    opens, closes = (time.fromisoformat(each) for each in rules.watering_day)
    return job.curing.windows or ((opens, closes),)


def _days_to_come(schedule: CureSchedule, days: list[WateringDay]) -> list[WateringDay]:
    """Return the days with a run to come; all of them where an earlier issue has had the timer set."""
    issued = schedule.issued_at.timestamp()
    ahead = [day for day in days if day.visits[-1].start.timestamp() >= issued]
    return ahead if ahead and schedule.is_first_issue else days


def _next_run(runs: tuple[Visit, ...], issued: datetime) -> Visit:
    """Return the first run that is still to come, else the first of all."""
    return next((each for each in runs if each.start.timestamp() >= issued.timestamp()), runs[0])


def _to_set(run: Visit, begins: datetime, windows: tuple[TimeWindow, ...], zone: ZoneInfo) -> datetime | None:
    """Return when the owner sets a timer before a run: at the run, else at their last hour before it."""
    if _is_there(run.start, windows, zone):
        return run.start
    ends = [
        (closes - LOOKING).astimezone(zone)
        for opens, closes in _spans(begins, run.start, windows, zone)
        if max(opens, begins.astimezone(UTC)) + LOOKING <= closes <= run.start.astimezone(UTC)
    ]
    return max(ends, key=datetime.timestamp, default=None)


def _is_there(when: datetime, windows: tuple[TimeWindow, ...], zone: ZoneInfo) -> bool:
    start = when.astimezone(UTC)
    return any(
        opens <= start and start + LOOKING <= closes for opens, closes in _spans(when, when, windows, zone)
    )


def _first_hour(after: datetime, windows: tuple[TimeWindow, ...], zone: ZoneInfo) -> datetime:
    """Return the first half hour from an instant on at which the owner is there."""
    wanted = half_hour_up(after.astimezone(zone)).astimezone(UTC)
    for opens, closes in _spans(after, after + timedelta(days=1), windows, zone):
        start = max(opens, wanted)
        if start + LOOKING <= closes:
            return start.astimezone(zone)
    return wanted.astimezone(zone)


def _spans(
    first: datetime, last: datetime, windows: tuple[TimeWindow, ...], zone: ZoneInfo
) -> Iterator[tuple[datetime, datetime]]:
    """Yield the hours of presence from the day of an instant to that of another, in order, in UTC."""
    day, until = first.astimezone(zone).date(), last.astimezone(zone).date()
    while day <= until:
        for window in windows:
            opens, closes = (datetime.combine(day, each, zone).astimezone(UTC) for each in window)
            yield opens, closes
        day += timedelta(days=1)


def _looks(after: list[datetime], windows: tuple[TimeWindow, ...], zone: ZoneInfo) -> Iterator[datetime]:
    """Yield a look after each first run, one a day; that of the next day replaces one that is late."""
    found = [_first_hour(each, windows, zone) for each in after]
    for number, look in enumerate(found):
        later = found[number + 1 : number + 2]
        if not later or look.date() < later[0].date():
            yield look
