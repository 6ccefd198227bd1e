"""What is looked for, and what is found."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import date, datetime

    from handover.archive.entry import JobEntry, Task


class JobState(StrEnum):
    """How a job stands at a time."""

    CURING = "curing"
    """Placed, and curing has not ended."""
    FROST_AHEAD = "frost-ahead"
    """Placed, and frost that threatens the slab is not over."""
    WALKTHROUGH_OPEN = "walkthrough-open"
    """Something of the walk-through is still to be mended."""
    NOT_ACKNOWLEDGED = "not-acknowledged"
    """Issued, and the owner has not acknowledged it."""
    CYLINDER_LOW = "cylinder-low"
    """A cylinder broke below the strength it should have had."""


def states_of(entry: JobEntry, at: datetime) -> frozenset[JobState]:
    """Return how a job stands at a time, aware."""
    curing, frost, acknowledged = entry.curing_ends, entry.frost_until, entry.acknowledged
    stands = {
        JobState.CURING: entry.placed <= at and curing is not None and curing > at,
        JobState.FROST_AHEAD: entry.placed <= at and frost is not None and frost > at,
        JobState.WALKTHROUGH_OPEN: entry.walkthrough_open,
        JobState.NOT_ACKNOWLEDGED: entry.issued <= at and (acknowledged is None or acknowledged > at),
        JobState.CYLINDER_LOW: entry.cylinder_low,
    }
    return frozenset(state for state, holds in stands.items() if holds)


@dataclass(frozen=True)
class Query:
    """What is looked for; all of it must hold.

    Attributes:
        words: Words of id, owner, street, contractor, mix, supplier, remarks, in any order. A word of three
            letters or more is also found as the beginning of a longer one.
        placed_from, placed_until: First and last day of placement, by the calendar of the site.
        states: How the job must stand.
        at: The time for which the states are asked, aware; needed with ``states``.
        limit: How many jobs to give at once.
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
            raise ValueError("states are asked for a time, and that with its time zone")
        if self.limit < 1:
            raise ValueError("a page has room for one job at least")


@dataclass(frozen=True)
class SearchResult:
    """One page of what was found, the job placed last first.

    Attributes:
        entries: The jobs.
        next: What to ask with as `Query.before` for the next page; None on the last.
    """

    entries: tuple[JobEntry, ...]
    next: int | None


@dataclass(frozen=True)
class DueTask:
    """Something that is due on a job: one of its tasks, or a state that calls for doing something.

    Attributes:
        entry: The job.
        kind: The kind of the task, or the state.
        task: The task; None for a state.
    """

    entry: JobEntry
    kind: str
    task: Task | None = None
