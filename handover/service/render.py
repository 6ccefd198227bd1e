"""Steps 4 and 5: write the texts in each language, render every document."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING, NamedTuple

from handover.documents.pages import (
    care_sheet_html,
    crew_sheet_html,
    data_sheet_html,
    embedded_files,
    render_care_page,
)
from handover.documents.schedule_json import schedule_json
from handover.documents.wording import Wording
from handover.jobs.plain_record import plain_record
from handover.service.pdf_workers import PendingPdf
from handover.service.publish import CREW_CALENDAR_FILE, MESSAGE_FILE, SCHEDULE_FILE
from handover.service.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from handover.documents.pages import Paper
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule
    from handover.service.pdf_workers import PdfWorkers

LOG = logging.getLogger("handover")

CREW_SHEET_FILE = "crew-sheet.pdf"
DATA_SHEET_FILE = "data-sheet.pdf"


def render_documents(
    job: JobRecord,
    schedule: CureSchedule,
    settings: Settings = Settings(),  # noqa: B008 - it does not change
    *,
    inputs: Mapping[str, bytes] | None = None,
    pictures: Mapping[str, bytes] | None = None,
    earlier: Mapping[str, bytes] | None = None,
    workers: PdfWorkers | None = None,
) -> dict[str, bytes]:
    """Return the documents of a job by file name, in the order of the reader's interest.

    Args:
        job: The job record.
        schedule: Its schedule.
        settings: The choices of the issue.
        inputs: The inputs of the schedule as received, by file name; the job record, which is first, is
            embedded.
        pictures: The job's own pictures, by their names in the record.
        workers: Processes that render the PDFs side by side; without them, this process renders.
        earlier: The set of the previous issue: events that are only in its calendars are cancelled.

    Raises:
        UnusableInput: No such language.
        RenderingFailed: A document could not be rendered cleanly.
    """
    LOG.info("4 write texts")
    readers = _readers(job, settings)
    office = settings.office_language
    words = {
        each: Wording(
            job, schedule, language=each, units=settings.units_for(job), templates=settings.templates
        )
        for each in dict.fromkeys((*readers, office))
    }
    LOG.info("5 render")
    record = next(iter((inputs or {}).items()), None)
    rendering = _Rendering(settings.paper, pictures or {}, record, earlier or {}, workers)
    return _render(words, readers, words[office], rendering)


def document_names(job: JobRecord, settings: Settings) -> tuple[str, ...]:
    """Return the names of the documents of a set, in the order of the reader's interest."""
    readers = _readers(job, settings)
    of_readers = (_names_for(_mark(each, readers)) for each in readers)
    of_firm = (CREW_CALENDAR_FILE, CREW_SHEET_FILE, DATA_SHEET_FILE, SCHEDULE_FILE, MESSAGE_FILE)
    return (*(name for names in of_readers for name in names), *of_firm)


def _readers(job: JobRecord, settings: Settings) -> tuple[str, ...]:
    """Return the languages of the readers."""
    return tuple(dict.fromkeys(settings.languages or (job.owner.language,)))


def _mark(language: str, readers: Sequence[str]) -> str:
    """Return what the names of a language's files have; nothing where there is one language only."""
    return f".{language}" if readers[1:] else ""


def _names_for(mark: str) -> tuple[str, str, str]:
    """Return the names of the owner's sheet, page and calendar."""
    return f"care-sheet{mark}.pdf", f"care-page{mark}.html", f"owner{mark}.ics"


class _Rendering(NamedTuple):
    """The shared inputs of all documents of a set.

    Attributes:
        paper: "letter" or "a4".
        pictures: The job's own pictures, by name.
        record: Name and bytes of the job record as received, if known.
        earlier: The set of the previous issue, by file name.
        workers: Processes for the PDFs.
    """

    paper: Paper
    pictures: Mapping[str, bytes]
    record: tuple[str, bytes] | None
    earlier: Mapping[str, bytes]
    workers: PdfWorkers | None


def _render(
    words: Mapping[str, Wording], readers: Sequence[str], office: Wording, rendering: _Rendering
) -> dict[str, bytes]:
    """Return every document by file name; with several languages, the readers' files have theirs in the name.

    The data sheet, which takes the longest, is started first, and the files inside follow; then the care
    sheets and the crew sheet. The other documents are made meanwhile.
    """
    with PendingPdf(data_sheet_html(office, paper=rendering.paper), rendering.workers) as data_sheet:
        return _render_others(words, readers, office, rendering, data_sheet)


def _render_others(
    words: Mapping[str, Wording],
    readers: Sequence[str],
    office: Wording,
    rendering: _Rendering,
    data_sheet: PendingPdf,
) -> dict[str, bytes]:
    """Return every document by file name, while the data sheet is being rendered."""
    # What follows need not be loaded before a worker is busy.
    from handover.documents.calendars import crew_calendar, owner_calendar  # noqa: PLC0415
    from handover.documents.message import compose_message  # noqa: PLC0415

    job, earlier, pictures = office.job, rendering.earlier, rendering.pictures
    data = schedule_json(office.schedule)
    marks = {each: _mark(each, readers) for each in words}
    calendars = {
        each: owner_calendar(words[each], earlier_owner_calendar(earlier, marks[each])) for each in words
    }
    data_sheet.attach(
        embedded_files(office, schedule=data, calendar=calendars[office.language], record=rendering.record)
    )
    record = plain_record(rendering.record)
    inside = {
        each: embedded_files(words[each], schedule=data, calendar=calendars[each], record=record)
        for each in readers
    }
    sheets = {
        each: PendingPdf(
            care_sheet_html(words[each], paper=rendering.paper, pictures=pictures), rendering.workers
        ).attach(inside[each])
        for each in readers
    }
    crew_sheet = PendingPdf(crew_sheet_html(office, paper=rendering.paper), rendering.workers).attach(())
    pages = {
        each: render_care_page(words[each], pictures=pictures, calendar=calendars[each]) for each in readers
    }
    crew = crew_calendar(office, earlier.get(CREW_CALENDAR_FILE))
    of_readers = {
        each: dict(
            zip(_names_for(marks[each]), (sheets[each].content, pages[each], calendars[each]), strict=True)
        )
        for each in readers
    }
    owner = job.owner.language if job.owner.language in readers else readers[0]
    return {
        **{name: content for files in of_readers.values() for name, content in files.items()},
        CREW_CALENDAR_FILE: crew,
        CREW_SHEET_FILE: crew_sheet.content,
        DATA_SHEET_FILE: data_sheet.content,
        SCHEDULE_FILE: data,
        MESSAGE_FILE: compose_message(words[owner], of_readers[owner]),
    }


def earlier_owner_calendar(earlier: Mapping[str, bytes], mark: str) -> bytes | None:
    """Return the owner's calendar of an earlier set; if necessary, that of another language."""
    others = (data for name, data in earlier.items() if name.startswith("owner") and name.endswith(".ics"))
    return earlier.get(f"owner{mark}.ics") or next(others, None)
