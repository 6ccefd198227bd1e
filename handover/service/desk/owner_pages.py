"""What an owner's page shows: the last issue of the job, read from the archive, and what its owner said.

The archive is the truth: an issue that somebody archived by the command line is shown as well.
"""

from __future__ import annotations

import json
import threading
from collections import OrderedDict
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from sqlalchemy import delete, insert, select, update

from handover.archive.bag import issue_folder, seal_of
from handover.archive.deposit import Deposit, deposit_files
from handover.archive.errors import CorruptBag
from handover.archive.store import bag_name
from handover.base.text import one_line
from handover.documents.live_page import TICK_COULD_NOT, TICK_DONE
from handover.documents.schedule_json import read_schedule
from handover.documents.wording import Wording
from handover.schedule.now_and_next import owner_work, task_key
from handover.schedule.tasks import with_tasks
from handover.service.archiving import issued_record, read_issued_record
from handover.service.desk.attempts import OWNER_POSTS, allow
from handover.service.desk.audit import write_audit
from handover.service.desk.database import to_seconds, to_time
from handover.service.desk.refusals import DeskRefusal
from handover.service.desk.tables import ACKNOWLEDGEMENT, SEEN, TICK
from handover.service.inputs import pictures_of
from handover.service.publish import INPUTS_FOLDER, SCHEDULE_FILE
from handover.service.settings import read_settings

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping
    from datetime import datetime
    from pathlib import Path

    from sqlalchemy import Connection

    from handover.archive.bag import Bag
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule
    from handover.service.desk.database import Desk
    from handover.service.settings import Settings

MAX_ISSUES_IN_MEMORY = 64
READ_ATTEMPTS = 3
MAX_ACKNOWLEDGEMENT = 120


@dataclass(frozen=True)
class OwnerIssue:
    """The last issue of a job, as its owner's page needs it.

    Attributes:
        folder: The bag.
        seal: Of the bag as it was read.
        job: The record.
        schedule: Its schedule, with its tasks.
        settings: The choices of the issue.
        names: The names of its files.
        calendars: The owner's calendars by name.
        pictures: The job's own pictures, by their names in the record.
    """

    folder: Path
    seal: str
    job: JobRecord
    schedule: CureSchedule
    settings: Settings
    names: frozenset[str]
    calendars: Mapping[str, bytes]
    pictures: Mapping[str, bytes]
    _words: dict[str, Wording] = field(default_factory=dict, repr=False, compare=False)

    @property
    def language(self) -> str:
        """The owner's language, as far as there are papers in it."""
        readers = self.settings.languages or (self.job.owner.language,)
        return self.job.owner.language if self.job.owner.language in readers else readers[0]

    def words(self, language: str) -> Wording:
        """Return the words of the issue in a language."""
        if language not in self._words:
            self._words[language] = Wording(
                self.job,
                self.schedule,
                language=language,
                units=self.settings.units_for(self.job),
                templates=self.settings.templates,
            )
        return self._words[language]

    def name_of(self, stem: str, suffix: str, language: str) -> str | None:
        """Return the name of a paper: in a language, else in that of the owner, else in any."""
        tried = (f"{stem}.{language}{suffix}", f"{stem}.{self.language}{suffix}", f"{stem}{suffix}")
        found = sorted(each for each in self.names if each.startswith(stem) and each.endswith(suffix))
        return next((each for each in (*tried, *found) if each in self.names), None)

    def calendar(self, language: str) -> bytes | None:
        """Return the owner's calendar in a language, as far as there is one."""
        name = self.name_of("owner", ".ics", language)
        return None if name is None else self.calendars[name]


