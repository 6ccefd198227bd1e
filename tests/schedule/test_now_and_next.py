"""What the owner does at a moment: from the tasks alone, by the clock of the site."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import TYPE_CHECKING, cast

import pytest

from handover.schedule.model import MilestoneKind, Task
from handover.schedule.now_and_next import now_and_next, owner_work, task_key

if TYPE_CHECKING:
    from handover.schedule.model import CureSchedule

DAY = datetime(2026, 7, 15, tzinfo=UTC)  # 8 pm of the 14th in New York


def at(hour: float) -> datetime:
    return DAY + timedelta(hours=hour)


def watering(start: float, end: float, occasion: str, until: float | None = None) -> Task:
    last = None if until is None else at(until)
    return Task("watering", "owner", at(start), at(end), "watering", occasion=occasion, until=last)


MORNING, EVENING = watering(11, 12, "2026-07-15 1"), watering(23, 23.5, "2026-07-15 2", until=25)
WALKING = Task(MilestoneKind.FOOT_TRAFFIC, "owner", at(12), at(13), "foot-traffic")
SAW = Task(MilestoneKind.SAW_JOINTS, "crew", at(1), at(3), "saw-joints")


@pytest.fixture
def schedule() -> CureSchedule:
    tasks = (SAW, MORNING, WALKING, EVENING)
    made = SimpleNamespace(
        timezone="America/New_York", tasks_of=lambda by: tuple(each for each in tasks if each.by == by)
    )
    return cast("CureSchedule", made)


def test_permissions_and_the_crews_work_are_not_the_owners_work(schedule: CureSchedule) -> None:
    assert owner_work(schedule) == (MORNING, EVENING)


@pytest.mark.parametrize(
    ("hour", "now", "following", "changes"),
    [
        (0, (), MORNING, 4),  # midnight of the site: "tomorrow" is "today" from then on
        (10.9, (), MORNING, 11),
        (11, (MORNING,), EVENING, 12),
        (11.99, (MORNING,), EVENING, 12),
        (12, (), EVENING, 23),
        (23.2, (EVENING,), None, 25),
        (24.9, (EVENING,), None, 25),  # it can still be done past its end
        (25, (), None, None),
    ],
)
def test_the_work_of_a_moment(
    schedule: CureSchedule, hour: float, now: tuple[Task, ...], following: Task | None, changes: float | None
) -> None:
    found = now_and_next(schedule, at(hour))
    assert (found.now, found.next) == (now, following)
    assert found.changes_at == (None if changes is None else at(changes))


def test_what_is_ticked_is_not_to_be_done(schedule: CureSchedule) -> None:
    assert task_key(MORNING) == "watering 2026-07-15 1"
    found = now_and_next(schedule, at(11.5), {task_key(MORNING)})
    assert (found.now, found.next) == ((), EVENING)
    assert now_and_next(schedule, at(11.5), {task_key(MORNING), task_key(EVENING)}).changes_at is None
