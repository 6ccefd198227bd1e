"""What the owner has to do at a moment, and what comes next: from the tasks of a schedule, by a clock."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from handover.schedule.tasks import DISTANT, NO_SALT, PERMISSIONS

if TYPE_CHECKING:
    from collections.abc import Collection

    from handover.schedule.model import CureSchedule, Task

NO_WORK = frozenset({*PERMISSIONS, *DISTANT, NO_SALT})
"""Kinds that allow something, or keep something off: nobody does anything at their hour."""


@dataclass(frozen=True)
class NowAndNext:
    """The owner's work at a moment.

    Attributes:
        now: What is to be done at the moment, in order of time.
        next: What comes next; None where nothing more does.
        changes_at: The next moment at which this may be different; None: never.
    """

    now: tuple[Task, ...]
    next: Task | None
    changes_at: datetime | None


def task_key(task: Task) -> str:
    """Return what identifies a task in every revision: "watering 2026-07-15 1"."""
    return f"{task.kind} {task.occasion}".strip()


def owner_work(schedule: CureSchedule) -> tuple[Task, ...]:
    """Return the owner's tasks at which something is done, in order of time."""
    return tuple(each for each in schedule.tasks_of("owner") if each.kind not in NO_WORK)


def now_and_next(schedule: CureSchedule, at: datetime, done: Collection[str] = ()) -> NowAndNext:
    """Return the owner's work at a moment, wherever the reader is.

    Args:
        schedule: The schedule, with its tasks.
        at: The moment, aware.
        done: Keys of tasks that the owner has ticked: they are left out.
    """
    work = [each for each in owner_work(schedule) if task_key(each) not in done]
    now = tuple(each for each in work if each.start <= at < task_end(each))
    later = [each for each in work if each.start > at]
    midnight = _next_midnight(at, schedule.timezone)
    moments = [
        *(each.start for each in later[:1]),
        *map(task_end, now),
        *([midnight] if now or later else []),
    ]
    return NowAndNext(now, later[0] if later else None, min(moments, default=None))


def task_end(task: Task) -> datetime:
    """Return until when a task can still be done."""
    return max(task.until or task.end, task.end)


def _next_midnight(at: datetime, zone: str) -> datetime:
    """Return when the next day begins at a site: "today" and "tomorrow" change then."""
    day = at.astimezone(ZoneInfo(zone)).date() + timedelta(days=1)
    return datetime.combine(day, time(), ZoneInfo(zone))
