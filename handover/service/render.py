"""Steps 4 and 5: word the schedule in each language, render every document."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING

from handover.documents.calendars import crew_calendar, owner_calendar
from handover.documents.message import compose_message
from handover.documents.pages import embedded_files, render_care_page, render_care_sheet, render_data_sheet
from handover.documents.schedule_json import schedule_json
from handover.documents.wording import Wording
from handover.service.job_inputs import unique_names
from handover.service.publish import CREW_CALENDAR_FILE, INPUTS_FOLDER, SCHEDULE_FILE
from handover.service.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from handover.documents.pages import Paper
    from handover.documents.pdf import Attachment
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

OFFICE_LANGUAGE = "en"
"""The language of crew and office where none is asked for."""

LOG = logging.getLogger("handover")


def render_documents(
    job: JobRecord,
    schedule: CureSchedule,
    settings: Settings = Settings(),  # noqa: B008 - it does not change
    *,
    inputs: Mapping[str, bytes] | None = None,
    pictures: Mapping[str, bytes] | None = None,
    earlier: Mapping[str, bytes] | None = None,
) -> dict[str, bytes]:
    """Return the documents of a job by file name, in the order of the reader's interest; the inputs last.

    Args:
        job: The job record.
        schedule: Its schedule.
        settings: The choices of the issue.
        inputs: What the schedule was made from, as received, by file name; the job record first.
        pictures: The job's own pictures, by the names that the record gives them.
        earlier: The set of the issue before: what its calendars had and these have no more is called off.

    Raises:
        UnusableInput: No such language.
        RenderingFailed: A document could not be rendered cleanly.
    """
    LOG.info("4 word")
    readers = tuple(dict.fromkeys(settings.languages or (job.owner.language,)))
    office = readers[0] if settings.languages else OFFICE_LANGUAGE
    words = {
        each: Wording(
            job, schedule, language=each, units=settings.units_for(job), templates=settings.templates
        )
        for each in dict.fromkeys((*readers, office))
    }
    LOG.info("5 render")
    received = unique_names((inputs or {}).items())
    record = next(iter(received.items()), None)
    files = _render(words, readers, words[office], settings.paper, pictures or {}, record, earlier or {})
    return files | {f"{INPUTS_FOLDER}{name}": content for name, content in received.items()}


def _render(
    words: Mapping[str, Wording],
    readers: Sequence[str],
    office: Wording,
    paper: Paper,
    pictures: Mapping[str, bytes],
    record: tuple[str, bytes] | None,
    earlier: Mapping[str, bytes],
) -> dict[str, bytes]:
    """Return every document by file name; of several languages, the readers' files name theirs."""
    job, schedule = office.job, office.schedule
    data = schedule_json(schedule)
    marks = {each: f".{each}" if readers[1:] else "" for each in words}
    inside = {
        language: embedded_files(
            each,
            schedule=data,
            calendar=owner_calendar(each, _owner_calendar_of(earlier, marks[language])),
            record=record,
        )
        for language, each in words.items()
    }
    of_readers = {
        each: _readers_files(words[each], marks[each], paper, pictures, inside[each]) for each in readers
    }
    owner = job.owner.language if job.owner.language in readers else readers[0]
    return {
        **{name: content for files in of_readers.values() for name, content in files.items()},
        CREW_CALENDAR_FILE: crew_calendar(office, earlier.get(CREW_CALENDAR_FILE)),
        "data-sheet.pdf": render_data_sheet(office, paper=paper, attachments=inside[office.language]),
        SCHEDULE_FILE: data,
        "message.eml": compose_message(words[owner], of_readers[owner]),
    }


def _owner_calendar_of(earlier: Mapping[str, bytes], mark: str) -> bytes | None:
    """Return the owner's calendar of an earlier set; that of another language, if need be."""
    others = (data for name, data in earlier.items() if name.startswith("owner") and name.endswith(".ics"))
    return earlier.get(f"owner{mark}.ics") or next(others, None)


def _readers_files(
    words: Wording,
    mark: str,
    paper: Paper,
    pictures: Mapping[str, bytes],
    inside: Sequence[Attachment],
) -> dict[str, bytes]:
    """Return the documents of the slab's owner in one language."""
    calendar = next(each.content for each in inside if each.media_type == "text/calendar")
    sheet = render_care_sheet(words, paper=paper, pictures=pictures, attachments=inside)
    page = render_care_page(words, pictures=pictures, calendar=calendar)
    return {f"care-sheet{mark}.pdf": sheet, f"care-page{mark}.html": page, f"owner{mark}.ics": calendar}
