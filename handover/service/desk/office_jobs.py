"""What the office sees of its jobs: found by words, with their states and links, and what is to be sent."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import func, select, update

from handover.archive.catalog.query import Query, states_of
from handover.archive.deposit import recover
from handover.service.desk.audit import write_audit
from handover.service.desk.database import to_seconds, to_time
from handover.service.desk.owner_links import link_of
from handover.service.desk.tables import TO_SEND

if TYPE_CHECKING:
    from datetime import date, datetime

    from handover.archive.entry import JobEntry
    from handover.service.desk.database import Desk

PAGE_JOBS = 50
"""Jobs on a page."""


@dataclass(frozen=True)
class OfficeJob:
    """A job in a list of the office.

    Attributes:
        job: Its id.
        placed: The day of the pour.
        revision: Of the last issue.
        issued: Time of the last issue.
        owner, street, phone, email, language: Of the owner; empty where not known.
        states: Codes of its states.
        token: Of its link; None where there is none that works.
        to_send: Since when its last issue is to be sent; None where it was sent.
    """

    job: str
    placed: date
    revision: int
    issued: datetime
    owner: str
    street: str
    phone: str
    email: str
    language: str
    states: tuple[str, ...]
    token: str | None
    to_send: datetime | None


def find_jobs(desk: Desk, words: str = "") -> tuple[OfficeJob, ...]:
    """Return the jobs that have some words, the one placed last first; at most a page of them.

    Raises:
        CatalogFailed: The catalog cannot be read.
    """
    if not desk.archive.has_catalog:
        return ()
    recover(desk.archive)  # what a killed run has left
    waiting = _waiting(desk)
    entries = desk.archive.catalog.find(Query(words, limit=PAGE_JOBS)).entries
    return tuple(_office_job(desk, each, waiting.get(each.job)) for each in entries)


def jobs_to_send(desk: Desk) -> tuple[OfficeJob, ...]:
    """Return the jobs whose last issue nobody has sent to the owner, the oldest first."""
    waiting = sorted(_waiting(desk).items(), key=lambda each: each[1])
    bags = ((desk.archive.bag_or_none(job), since) for job, since in waiting)
    return tuple(_office_job(desk, bag.entry, since) for bag, since in bags if bag)


def office_job(desk: Desk, job: str) -> OfficeJob | None:
    """Return one job; None where there is none."""
    bag = desk.archive.bag_or_none(job)
    return None if bag is None else _office_job(desk, bag.entry, _waiting(desk).get(job))


def note_sent(desk: Desk, job: str, by: str) -> None:
    """Note that somebody has sent the last issue of a job, and so all before it."""
    at = desk.now()
    with desk.writing() as connection:
        open_rows = update(TO_SEND).where(TO_SEND.c.job == job, TO_SEND.c.sent.is_(None))
        if connection.execute(open_rows.values(sent=to_seconds(at), by=by)).rowcount:
            write_audit(connection, at, by, "sent", job)


def _waiting(desk: Desk) -> dict[str, datetime]:
    """Return since when an issue of each job is to be sent."""
    statement = (
        select(TO_SEND.c.job, func.min(TO_SEND.c.created).label("since"))
        .where(TO_SEND.c.sent.is_(None))
        .group_by(TO_SEND.c.job)
    )
    with desk.reading() as connection:
        return {each.job: to_time(each.since) for each in connection.execute(statement)}


def _office_job(desk: Desk, entry: JobEntry, to_send: datetime | None) -> OfficeJob:
    link = link_of(desk, entry.job)
    more = {name: str(entry.more.get(name) or "") for name in ("phone", "email", "language")}
    return OfficeJob(
        entry.job,
        entry.placed.date(),
        entry.revision,
        entry.issued,
        entry.owner,
        entry.street,
        states=tuple(sorted(states_of(entry, desk.now()))),
        token=None if link is None else link.token,
        to_send=to_send,
        **more,
    )
