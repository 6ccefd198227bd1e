"""What the office asks of an archive: which jobs, in what state, what is due, all of it for other programs.

Each question first completes what a run that was killed left undone, so that no job is missing; who may only
read the archive asks its catalog as it is. Answers are plain values: no catalog, no path, nothing printed.
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
"""Jobs of one answer, unless more are asked for."""

MIN_BEGINNING = MIN_TOKEN
"""Letters from which on a word is also found as the beginning of a longer one."""

DUE_HOUR = time(12)
"""Hour of a day other than today, in UTC, for which the states of that day are asked: it is the same day in
nearly every time zone."""


# ---- find -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class JobSearch:
    """What is looked for; all of it must hold.

    Attributes:
        at: The time for which states are asked, aware.
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
    """A job in a list: day of placement, id, owner with phone or mail, street, states in words."""

    placed: date
    job: str
    owner: str
    street: str
    states: tuple[str, ...]


@dataclass(frozen=True)
class FindResult:
    """The jobs that were found, the job placed last first.

    Attributes:
        jobs: As many as were asked for.
        has_more: Whether there are more.
        short_words: Words of the search that are too short to be found as beginnings of others.
    """

    jobs: tuple[JobSummary, ...]
    has_more: bool
    short_words: tuple[str, ...]


def find(archive: Archive, search: JobSearch, limit: int = PAGE_LENGTH) -> FindResult:
    """Return the jobs that a search finds.

    Raises:
        UnusableInput: The archive has lost its catalog.
        CatalogFailed: The catalog cannot be read.
    """
    result = _current_catalog(archive).find(_query(search, limit))
    return FindResult(
        jobs=tuple(_summary(each, search.at) for each in result.entries),
        has_more=result.next is not None,
        short_words=tuple(each for each in tokens(search.words) if len(each) < MIN_TOKEN),
    )


def find_data(archive: Archive, search: JobSearch, limit: int | None = None) -> Iterator[dict[str, Any]]:
    """Give all that is known of each job that a search finds, as JSON holds it. Raises as `find`."""
    for each in islice(_current_catalog(archive).entries(_query(search)), limit):
        yield entry_data(each)


def _query(search: JobSearch, limit: int = PAGE_LENGTH) -> Query:
    states = frozenset(JobState(each) for each in search.states)
    return Query(search.words, search.placed_from, search.placed_until, states, search.at, limit)


def _summary(entry: JobEntry, at: datetime) -> JobSummary:
    states = tuple(state_words(entry, at))
    return JobSummary(entry.placed.date(), entry.job, entry.phone_or_email, entry.street, states)


# ---- standing ---------------------------------------------------------------------------------------


def standing(archive: Archive, job: str, at: datetime) -> JobSummary:
    """Return one job with its states at a time.

    Raises:
        UnusableInput: There is no such job.
        CorruptBag: Its bag cannot be read.
    """
    return _summary(archive.bag(job).entry, at)


def state_words(entry: JobEntry, at: datetime) -> Iterator[str]:
    """Give the states of a job at a time, in words."""
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
        kind: The kind of the task, or the state that calls for something to be done.
        what: In words.
        start, end: From when until when, by the clock of the site; None for a state. A task without end is
            due all day.
        hours: The same in words; empty for a state.
        job, owner, phone, email, street, contractor: Of the job.
        contact: The owner, with phone or mail.
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
        tasks: What is to be done, in order of time.
        unacknowledged: Jobs that still cure, with a sheet that the owner has not acknowledged.
    """

    day: date
    tasks: tuple[DueItem, ...]
    unacknowledged: tuple[DueItem, ...]
    _found: tuple[DueTask, ...] = field(default=(), repr=False)

    @property
    def items(self) -> tuple[DueItem, ...]:
        """All of it, in the order of the catalog."""
        return tuple(_due_item(each, self.day) for each in self._found)

    def crew_calendar(self) -> bytes:
        """Return the crew's visits of the day as an iCalendar file."""
        from handover.service.day_calendar import day_calendar  # noqa: PLC0415 - takes its time

        return day_calendar(self._found, self.day)


def due(archive: Archive, day: date, at: datetime) -> DueList:
    """Return what is due on a day: visits, calls, sheets that are not acknowledged.

    Args:
        archive: The archive.
        day: The day, by the clock of each site.
        at: The time for which a sheet is not acknowledged, aware; see `due_time`.

    Raises:
        UnusableInput: The archive has lost its catalog.
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
    """Return the time for which the states of a day are asked: now for today, else the middle of the day."""
    return now if day == today else datetime.combine(day, DUE_HOUR, UTC)


def due_data(item: DueItem, day: date) -> dict[str, str | None]:
    """Return something that is due as JSON holds it."""
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
        phone=entry.more.get("phone", ""),
        email=entry.more.get("email", ""),
        street=entry.street,
        contractor=entry.contractor,
        contact=entry.phone_or_email,
    )


def _hours(start: datetime, end: datetime | None, day: date) -> str:
    """Return from when to when a task is to be done; a time of another day has its day."""
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
        shape: CSV, or JSON lines with tasks and all.
    """
    write = export_jsonl if shape == "jsonl" else export_csv
    return write(_current_catalog(archive).entries(), out)


# ---- recovery before asking -------------------------------------------------------------------------


def _current_catalog(archive: Archive) -> Catalog:
    """Return the catalog of an archive, with what a run that was killed has archived."""
    if not archive.has_catalog:
        raise UnusableInput([_missing_catalog(archive)])
    if archive.is_writable:
        recover(archive)
    return archive.catalog


def _missing_catalog(archive: Archive) -> Finding:
    """Return the finding of an archive that has lost its catalog, and who can make it anew."""
    by_whom = "" if archive.is_writable else ", run by someone who may write to the folder; you may not"
    return Finding(
        "has no catalog",
        file=str(archive.folder),
        expected=f"a catalog; `handover reindex` rebuilds it from the bags{by_whom}",
        example=f"handover reindex {quote(str(archive.folder))}",
    )


# ---- words ------------------------------------------------------------------------------------------


def clock_text(when: datetime) -> str:
    """Return the time of day: "7:30 am"."""
    return f"{when:%I:%M %p}".lstrip("0").lower()


def day_text(day: date) -> str:
    """Return a day with its weekday: "Tue Jul 14"."""
    return f"{day:%a %b} {day.day}"
