"""What the crew's pages know of the firm's earlier jobs: their records, today's visits, their papers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from handover.archive.catalog.query import Query
from handover.errors import HandoverError, UnusableInput
from handover.jobs.clock import find_zone, zone_at
from handover.jobs.parse import decode_utf8, parse_text
from handover.jobs.place_text import read_pair
from handover.service.archiving import issued_record
from handover.service.desk.card_suggestions import written_text
from handover.service.desk.papers_in_brief import papers_in_brief
from handover.service.office import due
from handover.service.render import CREW_SHEET_FILE

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date, datetime

    from handover.archive.entry import JobEntry
    from handover.service.desk.database import Desk
    from handover.service.desk.papers_in_brief import PapersInBrief
    from handover.service.office import DueItem

LAST_JOBS = 8
"""Jobs whose records a new card looks at."""


class FirmJobs:
    """The jobs in the archive of a desk. A record is read once for each issue."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._read: dict[tuple[str, datetime], Mapping[str, Any]] = {}

    def last_records(self) -> tuple[Mapping[str, Any], ...]:
        """Return the tables of the records of the last jobs, as written, the one placed last first."""
        archive = self._desk.archive
        if not archive.has_catalog:
            return ()
        entries = archive.catalog.find(Query(limit=LAST_JOBS)).entries
        self._read = {(each.job, each.issued): self._tables(each) for each in entries}
        return tuple(filter(None, self._read.values()))

    def _tables(self, entry: JobEntry) -> Mapping[str, Any]:
        """Return the tables of the record of a job; none where it cannot be read."""
        known = self._read.get((entry.job, entry.issued))
        if known is not None:
            return known
        try:
            documents = self.documents(entry.job)
            text = decode_utf8(issued_record(documents).data) if documents else ""
        except (HandoverError, OSError):
            return {}
        tables = parse_text(text) if isinstance(text, str) else None
        return tables if isinstance(tables, dict) else {}

    def documents(self, job: str) -> Mapping[str, bytes]:
        """Return the last issue of a job by file name; nothing where there is none."""
        bag = self._desk.archive.bag_or_none(job)
        return bag.issue(bag.revisions[-1]) if bag and bag.revisions else {}

    def is_archived(self, job: str) -> bool:
        """Return whether the archive has a job."""
        return self._desk.archive.bag_or_none(job) is not None

    def visits(self, day: date) -> tuple[DueItem, ...]:
        """Return the crew's visits of a day, by the local time of each site."""
        if not self._desk.archive.has_catalog:
            return ()
        return due(self._desk.archive, day, self._desk.now()).tasks

    def papers(self, job: str, language: str) -> PapersInBrief | None:
        """Return the first lines of the papers of a job; None where there are none that can be read."""
        try:
            documents = self.documents(job)
            return papers_in_brief(documents, language) if documents else None
        except UnusableInput:
            return None

    def crew_sheet(self, job: str) -> bytes | None:
        """Return the crew sheet of a job as PDF; None where there is none."""
        return self.documents(job).get(CREW_SHEET_FILE)

    def zone(self) -> ZoneInfo:
        """Return the time zone of the last job, for a card that has no place yet; UTC for the first."""
        for tables in self.last_records():
            found = find_zone(written_text(tables, "site.timezone") or _zone_of_place(tables))
            if isinstance(found, ZoneInfo):
                return found
        return ZoneInfo("UTC")


def _zone_of_place(tables: Mapping[str, Any]) -> str:
    """Return the name of the time zone of a record's place, or ""."""
    pair = read_pair(", ".join(written_text(tables, f"site.{each}") for each in ("latitude", "longitude")))
    return (pair and zone_at(*pair)) or ""
