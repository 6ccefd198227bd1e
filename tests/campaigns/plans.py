"""Random jobs, planned with few members: what holds for any slab."""

from __future__ import annotations

import json
from itertools import pairwise
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from campaign import Case, campaign
from program import quick, suite

from handover.documents.schedule_json import read_schedule
from handover.schedule.surroundings import is_room_assumed
from handover.service.issuing import issue
from handover.service.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from handover.schedule.model import CureSchedule
    from handover.service.issuing import IssuedSet


@campaign(in_suite=2)
def plans(case: Case) -> None:
    """Dates are in order, refused ones are not there, and what people do is at hours when they can."""
    job = suite("agreement/random_jobs.py").random_job(case.random.randrange(10**6))
    record = case.keep("job.toml", job.record.encode())
    weather = case.keep("weather.csv", job.weather.encode())
    case.keep("as-of", job.as_of.isoformat().encode())
    settings = Settings(rules=job.rules, firm_language=job.firm_language)
    with quick():
        issued = issue(record, weather, as_of=job.as_of, settings=settings)
    schedule = read_schedule(issued.files["schedule.json"])
    found = [*out_of_order(issued), *_refused_with_date(schedule), *_odd_tasks(schedule)]
    if job.presence and not job.timer:
        found += _absent(schedule, job.presence)
    assert not found, found


def out_of_order(issued: IssuedSet) -> Iterator[str]:
    """Yield the dates that are before one that they need, and the spans that end before they begin.

    Of a room whose air is assumed, sawing goes by the warm end and setting by the cold one.
    """
    order = suite("schedule/test_order.py")
    may_cross = {"saw-joints before final-set"} if is_room_assumed(issued.job) else set()
    yield from (each for each in order.broken(issued.schedule) if each not in may_cross)
    yield from order.crossed(json.loads(issued.files["schedule.json"]))


def _refused_with_date(schedule: CureSchedule) -> Iterator[str]:
    """Yield the kinds that are refused and have a date or a task all the same."""
    refused = {each.kind for each in schedule.refusals}
    for kind in refused & {str(each.kind) for each in schedule.milestones}:
        yield f"refused {kind} has a date"
    for task in schedule.tasks:
        if task.kind in refused:
            yield f"refused {task.kind} has a task"


def _odd_tasks(schedule: CureSchedule) -> Iterator[str]:
    """Yield tasks that end before they begin, come twice, are out of order or before the concrete."""
    for task in schedule.tasks:
        if task.by not in {"owner", "crew"}:
            yield f"{task.kind} is nobody's: {task.by}"
        if task.end <= task.start:
            yield f"{task.kind} ends {task.end}, begins {task.start}"
        if task.until is not None and task.until < task.start:
            yield f"{task.kind} is over {task.until}, begins {task.start}"
        if task.start.date() < schedule.placement_start.date():
            yield f"{task.kind} begins {task.start}, before the concrete"
    names = [(each.by, each.kind, each.occasion) for each in schedule.tasks]
    yield from (f"{each} twice" for each in sorted({each for each in names if names.count(each) > 1}))
    for one, other in pairwise(schedule.tasks):
        if other.start < one.start:
            yield f"{other.kind} is listed after {one.kind} and begins before"


def _absent(schedule: CureSchedule, presence: list[str]) -> Iterator[str]:
    """Yield the owner's waterings that are not within hours at which somebody is there."""
    zone = ZoneInfo(schedule.timezone)
    windows = [tuple(_minutes(*map(int, end.split(":"))) for end in each.split("-")) for each in presence]
    for task in schedule.tasks_of("owner", "watering"):
        start, end = (_of_day(each, zone) for each in (task.start, task.end))
        if not any(first <= start <= end <= last for first, last in windows):
            yield f"watering from {task.start} to {task.end} while nobody is there"


def _of_day(instant: datetime, zone: ZoneInfo) -> int:
    local = instant.astimezone(zone)
    return _minutes(local.hour, local.minute)


def _minutes(hour: int, minute: int) -> int:
    return 60 * hour + minute
