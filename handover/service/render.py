"""Steps 4 and 5: write the texts in each language, render every document."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING, NamedTuple

from handover.documents.calendars import crew_calendar, owner_calendar
from handover.documents.message import compose_message
from handover.documents.pages import care_sheet_html, data_sheet_html, embedded_files, render_care_page
from handover.documents.schedule_json import schedule_json
from handover.documents.wording import Wording
from handover.service.pdf_workers import PdfTask, finished_pdf, submit_pdf
from handover.service.publish import CREW_CALENDAR_FILE, SCHEDULE_FILE
from handover.service.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from concurrent.futures import Future

    from handover.documents.pages import Paper
    from handover.documents.pdf import Attachment
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule
    from handover.service.pdf_workers import PdfWorkers

OFFICE_LANGUAGE = "en"
"""The language of crew and office by default."""

LOG = logging.getLogger("handover")


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
    readers = tuple(dict.fromkeys(settings.languages or (job.owner.language,)))
    office = readers[0] if settings.languages else OFFICE_LANGUAGE
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

    The PDFs are started first, since they take the longest, and the data sheet before the care sheet; the
    other documents are made meanwhile.
    """
    job, earlier, pictures = office.job, rendering.earlier, rendering.pictures
    data = schedule_json(office.schedule)
    marks = {each: f".{each}" if readers[1:] else "" for each in words}
    calendars = {
        each: owner_calendar(words[each], _owner_calendar_of(earlier, marks[each])) for each in words
    }
    inside = {
        each: embedded_files(words[each], schedule=data, calendar=calendars[each], record=rendering.record)
        for each in words
    }
    data_sheet = _Pdf(data_sheet_html(office, paper=rendering.paper), inside[office.language], rendering)
    sheets = {
        each: _Pdf(
            care_sheet_html(words[each], paper=rendering.paper, pictures=pictures), inside[each], rendering
        )
        for each in readers
    }
    pages = {
        each: render_care_page(words[each], pictures=pictures, calendar=calendars[each]) for each in readers
    }
    crew = crew_calendar(office, earlier.get(CREW_CALENDAR_FILE))
    of_readers = {
        each: {
            f"care-sheet{marks[each]}.pdf": sheets[each].content,
            f"care-page{marks[each]}.html": pages[each],
            f"owner{marks[each]}.ics": calendars[each],
        }
        for each in readers
    }
    owner = job.owner.language if job.owner.language in readers else readers[0]
    return {
        **{name: content for files in of_readers.values() for name, content in files.items()},
        CREW_CALENDAR_FILE: crew,
        "data-sheet.pdf": data_sheet.content,
        SCHEDULE_FILE: data,
        "message.eml": compose_message(words[owner], of_readers[owner]),
    }


class _Pdf:
    """A PDF that is being rendered, here or by a worker."""

    def __init__(self, html: str, attachments: Sequence[Attachment], rendering: _Rendering) -> None:
        self._task = PdfTask(html, attachments)
        self._future: Future[bytes] = submit_pdf(self._task, rendering.workers)

    @property
    def content(self) -> bytes:
        """The bytes, after waiting for them. Raises as `render_pdf`."""
        return finished_pdf(self._future, self._task)


def _owner_calendar_of(earlier: Mapping[str, bytes], mark: str) -> bytes | None:
    """Return the owner's calendar of an earlier set; if necessary, that of another language."""
    others = (data for name, data in earlier.items() if name.startswith("owner") and name.endswith(".ics"))
    return earlier.get(f"owner{mark}.ics") or next(others, None)
