"""The tables of the catalog. Their rows follow from the entries alone, so that they can be rebuilt.

Times are seconds since 1970 in UTC. A job's number is made from when it was placed, so that the order of
numbers, which every index has for nothing, is the order in which jobs are listed.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import TYPE_CHECKING, Any

from sqlalchemy import BigInteger, Boolean, Column, ForeignKey, Index, Integer, MetaData, Table, Text
from sqlalchemy.dialects.postgresql import TSVECTOR

from handover.archive.entry import entry_json

if TYPE_CHECKING:
    from handover.archive.bag import Bag
    from handover.archive.entry import JobEntry

NEVER = 1 << 60
"""A time that never comes, in seconds; sorts and compares like any other time."""

_INSTANT = timedelta(microseconds=1)
"""What ends at midnight is not due on the day that begins then."""

_CHANCE = 35  # bits of a number below the minute of placement
_Number = BigInteger().with_variant(Integer(), "sqlite")  # SQLite's row id

METADATA = MetaData()

JOB = Table(
    "job",
    METADATA,
    Column("number", _Number, primary_key=True, autoincrement=False),
    Column("job", Text, nullable=False, unique=True),
    Column("bag", Text, nullable=False, unique=True),
    Column("seal", Text, nullable=False),
    Column("placed", BigInteger, nullable=False),
    Column("issued", BigInteger, nullable=False),
    Column("curing_ends", BigInteger, nullable=False),  # `placed` where not known
    Column("frost_until", BigInteger, nullable=False),  # `placed` where there is none
    Column("acknowledged", BigInteger, nullable=False),  # NEVER as long as it is not
    Column("walkthrough_open", Boolean, nullable=False),
    Column("cylinder_low", Boolean, nullable=False),
    Column("entry", Text, nullable=False),
    Column("words", Text().with_variant(TSVECTOR(), "postgresql"), nullable=False),
)

# Answers a question about states by itself, in order of number, without a look at the wide rows.
Index(
    "job_states",
    JOB.c.number,
    JOB.c.placed,
    JOB.c.issued,
    JOB.c.curing_ends,
    JOB.c.frost_until,
    JOB.c.acknowledged,
    JOB.c.walkthrough_open,
    JOB.c.cylinder_low,
)

TASK = Table(
    "task",
    METADATA,
    Column("number", _Number, ForeignKey("job.number", ondelete="CASCADE"), primary_key=True),
    Column("position", Integer, primary_key=True, autoincrement=False),  # in the entry's tasks
    Column("first_day", Integer, nullable=False),  # days since 0001-01-01, by the calendar of the site
    Column("last_day", Integer, nullable=False),
)

Index("task_days", TASK.c.last_day, TASK.c.first_day)


def job_row(bag: Bag, number: int) -> dict[str, Any]:
    """Return the row of a job, without its words."""
    entry = bag.entry
    placed = seconds(entry.placed)
    return {
        "number": number,
        "job": entry.job,
        "bag": bag.folder.name,
        "seal": bag.seal,
        "placed": placed,
        "issued": seconds(entry.issued),
        "curing_ends": seconds(entry.curing_ends) if entry.curing_ends else placed,
        "frost_until": seconds(entry.frost_until) if entry.frost_until else placed,
        "acknowledged": seconds(entry.acknowledged) if entry.acknowledged else NEVER,
        "walkthrough_open": entry.walkthrough_open,
        "cylinder_low": entry.cylinder_low,
        "entry": entry_json(entry).decode(),
    }


def task_rows(entry: JobEntry, number: int) -> list[dict[str, Any]]:
    """Return the rows of the tasks of a job."""
    return [
        {
            "number": number,
            "position": position,
            "first_day": task.start.toordinal(),
            "last_day": max(task.start, (task.end or task.start) - _INSTANT).toordinal(),
        }
        for position, task in enumerate(entry.tasks)
    ]


def preferred_number(entry: JobEntry) -> int:
    """Return the number that a job should have: by the minute of placement, then by a hash of its id."""
    chance = int.from_bytes(sha256(entry.job.encode()).digest()[:8]) >> (64 - _CHANCE)
    return first_number(entry.placed) + chance


def first_number(placed: datetime) -> int:
    """Return the lowest number of a job placed in a minute, by the local time of its site."""
    wall = placed.replace(tzinfo=UTC)
    return (int(wall.timestamp()) // 60) << _CHANCE


def seconds(time: datetime) -> int:
    """Return a time as the tables store it."""
    return int(time.timestamp())
