"""What a crew reads before it hands the papers over: the owner's first lines, and its own work."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from handover.documents.care_sheet import CareSheet
from handover.documents.crew_sheet import CrewSheet
from handover.documents.schedule_json import read_schedule
from handover.documents.wording import Wording
from handover.service.archiving import read_issued_record
from handover.service.publish import SCHEDULE_FILE

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

URGENT = 2
"""The rank of a line of the crew sheet down to which a crew reads it before it leaves."""


@dataclass(frozen=True)
class BriefLine:
    """When, and what; `when` may be empty."""

    when: str
    what: str


@dataclass(frozen=True)
class PapersInBrief:
    """The first lines of an issued set: those of the owner, and those of the crew."""

    owner: tuple[BriefLine, ...]
    crew: tuple[BriefLine, ...]


def papers_in_brief(documents: Mapping[str, bytes], language: str) -> PapersInBrief:
    """Return the first lines of an issued set, from the values of its sheets.

    Args:
        documents: The set, by file name.
        language: Of the crew.

    Raises:
        UnusableInput: It is not a set of this program.
    """
    job, schedule = read_issued_record(documents), read_schedule(documents[SCHEDULE_FILE])
    words = Wording(job, schedule, language=language, units=job.written_in)
    return PapersInBrief(tuple(_owner(CareSheet(words, {}))), tuple(_crew(CrewSheet(words))))


def _owner(care: CareSheet) -> Iterator[BriefLine]:
    now = care.job_now
    yield BriefLine(now.when, f"{now.heading} {now.sentence}")
    for each in care.main:
        yield BriefLine(each.when, each.title)
    for fact in care.front_dangers:
        yield BriefLine("", fact)


def _crew(crew: CrewSheet) -> Iterator[BriefLine]:
    for code in ("dangers", "surface", "visits"):
        for row in crew.rows(code):
            if row.rank <= URGENT or code == "visits":
                yield BriefLine(row.when, row.text)
