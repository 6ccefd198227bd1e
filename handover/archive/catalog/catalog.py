"""Writing to the catalog, and searching it."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any

from sqlalchemy import and_, delete, insert, select
from sqlalchemy.exc import SQLAlchemyError

from handover.archive.catalog.engine import open_engine, open_to_read
from handover.archive.catalog.query import DueTask, JobState, Query, SearchResult
from handover.archive.catalog.search import SEARCHES
from handover.archive.catalog.tables import (
    JOB,
    TASK,
    first_number,
    job_row,
    preferred_number,
    seconds,
    task_rows,
)
from handover.archive.catalog.tokens import entry_tokens, tokens
from handover.archive.entry import read_entry
from handover.archive.errors import CatalogFailed

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from sqlalchemy import ColumnElement, Connection, Engine, Select

    from handover.archive.bag import Bag
    from handover.archive.entry import JobEntry, Task

PAGE_ROWS = 500
"""Jobs in memory at once when all are read."""


class Catalog:
    """The catalog of an archive, open. Its methods raise CatalogFailed where the database fails.

    Attributes:
        unreadable: The rows that were left out of results because they cannot be read, and why, by number.
    """

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._search = SEARCHES[engine.dialect.name]()
        self.unreadable: dict[int, str] = {}

    @classmethod
    def open(cls, where: Path | str) -> Catalog:
        """Open a catalog; create or migrate it if necessary.

        Args:
            where: A file, or the URL of a database.

        Raises:
            UnusableInput: It cannot be a catalog.
        """
        with _translate_errors():
            return cls(open_engine(where))

    @classmethod
    def open_to_read(cls, file: Path) -> Catalog:
        """Open the file of a catalog without writing to it or beside it.

        Raises:
            UnusableInput: It is of another version of this program.
        """
        with _translate_errors():
            return cls(open_to_read(file))

    def close(self) -> None:
        """Close the database."""
        self._engine.dispose()

    # ---- writing ----------------------------------------------------------------------------------------

    def put(self, bags: Iterable[Bag]) -> None:
        """Replace the rows of some bags by those of their entries: all of them, or none."""
        with _translate_errors(), self._writing() as connection:
            for bag in bags:
                self._put(connection, bag)

    def drop(self, bag: str) -> None:
        """Delete the rows of a bag, by the name of its folder."""
        with _translate_errors(), self._writing() as connection:
            connection.execute(delete(JOB).where(JOB.c.bag == bag))

    def rebuild_search(self) -> None:
        """Rebuild the index of words."""
        with _translate_errors():
            self._search.rebuild(self._engine)

    def vacuum(self) -> None:
        """Erase deleted rows from unused parts of the database."""
        with _translate_errors():
            self._search.vacuum(self._engine)

    def _put(self, connection: Connection, bag: Bag) -> None:
        connection.execute(delete(JOB).where((JOB.c.job == bag.job) | (JOB.c.bag == bag.folder.name)))
        row = job_row(bag, _free_number(connection, bag.entry))
        connection.execute(insert(JOB).values(**row, words=self._search.document(entry_tokens(bag.entry))))
        if tasks := task_rows(bag.entry, row["number"]):
            connection.execute(insert(TASK), tasks)

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        with self._engine.connect().execution_options(begin="IMMEDIATE") as connection, connection.begin():
            yield connection

    # ---- finding ----------------------------------------------------------------------------------------

    def find(self, query: Query) -> SearchResult:
        """Return a page of the results of a query."""
        with _translate_errors(), self._engine.connect() as connection:
            rows = connection.execute(self.statement(query)).all()
        page = rows[: query.limit]
        more = page[-1].number if len(rows) > query.limit else None
        found = (self._read_row(row.number, row.entry) for row in page)
        return SearchResult(tuple(each for each in found if each is not None), more)

    def entries(self, query: Query | None = None) -> Iterator[JobEntry]:
        """Yield all results of a query, or all entries, page by page; memory stays flat."""
        asked: Query | None = replace(query or Query(), limit=PAGE_ROWS)
        while asked is not None:
            found = self.find(asked)
            yield from found.entries
            asked = replace(asked, before=found.next) if found.next is not None else None

    def due(
        self, day: date, at: datetime, remind: Sequence[JobState] = (JobState.NOT_ACKNOWLEDGED,)
    ) -> list[DueTask]:
        """Return what is due on a day across all jobs: tasks by their time, then jobs that need a reminder.

        Args:
            day: A day, by the calendar of each site.
            at: The time for which the states are asked, aware.
            remind: States in which a job that is still curing needs a reminder.
        """
        due = [DueTask(entry, task.kind, task) for entry, task in self._tasks(day)]
        due.sort(key=lambda each: (each.task.start if each.task else at, each.entry.job, each.kind))
        for state in remind:
            query = Query(states=frozenset({JobState.CURING, state}), at=at)
            due += [DueTask(entry, state.value) for entry in self.entries(query)]
        return due

    def seals(self) -> dict[str, str]:
        """Return the seals of all bags by the names of their folders."""
        with _translate_errors(), self._engine.connect() as connection:
            return {row.bag: row.seal for row in connection.execute(select(JOB.c.bag, JOB.c.seal))}

    def seal(self, bag: str) -> str | None:
        """Return the seal of a bag, by the name of its folder; None where it is not known."""
        with _translate_errors(), self._engine.connect() as connection:
            return connection.execute(select(JOB.c.seal).where(JOB.c.bag == bag)).scalar()

    def statement(self, query: Query) -> Select[Any]:
        """Return the statement of a query, with one row more than a page holds."""
        asked, conditions = tokens(query.words), _conditions(query)
        found: Select[Any] = select(JOB.c.number).where(*conditions)
        number: ColumnElement[int] = JOB.c.number
        if asked:
            found, number = self._search.numbers(asked, conditions)
        hits = (
            found.where(*_number_condition(query, number))
            .order_by(number.desc())
            .limit(query.limit + 1)
            .subquery()
        )
        rows = select(JOB.c.number, JOB.c.entry).join(hits, hits.c.number == JOB.c.number)
        return rows.order_by(JOB.c.number.desc())

    def _read_row(self, number: int, text: str) -> JobEntry | None:
        """Return the entry of a row; None, and a note of it, where it cannot be read: the other rows can."""
        try:
            return read_entry(text)
        except ValueError as fault:
            self.unreadable[number] = str(fault)
            return None

    def _tasks(self, day: date) -> Iterator[tuple[JobEntry, Task]]:
        statement = (
            select(JOB.c.number, JOB.c.entry, TASK.c.position)
            .join(TASK, TASK.c.number == JOB.c.number)
            .where(TASK.c.last_day >= day.toordinal(), TASK.c.first_day <= day.toordinal())
        )
        with _translate_errors(), self._engine.connect() as connection:
            for row in connection.execute(statement):
                entry = self._read_row(row.number, row.entry)
                if entry is not None and row.position < len(entry.tasks):
                    yield entry, entry.tasks[row.position]


def _number_condition(query: Query, number: ColumnElement[int]) -> list[ColumnElement[bool]]:
    """Return the conditions of a query's dates and page on the number of a job."""
    within: list[ColumnElement[bool]] = []
    if query.placed_from is not None:
        within.append(number >= _first_of(query.placed_from))
    if query.placed_until is not None:
        within.append(number < _first_of(query.placed_until + timedelta(days=1)))
    if query.before is not None:
        within.append(number < query.before)
    return within


