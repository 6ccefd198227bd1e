"""The crew's visits that are done: who ticked each, and when. A tick that comes twice is one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import insert, select

from handover.service.desk.audit import write_audit
from handover.service.desk.database import to_seconds, to_time
from handover.service.desk.tables import TICK

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import datetime

    from handover.service.desk.database import Desk
    from handover.service.office import DueItem

VISIT_DONE = "done"
_CREW = "crew "
"""The beginning of the names of the crew's tasks: the owner's have others."""


@dataclass(frozen=True)
class VisitTick:
    """When a visit was ticked, aware, and by whom."""

    at: datetime
    by: str


def visit_name(item: DueItem) -> str:
    """Return the name of a visit among those of its job: its kind, and when it begins."""
    return f"{item.kind} {item.start.isoformat(timespec='minutes') if item.start else ''}".strip()


def tick_visit(desk: Desk, job: str, visit: str, by: str) -> None:
    """Note that a visit is done; one that is ticked stays as it is."""
    task = f"{_CREW}{visit}"
    with desk.writing() as connection:
        known = select(TICK.c.at).where(TICK.c.job == job, TICK.c.task == task)
        if connection.execute(known).first() is None:
            values = {"job": job, "task": task, "state": VISIT_DONE, "at": to_seconds(desk.now()), "by": by}
            connection.execute(insert(TICK).values(**values))
            write_audit(connection, desk.now(), by, "visit-done", f"{job} {visit}")


def ticks_of_visits(desk: Desk, jobs: Iterable[str]) -> Mapping[tuple[str, str], VisitTick]:
    """Return the ticks of the visits of some jobs, by job and name of the visit."""
    statement = select(TICK).where(TICK.c.job.in_(sorted(set(jobs))), TICK.c.task.startswith(_CREW))
    with desk.reading() as connection:
        rows = connection.execute(statement).all()
    return {(each.job, each.task.removeprefix(_CREW)): VisitTick(to_time(each.at), each.by) for each in rows}
