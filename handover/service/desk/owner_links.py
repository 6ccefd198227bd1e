"""The links to owners' pages, in the database: made when first asked for, withdrawn, renewed.

The token of a link is derived from the key of the desk, so that the office can show it again, while the
database has its hash alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import insert, select, update

from handover.service.desk.audit import write_audit
from handover.service.desk.database import to_seconds, to_time
from handover.service.desk.tables import LINK
from handover.service.links import TOKEN as TOKEN_FORM
from handover.service.links import derive_token, token_digest

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Connection

    from handover.service.desk.database import Desk


@dataclass(frozen=True)
class OwnerLink:
    """The link of a job that works.

    Attributes:
        job: The id of the job.
        token: Its token.
        created: When it was made.
    """

    job: str
    token: str
    created: datetime


def link_of(desk: Desk, job: str) -> OwnerLink | None:
    """Return the link of a job that works; None where there is none."""
    with desk.reading() as connection:
        return _link(desk, connection, job)


def require_link(desk: Desk, job: str, by: str) -> OwnerLink:
    """Return the link of a job; make the first one. One that was withdrawn is not made again.

    Raises:
        LookupError: It was withdrawn.
    """
    with desk.writing() as connection:
        link = require_link_in(desk, connection, job, by)
    if link is None:
        raise LookupError(job)
    return link


def require_link_in(desk: Desk, connection: Connection, job: str, by: str) -> OwnerLink | None:
    """Return the link of a job, in a transaction; make the first one. None where it was withdrawn."""
    link = _link(desk, connection, job)
    if link is None and _last_number(connection, job) == 0:
        return _add(desk, connection, job, 1, by)
    return link


def withdraw_link(desk: Desk, job: str, by: str) -> None:
    """Withdraw the link of a job: it never works again."""
    with desk.writing() as connection:
        _withdraw(desk, connection, job)
        write_audit(connection, desk.now(), by, "link-withdraw", job)


def renew_link(desk: Desk, job: str, by: str) -> OwnerLink:
    """Withdraw the link of a job, and return a new one."""
    with desk.writing() as connection:
        _withdraw(desk, connection, job)
        return _add(desk, connection, job, _last_number(connection, job) + 1, by)


def job_of_token(desk: Desk, token: str) -> str | None:
    """Return the job whose page a token opens; None where there is none, or it was withdrawn."""
    if not TOKEN_FORM.fullmatch(token):
        return None
    statement = select(LINK.c.job).where(LINK.c.digest == token_digest(token), LINK.c.withdrawn.is_(None))
    with desk.reading() as connection:
        return connection.execute(statement).scalar()


def _link(desk: Desk, connection: Connection, job: str) -> OwnerLink | None:
    row = connection.execute(select(LINK).where(LINK.c.job == job, LINK.c.withdrawn.is_(None))).first()
    return (
        None if row is None else OwnerLink(job, derive_token(job, desk.key, row.number), to_time(row.created))
    )


def _last_number(connection: Connection, job: str) -> int:
    numbers = connection.execute(select(LINK.c.number).where(LINK.c.job == job)).scalars()
    return max(numbers, default=0)


def _add(desk: Desk, connection: Connection, job: str, number: int, by: str) -> OwnerLink:
    token, at = derive_token(job, desk.key, number), desk.now()
    values = {"digest": token_digest(token), "job": job, "number": number, "created": to_seconds(at)}
    connection.execute(insert(LINK).values(**values))
    write_audit(connection, at, by, "link", job)
    return OwnerLink(job, token, at)


def _withdraw(desk: Desk, connection: Connection, job: str) -> None:
    chosen = update(LINK).where(LINK.c.job == job, LINK.c.withdrawn.is_(None))
    connection.execute(chosen.values(withdrawn=to_seconds(desk.now())))
