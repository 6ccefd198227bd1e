"""Queries of an archive by the office: jobs, their states, tasks due, and the export for other programs.

Each query first recovers what a killed run left incomplete, so that no job is missing; with read-only access,
the catalog is used as it is. Results are plain values: no catalog, no path, nothing printed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, time
from itertools import islice
from shlex import quote
from typing import TYPE_CHECKING, Any, TextIO

from handover.archive.catalog import JobState, Query, states_of
from handover.archive.catalog.tokens import MIN_TOKEN, tokens
from handover.archive.deposit import recover
from handover.archive.entry import entry_data
from handover.archive.export import export_csv, export_jsonl
from handover.errors import Finding, UnusableInput
from handover.service.job_states import STATE_WORDS

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date
    from typing import Literal

    from handover.archive.catalog import Catalog, DueTask
    from handover.archive.entry import JobEntry
    from handover.archive.store import Archive

PAGE_LENGTH = 50
"""Maximum number of jobs in a result by default."""

MIN_BEGINNING = MIN_TOKEN
"""Minimum length of a search word that also matches the beginning of longer words."""

DUE_HOUR = time(12)
"""Hour in UTC for the states of a day other than today: it is the same day in nearly every time zone."""


# ---- find -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class JobSearch:
    """A search; all of its conditions must hold.

    Attributes:
        at: The time of the states, aware.
        words: Words of id, owner, street, contractor, mix, supplier, remarks.
        placed_from, placed_until: First and last day of placement.
        states: Names of states, see `STATE_WORDS`.
    """

    at: datetime
    words: str = ""
    placed_from: date | None = None
    placed_until: date | None = None
    states: frozenset[str] = frozenset()


@dataclass(frozen=True)
class JobSummary:
    """A job in a list: day of placement, id, owner with phone or email, street, states in words."""

    placed: date
    job: str
    owner: str
    street: str
    states: tuple[str, ...]


@dataclass(frozen=True)
class FindResult:
    """The result of a search, the job placed last first.

    Attributes:
        jobs: The jobs, up to the maximum.
        has_more: Whether there are more.
        short_words: Words of the search that are too short to match beginnings of other words.
    """

    jobs: tuple[JobSummary, ...]
    has_more: bool
    short_words: tuple[str, ...]


def find(archive: Archive, search: JobSearch, limit: int = PAGE_LENGTH) -> FindResult:
    """Return the jobs that match a search.

    Raises:
        UnusableInput: The archive has no catalog.
        CatalogFailed: The catalog cannot be read.
    """
    result = _current_catalog(archive).find(_query(search, limit))
    return FindResult(
        jobs=tuple(_summary(each, search.at) for each in result.entries),
        has_more=result.next is not None,
        short_words=tuple(each for each in tokens(search.words) if len(each) < MIN_TOKEN),
    )


def find_data(archive: Archive, search: JobSearch, limit: int | None = None) -> Iterator[dict[str, Any]]:
    """Yield the data of each job that matches a search, as JSON values. Raises as `find`."""
    for each in islice(_current_catalog(archive).entries(_query(search)), limit):
        yield entry_data(each)


def _query(search: JobSearch, limit: int = PAGE_LENGTH) -> Query:
    states = frozenset(JobState(each) for each in search.states)
    return Query(search.words, search.placed_from, search.placed_until, states, search.at, limit)


def _summary(entry: JobEntry, at: datetime) -> JobSummary:
    states = tuple(state_words(entry, at))
    return JobSummary(entry.placed.date(), entry.job, entry.phone_or_email, entry.street, states)


# ---- states -----------------------------------------------------------------------------------------


def standing(archive: Archive, job: str, at: datetime) -> JobSummary:
    """Return one job with its states at a time.

    Raises:
        UnusableInput: There is no such job.
        CorruptBag: Its bag cannot be read.
    """
    return _summary(archive.bag(job).entry, at)


def state_words(entry: JobEntry, at: datetime) -> Iterator[str]:
    """Return the states of a job at a time, in words."""
    states = states_of(entry, at)
    if JobState.CURING in states and entry.curing_ends:
        yield f"curing until {day_text(entry.curing_ends)}"
    for state in JobState:
        if state in states and state != JobState.CURING:
            yield STATE_WORDS[state.value]


# ---- due --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class DueItem:
    """Something that is due on a day.

    Attributes:
        kind: The kind of the task, or the state that needs attention.
        what: In words.
        start, end: From when until when, in local time; None for a state. A task without end is due all day.
        hours: The same in words; empty for a state.
        job, owner, phone, email, street, contractor: Data of the job.
        contact: The owner, with phone or email.
    """

    kind: str
    what: str
    start: datetime | None
    end: datetime | None
    hours: str
    job: str
    owner: str
    phone: str
    email: str
    street: str
    contractor: str
    contact: str


@dataclass(frozen=True)
class DueList:
    """What is due on a day across all jobs.

    Attributes:
        day: The day.
        tasks: The tasks, in order of time.
        unacknowledged: Curing jobs whose sheet the owner has not acknowledged.
    """

    day: date
    tasks: tuple[DueItem, ...]
    unacknowledged: tuple[DueItem, ...]
    _found: tuple[DueTask, ...] = field(default=(), repr=False)

    @property
    def items(self) -> tuple[DueItem, ...]:
        """All items, in the order of the catalog."""
        return tuple(_due_item(each, self.day) for each in self._found)

    def crew_calendar(self) -> bytes:
        """Return the crew's visits of the day as an iCalendar file."""
        from handover.service.day_calendar import day_calendar  # noqa: PLC0415 - takes its time

        return day_calendar(self._found, self.day)


