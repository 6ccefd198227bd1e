"""Who sets a timer, and when the owner looks at what it waters: each at hours when they are there."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from itertools import zip_longest
from math import inf
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from handover.practice.rules import general_rules, practice
from handover.schedule.cover_times import is_hose_by_crew
from handover.schedule.model import MilestoneKind
from handover.schedule.printed_times import evening_of, half_hour_up, printed_time

if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.jobs.record import JobRecord
    from handover.jobs.time_windows import TimeWindow
    from handover.practice.rules import Practice
    from handover.schedule.model import CureSchedule, Visit, WateringDay

LOOKING = general_rules().duration("visit.slot")
"""How long somebody sets a timer, or looks at the slab."""

LOOK_AFTER = general_rules()["water.timer-look-after"]
"""The longest time after a run for a look, as a share of the time between runs."""


@dataclass(frozen=True)
class TimerTasks:
    """The work with a timer.

    Attributes:
        set_by: When the owner sets it, in the zone of the site; None: the crew does, before it leaves.
        watched: The first run that is to come, if the owner is there at it; they lift the crew's cover.
        looks: When the owner looks at the slab: once a day at most, at the same hour; where the crew sets the
            timer, first at the run that they watch.
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
    run, begins = days[0].visits[0], schedule.finishing_ends
    if schedule.is_first_issue:
        run = _next_run(days[0].visits, schedule.issued_at)
        begins = max(begins, schedule.issued_at, key=datetime.timestamp)
    watched = run if _is_there(run.start, windows, zone) else None
    by_owner = _to_set(run, begins, windows, zone) or _first_hour(begins, windows, zone)
    set_by = None if is_hose_by_crew(schedule) else by_owner
    first = () if watched else (_first_hour(run.end, windows, zone),)
    looks = _one_a_day([*first, *_daily_looks(schedule, days[1:], windows, zone)])
    return TimerTasks(set_by, watched, (run.start, *looks) if watched and set_by is None else looks)


def fullest_day(schedule: CureSchedule) -> WateringDay:
    """Return the day with the most runs of a timer, the last of them: it has the whole program."""
    return max(reversed(schedule.watering), key=lambda day: len(day.visits))


def timer_reset(earlier: CureSchedule, later: CureSchedule, job: JobRecord) -> datetime | None:
    """Return when the owner sets a timer again whose program is another one than in the issue before.

    That is their first hour from the issue on. None where the program is the same as ever, or where no run is
    to come; the hour of the issue before where it has had the present program set.
    """
    if not is_by_timer(later, job) or not any(day.visits for day in earlier.watering):
        return None
    if _program(earlier) == _program(later):
        return earlier.timer_reset
    if not any(later.is_ahead(visit.start) for day in later.watering for visit in day.visits):
        return None
    return _first_hour(later.issued_at, attended_windows(job, practice()), ZoneInfo(later.timezone))


def _program(schedule: CureSchedule) -> tuple[tuple[time, timedelta], ...]:
    """Return the clock time and the length of each run of a day."""
    zone = ZoneInfo(schedule.timezone)
    runs = fullest_day(schedule).visits
    return tuple((each.start.astimezone(zone).time(), each.duration) for each in runs)


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


def _daily_looks(
    schedule: CureSchedule, days: list[WateringDay], windows: tuple[TimeWindow, ...], zone: ZoneInfo
) -> Iterator[datetime]:
    """Yield the look of each day, at the same hour; where no run has ended by then, after the first one.

    None after curing has ended.
    """
    at = _look_hour(fullest_day(schedule), windows, zone)
    ends = schedule.milestone(MilestoneKind.CURING_ENDS)
    printed = None if ends is None else printed_time(ends, schedule.placement_end)
    for day in days:
        usual = None if at is None else datetime.combine(day.date, at, zone)
        is_run = usual is not None and any(each.end.timestamp() <= usual.timestamp() for each in day.visits)
        look = usual if usual is not None and is_run else _first_hour(day.visits[0].end, windows, zone)
        if printed is None or look.timestamp() < printed.instant.timestamp():
            yield look


def _look_hour(day: WateringDay, windows: tuple[TimeWindow, ...], zone: ZoneInfo) -> time | None:
    """Return at which hour a look shows whether the runs suffice; None: at none after a run of the day.

    Right after a run every top is wet. The longer ago it is, the more the top shows, up to the time between
    two runs: for so long the program keeps it wet. Nobody is asked at night who is there by day.
    """
    starts = [each.start.timestamp() for each in day.visits]
    apart = starts[-1] - starts[-2] if starts[1:] else timedelta(days=1).total_seconds()
    found: list[tuple[bool, float, datetime]] = []
    for opens, closes in _spans(day.visits[0].start, day.visits[0].start, windows, zone):
        look = half_hour_up(opens.astimezone(zone)).astimezone(UTC)
        while look + LOOKING <= closes:
            begin, over = look.timestamp(), (look + LOOKING).timestamp()
            dry = begin - max((e for e in (v.end.timestamp() for v in day.visits) if e <= begin), default=inf)
            meets = any(v.start.timestamp() < over and begin < v.end.timestamp() for v in day.visits)
            if 0.0 <= dry <= LOOK_AFTER * apart and not meets:
                found.append((evening_of(look.astimezone(zone)) is None, dry, look))
            look += LOOKING
    return max(found)[2].astimezone(zone).time() if found else None


def _one_a_day(looks: list[datetime]) -> tuple[datetime, ...]:
    """Return one look a day: that of the next day replaces one that is late."""
    later = zip_longest(looks, looks[1:])
    return tuple(look for look, after in later if after is None or look.date() < after.date())
