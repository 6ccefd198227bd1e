"""Limits of rate and of attempts, counted in the database: for all processes, and across a restart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import delete, func, insert, select

from handover.service.desk.database import to_seconds
from handover.service.desk.refusals import TooManyAttempts
from handover.service.desk.tables import ATTEMPT

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Connection

    from handover.service.desk.database import Desk


@dataclass(frozen=True)
class RateLimit:
    """At most so many attempts in so many seconds."""

    most: int
    within_s: int


SIGN_INS = RateLimit(10, 600)
"""Failed attempts to sign in as one person."""

SIGN_INS_OF_PLACE = RateLimit(50, 600)
"""Failed attempts to sign in, or to open an invitation or a link, from one address."""

API_REQUESTS = RateLimit(600, 3600)
"""Records that one token hands in."""

OWNER_POSTS = RateLimit(300, 3600)
"""Ticks and other posts to one owner's page."""


def check_attempts(connection: Connection, what: str, limit: RateLimit, at: datetime) -> None:
    """Refuse an attempt where there were too many.

    Raises:
        TooManyAttempts: There were.
    """
    since = to_seconds(at) - limit.within_s
    counted = connection.execute(
        select(func.count(), func.min(ATTEMPT.c.at)).where(ATTEMPT.c.what == what, ATTEMPT.c.at > since)
    ).one()
    if counted[0] >= limit.most:
        raise TooManyAttempts(max(1, int(counted[1]) - since))


def count_attempt(connection: Connection, what: str, limit: RateLimit, at: datetime) -> None:
    """Count an attempt, and forget those that no longer matter."""
    since = to_seconds(at) - limit.within_s
    connection.execute(delete(ATTEMPT).where(ATTEMPT.c.what == what, ATTEMPT.c.at <= since))
    connection.execute(insert(ATTEMPT).values(what=what, at=to_seconds(at)))


def allow(desk: Desk, what: str, limit: RateLimit) -> None:
    """Count an attempt of something that may be done only so often.

    Raises:
        TooManyAttempts: It was done too often.
    """
    at = desk.now()
    with desk.writing() as connection:
        check_attempts(connection, what, limit, at)
        count_attempt(connection, what, limit, at)