def due(archive: Archive, day: date, at: datetime) -> DueList:
    """Return the items due on a day: visits, calls, sheets that are not acknowledged.

    Args:
        archive: The archive.
        day: The day, in the local time of each site.
        at: The time of the states, aware; see `due_time`.

    Raises:
        UnusableInput: The archive has no catalog.
        CatalogFailed: The catalog cannot be read.
    """
    found = tuple(_current_catalog(archive).due(day, at))
    return DueList(
        day=day,
        tasks=tuple(_due_item(each, day) for each in found if each.task is not None),
        unacknowledged=tuple(_due_item(each, day) for each in found if each.task is None),
        _found=found,
    )


def due_time(day: date, today: date, now: datetime) -> datetime:
    """Return the time for the states of a day: now for today, else the middle of the day."""
    return now if day == today else datetime.combine(day, DUE_HOUR, UTC)


def due_data(item: DueItem, day: date) -> dict[str, str | None]:
    """Return an item as JSON data."""
    return {
        "day": day.isoformat(),
        "kind": item.kind,
        "start": item.start.isoformat() if item.start else None,
        "end": item.end.isoformat() if item.end else None,
        "what": item.what,
        "job": item.job,
        "owner": item.owner,
        "phone": item.phone,
        "email": item.email,
        "street": item.street,
        "contractor": item.contractor,
    }


def _due_item(found: DueTask, day: date) -> DueItem:
    entry, task = found.entry, found.task
    return DueItem(
        kind=found.kind,
        what=(task and task.text) or found.kind,
        start=task.start if task else None,
        end=task.end if task else None,
        hours=_hours(task.start, task.end, day) if task else "",
        job=entry.job,
        owner=entry.owner,
        phone=str(entry.more.get("phone") or ""),
        email=str(entry.more.get("email") or ""),
        street=entry.street,
        contractor=entry.contractor,
        contact=entry.phone_or_email,
    )


def _hours(start: datetime, end: datetime | None, day: date) -> str:
    """Return the hours of a task in words; a time of another day has its day."""
    if end is None:
        return "all day"
    first, last = (
        clock_text(each) if each.date() == day else f"{day_text(each)}, {clock_text(each)}"
        for each in (start, end)
    )
    return f"{first} to {last}"


# ---- export -----------------------------------------------------------------------------------------


def export(archive: Archive, out: TextIO, shape: Literal["csv", "jsonl"]) -> int:
    """Write the catalog for other programs; return the number of jobs. Raises as `find`.

    Args:
        archive: The archive.
        out: Open for text with ``newline=""``.
        shape: CSV, or JSON lines, which include the tasks.
    """
    write = export_jsonl if shape == "jsonl" else export_csv
    return write(_current_catalog(archive).entries(), out)


# ---- recovery before a query ------------------------------------------------------------------------


def _current_catalog(archive: Archive) -> Catalog:
    """Return the catalog of an archive, including what a killed run has archived."""
    if not archive.has_catalog:
        raise UnusableInput([_missing_catalog(archive)])
    if archive.is_writable:
        recover(archive)
    return archive.catalog


def _missing_catalog(archive: Archive) -> Finding:
    """Return the finding about an archive without a catalog, and who can rebuild it."""
    by = "" if archive.is_writable else ", run by someone who may write to the folder; you may not"
    return Finding(
        "has no catalog",
        file=str(archive.folder),
        expected=f"a catalog; `handover reindex` rebuilds it from the bags{by}",
        example=f"handover reindex {quote(str(archive.folder))}",
    )


# ---- words ------------------------------------------------------------------------------------------


def clock_text(when: datetime) -> str:
    """Return the time of day: "7:30 am"."""
    return f"{when:%I:%M %p}".lstrip("0").lower()


def day_text(day: date) -> str:
    """Return a day with its weekday: "Tue Jul 14"."""
    return f"{day:%a %b} {day.day}"
