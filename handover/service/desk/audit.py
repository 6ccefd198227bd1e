"""Who did what, and when: rows that are only added."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import insert, select

from handover.service.desk.database import to_seconds, to_time
from handover.service.desk.tables import AUDIT

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Connection

    from handover.service.desk.database import Desk

AUDIT_ROWS = 200
"""Rows of a page of the trail."""


@dataclass(frozen=True)
class AuditRow:
    """One row of the trail.

    Attributes:
        at: When.
        who: The login of a person, "token NAME", "owner of JOB", "desk".
        what: A code, which the words of the desk have under `desk.audit`.
        about: A job, a person, a name; may be empty.
    """

    at: datetime
    who: str
    what: str
    about: str


def write_audit(connection: Connection, at: datetime, who: str, what: str, about: str = "") -> None:
    """Add a row to the trail, in the transaction of what it is about."""
    connection.execute(insert(AUDIT).values(at=to_seconds(at), who=who, what=what, about=about))


def read_audit(desk: Desk, before: int | None = None, limit: int = AUDIT_ROWS) -> tuple[AuditRow, ...]:
    """Return the last rows of the trail, the last first."""
    statement = select(AUDIT).order_by(AUDIT.c.number.desc()).limit(limit)
    if before is not None:
        statement = statement.where(AUDIT.c.number < before)
    with desk.reading() as connection:
        rows = connection.execute(statement).all()
    return tuple(AuditRow(to_time(each.at), each.who, each.what, each.about) for each in rows)