class OwnerIssues:
    """The last issues of jobs, kept in memory until their bags change. Threads may share it."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._lock = threading.Lock()
        self._issues: OrderedDict[str, OwnerIssue] = OrderedDict()

    def get(self, job: str) -> OwnerIssue | None:
        """Return the last issue of a job; None before there is one.

        Raises:
            CorruptBag: The bag cannot be read.
        """
        folder = self._desk.archive.bags / bag_name(job)
        try:
            seal = seal_of(folder)
        except OSError:
            return None
        with self._lock:
            issue = self._issues.get(job)
        if issue is None or issue.seal != seal:
            issue = self._read(job)
        with self._lock:
            self._issues[job] = issue
            self._issues.move_to_end(job)
            while len(self._issues) > MAX_ISSUES_IN_MEMORY:
                self._issues.popitem(last=False)
        return issue

    def _read(self, job: str) -> OwnerIssue:
        """Read the last issue of a job; once more where its bag got a new state meanwhile."""
        for _ in range(READ_ATTEMPTS - 1):
            with suppress(CorruptBag):
                return _read_issue(self._desk.archive.bag(job))
        return _read_issue(self._desk.archive.bag(job))

    def paper(self, job: str, stem: str, suffix: str, language: str) -> bytes | None:
        """Return a paper of the last issue of a job."""
        issue = self.get(job)
        name = None if issue is None else issue.name_of(stem, suffix, language)
        if name is None:
            return None
        bag = self._desk.archive.bag(job)
        return bag.read(f"{issue_folder(bag.revisions[-1])}{name}")


def _read_issue(bag: Bag) -> OwnerIssue:
    documents = bag.issue(bag.revisions[-1])
    job = read_issued_record(documents, bag.job)
    schedule = with_tasks(read_schedule(documents[SCHEDULE_FILE]), job)
    calendars = {
        name: data for name, data in documents.items() if name.startswith("owner") and name.endswith(".ics")
    }
    return OwnerIssue(
        bag.folder,
        bag.seal,
        job,
        schedule,
        read_settings(documents).settings,
        frozenset(each for each in documents if not each.startswith(INPUTS_FOLDER)),
        calendars,
        pictures_of(job, issued_record(documents, bag.job).files),
    )


def task_keys(schedule: CureSchedule) -> frozenset[str]:
    """Return the keys of the owner's work."""
    return frozenset(map(task_key, owner_work(schedule)))


@dataclass(frozen=True)
class OwnerWords:
    """What the owner of a job said: of tasks by their keys, of the changes, of the issue."""

    ticks: frozenset[tuple[str, str]]
    seen: bool
    acknowledgement: DeskAcknowledgement | None


def owner_words(desk: Desk, job: str, revision: int) -> OwnerWords:
    """Return what the owner said of an issue."""
    with desk.reading() as connection:
        return OwnerWords(
            frozenset(_ticks(connection, job).items()),
            _is_seen(connection, job, revision),
            _acknowledgement(connection, job, revision),
        )


# ---- ticks ------------------------------------------------------------------------------------------


def ticks_of(desk: Desk, job: str) -> Mapping[str, str]:
    """Return what the owner said of tasks, by their keys."""
    with desk.reading() as connection:
        return _ticks(connection, job)


def _ticks(connection: Connection, job: str) -> dict[str, str]:
    statement = select(TICK.c.task, TICK.c.state).where(TICK.c.job == job)
    return {each.task: each.state for each in connection.execute(statement)}


def change_ticks(desk: Desk, job: str, done: Collection[str], undone: Collection[str]) -> None:
    """Tick tasks, and untick others.

    Raises:
        TooManyAttempts: Somebody sends too many.
    """
    allow(desk, f"owner {job}", OWNER_POSTS)
    with desk.writing() as connection:
        for key in sorted({*done, *undone}):
            connection.execute(delete(TICK).where(TICK.c.job == job, TICK.c.task == key))
        at = to_seconds(desk.now())
        rows = [
            {"job": job, "task": key, "state": TICK_DONE, "at": at, "by": "owner"} for key in sorted({*done})
        ]
        if rows:
            connection.execute(insert(TICK), rows)


def note_could_not(desk: Desk, job: str, key: str) -> None:
    """Note that the owner could not do a task.

    Raises:
        TooManyAttempts: Somebody sends too many.
    """
    allow(desk, f"owner {job}", OWNER_POSTS)
    at = desk.now()
    with desk.writing() as connection:
        connection.execute(delete(TICK).where(TICK.c.job == job, TICK.c.task == key))
        row = {"job": job, "task": key, "state": TICK_COULD_NOT, "at": to_seconds(at), "by": "owner"}
        connection.execute(insert(TICK).values(**row))
        write_audit(connection, at, f"owner of {job}", "could-not", key)


@dataclass(frozen=True)
class MissedTask:
    """A task that an owner could not do: the job, the key of the task, when they said so."""

    job: str
    task: str
    at: datetime


def missed_tasks(desk: Desk, limit: int = 50) -> tuple[MissedTask, ...]:
    """Return what owners could not do, the last first."""
    statement = select(TICK).where(TICK.c.state == TICK_COULD_NOT).order_by(TICK.c.at.desc()).limit(limit)
    with desk.reading() as connection:
        rows = connection.execute(statement).all()
    return tuple(MissedTask(each.job, each.task, to_time(each.at)) for each in rows)


