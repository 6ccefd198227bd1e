"""Queries to the catalog, and their results."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import date, datetime

    from handover.archive.entry import JobEntry, Task


class JobState(StrEnum):
    """The state of a job at a time."""

    CURING = "curing"
    """Placed, and curing has not ended."""
    FROST_AHEAD = "frost-ahead"
    """Placed, and frost that threatens the slab is not over."""
    WALKTHROUGH_OPEN = "walkthrough-open"
    """An item of the walk-through is still to be repaired."""
    NOT_ACKNOWLEDGED = "not-acknowledged"
    """Issued, and the owner has not acknowledged it."""
    CYLINDER_LOW = "cylinder-low"
    """A cylinder broke below the strength it should have had."""


def states_of(entry: JobEntry, at: datetime) -> frozenset[JobState]:
    """Return the states of a job at a time, aware."""
    curing, frost, acknowledged = entry.curing_ends, entry.frost_until, entry.acknowledged
    holds_by_state = {
        JobState.CURING: entry.placed <= at and curing is not None and curing > at,
        JobState.FROST_AHEAD: entry.placed <= at and frost is not None and frost > at,
        JobState.WALKTHROUGH_OPEN: entry.walkthrough_open,
        JobState.NOT_ACKNOWLEDGED: entry.issued <= at and (acknowledged is None or acknowledged > at),
        JobState.CYLINDER_LOW: entry.cylinder_low,
    }
    return frozenset(state for state, holds in holds_by_state.items() if holds)


@dataclass(frozen=True)
class Query:
    """A query; all of its conditions must hold.

    Attributes:
        words: Words of id, owner, street, contractor, mix, supplier, remarks, in any order. A word of three
            letters or more is also found as the beginning of a longer one.
        placed_from, placed_until: First and last day of placement, by the calendar of the site.
        states: The states that the job must have.
        at: The time at which the states must hold, aware; needed with ``states``.
        limit: Largest number of jobs on a page.
        before: The ``next`` of the page before this one; None for the first page.
    """

    words: str = ""
    placed_from: date | None = None
    placed_until: date | None = None
    states: frozenset[JobState] = frozenset()
    at: datetime | None = None
    limit: int = 50
    before: int | None = None

    def __post_init__(self) -> None:
        if self.states and (self.at is None or self.at.tzinfo is None):
            raise ValueError("a query for states needs a time with its time zone")
        if self.limit < 1:
            raise ValueError("a page holds at least one job")


@dataclass(frozen=True)
class SearchResult:
    """One page of results, the job placed last first.

    Attributes:
        entries: The jobs.
        next: The value of `Query.before` for the next page; None on the last.
    """

    entries: tuple[JobEntry, ...]
    next: int | None


@dataclass(frozen=True)
class DueTask:
    """Something that is due on a job: one of its tasks, or a state that calls for action.

    Attributes:
        entry: The job.
        kind: The kind of the task, or the state.
        task: The task; None for a state.
    """

    entry: JobEntry
    kind: str
    task: Task | None = None