def _first_of(day: date) -> int:
    return first_number(datetime.combine(day, time(), UTC))


def _conditions(query: Query) -> list[ColumnElement[bool]]:
    """Return the conditions of a query's states on the columns of a job."""
    if query.at is None:
        return []
    at = seconds(query.at)
    meaning: dict[JobState, ColumnElement[bool]] = {
        JobState.CURING: and_(JOB.c.placed <= at, JOB.c.curing_ends > at),
        JobState.FROST_AHEAD: and_(JOB.c.placed <= at, JOB.c.frost_until > at),
        JobState.WALKTHROUGH_OPEN: JOB.c.walkthrough_open.is_(True),
        JobState.NOT_ACKNOWLEDGED: and_(JOB.c.issued <= at, JOB.c.acknowledged > at),
        JobState.CYLINDER_LOW: JOB.c.cylinder_low.is_(True),
    }
    return [meaning[state] for state in sorted(query.states)]


def _free_number(connection: Connection, entry: JobEntry) -> int:
    """Return the number for a job; in the rare case that another has it, the next that is free."""
    number = preferred_number(entry)
    while connection.execute(select(JOB.c.number).where(JOB.c.number == number)).first():
        number += 1
    return number


@contextmanager
def _translate_errors() -> Iterator[None]:
    """Raise a fault of the database as one of the catalog."""
    try:
        yield
    except SQLAlchemyError as fault:
        what = " ".join(str(getattr(fault, "orig", None) or fault).split())
        raise CatalogFailed(f"the catalog failed: {what}; the bags are whole, see `reindex`") from fault