# ---- changes that were seen -------------------------------------------------------------------------


def _is_seen(connection: Connection, job: str, revision: int) -> bool:
    statement = select(SEEN.c.at).where(SEEN.c.job == job, SEEN.c.revision == revision)
    return connection.execute(statement).first() is not None


def note_seen(desk: Desk, job: str, revision: int) -> None:
    """Note that the owner has seen the changes of an issue."""
    allow(desk, f"owner {job}", OWNER_POSTS)
    with desk.writing() as connection:
        if not _is_seen(connection, job, revision):
            row = {"job": job, "revision": revision, "at": to_seconds(desk.now())}
            connection.execute(insert(SEEN).values(**row))
            write_audit(connection, desk.now(), f"owner of {job}", "seen", str(revision))


# ---- acknowledgement --------------------------------------------------------------------------------


@dataclass(frozen=True)
class DeskAcknowledgement:
    """The acknowledgement of an issue by a typed name."""

    job: str
    revision: int
    name: str
    at: datetime


def acknowledgement_of(desk: Desk, job: str, revision: int) -> DeskAcknowledgement | None:
    """Return the acknowledgement of an issue, if there is one."""
    with desk.reading() as connection:
        return _acknowledgement(connection, job, revision)


def _acknowledgement(connection: Connection, job: str, revision: int) -> DeskAcknowledgement | None:
    row = connection.execute(
        select(ACKNOWLEDGEMENT).where(ACKNOWLEDGEMENT.c.job == job, ACKNOWLEDGEMENT.c.revision == revision)
    ).first()
    return None if row is None else DeskAcknowledgement(row.job, row.revision, row.name, to_time(row.at))


def acknowledge(desk: Desk, job: str, revision: int, name: str) -> DeskAcknowledgement:
    """Keep the acknowledgement of an issue, the first one; `archive_acknowledgement` archives it.

    Raises:
        DeskRefusal: There is no name.
        TooManyAttempts: Somebody sends too many.
    """
    typed = one_line(name).strip()[:MAX_ACKNOWLEDGEMENT]
    if not typed:
        raise DeskRefusal("name-missing")
    allow(desk, f"owner {job}", OWNER_POSTS)
    with desk.writing() as connection:
        there = _acknowledgement(connection, job, revision)
        if there is not None:
            return there
        at = desk.now()
        row = {"job": job, "revision": revision, "name": typed, "at": to_seconds(at), "archived": False}
        connection.execute(insert(ACKNOWLEDGEMENT).values(**row))
        write_audit(connection, at, f"owner of {job}", "acknowledge", f"{revision} {typed}")
        return DeskAcknowledgement(job, revision, typed, to_time(to_seconds(at)))


def open_acknowledgements(desk: Desk) -> tuple[DeskAcknowledgement, ...]:
    """Return the acknowledgements that are not in the archive yet."""
    statement = select(ACKNOWLEDGEMENT).where(ACKNOWLEDGEMENT.c.archived.is_(False))
    with desk.reading() as connection:
        rows = connection.execute(statement).all()
    return tuple(DeskAcknowledgement(each.job, each.revision, each.name, to_time(each.at)) for each in rows)


def archive_acknowledgement(desk: Desk, job: str, revision: int) -> None:
    """Archive the acknowledgement of an issue beside its papers, with time and revision. Repeatable.

    Raises:
        LockTimeout, CorruptBag, NotArchived, IndexPending, CatalogFailed: As `deposit_files`.
    """
    said = acknowledgement_of(desk, job, revision)
    if said is None:
        return
    with desk.archive.lock(job):
        bag = desk.archive.bag(job)
        text = {"job": job, "revision": revision, "name": said.name, "time": said.at.isoformat()}
        files = {f"beside/acknowledgement-{revision:04}.json": f"{json.dumps(text, indent=1)}\n".encode()}
        is_last = bag.entry.revision == revision and bag.entry.acknowledged is None
        entry = replace(bag.entry, acknowledged=said.at) if is_last else bag.entry
        deposit_files(desk.archive, Deposit(entry, others=files), said.at)
    with desk.writing() as connection:
        chosen = update(ACKNOWLEDGEMENT).where(
            ACKNOWLEDGEMENT.c.job == job, ACKNOWLEDGEMENT.c.revision == revision
        )
        connection.execute(chosen.values(archived=True))
