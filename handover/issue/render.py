"""Steps 4 and 5: word the schedule in each language, render every document; and 6 with them."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING

from handover.documents.calendars import crew_calendar, owner_calendar
from handover.documents.message import compose_message
from handover.documents.pages import files_inside, render_care_page, render_care_sheet, render_data_sheet
from handover.documents.schedule_json import schedule_json
from handover.documents.wording import Wording
from handover.issue.place import check_folder, put_in_place
from handover.issue.receive import by_name

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from handover.documents.measures import Units
    from handover.documents.pages import Paper
    from handover.documents.pdf import Attachment
    from handover.jobs.model import JobRecord
    from handover.schedule.model import CureSchedule

OFFICE = "en"
"""The language of crew and office where none is asked for."""

LOG = logging.getLogger("handover")


def issue_documents(
    job: JobRecord,
    schedule: CureSchedule,
    folder: Path,
    *,
    inputs: Mapping[str, bytes] | None = None,
    pictures: Mapping[str, bytes] | None = None,
    languages: Sequence[str] | None = None,
    units: Units = "us",
    paper: Paper = "letter",
    templates: Path | None = None,
) -> tuple[str, ...]:
    """Write the whole set of documents of a job to a folder: all of it, or nothing.

    Args:
        job: The job record.
        schedule: Its schedule.
        folder: The target: new, empty, or an earlier set of the same job, which this one takes the place of.
        inputs: What the schedule was made from, as received, by file name; the job record first.
        pictures: The job's own pictures, by the names that the record gives them.
        languages: Of the readers; the first is also that of the crew and the office. If left out, the owner
            reads in the language of the record, crew and office in `OFFICE`.
        units: "us" or "si".
        paper: "letter" or "a4".
        templates: A contractor's folder whose files stand in for ours.

    Returns:
        The names of the files, in the order of the reader's interest.

    Raises:
        UnusableInput: No such language, or something else is in the place of the folder.
        RenderingFailed: A document could not be rendered cleanly.
    """
    check_folder(folder, job.id)
    files = render_documents(
        job,
        schedule,
        inputs=inputs,
        pictures=pictures,
        languages=languages,
        units=units,
        paper=paper,
        templates=templates,
    )
    LOG.info("6 put in place")
    put_in_place(files, folder, job.id)
    return tuple(files)


def render_documents(
    job: JobRecord,
    schedule: CureSchedule,
    *,
    inputs: Mapping[str, bytes] | None = None,
    pictures: Mapping[str, bytes] | None = None,
    languages: Sequence[str] | None = None,
    units: Units = "us",
    paper: Paper = "letter",
    templates: Path | None = None,
) -> dict[str, bytes]:
    """Return the whole set of documents of a job by file name. Arguments and errors as `issue_documents`."""
    LOG.info("4 word")
    readers = tuple(dict.fromkeys(languages or (job.owner.language,)))
    office = readers[0] if languages else OFFICE
    words = {
        each: Wording(job, schedule, language=each, units=units, templates=templates)
        for each in dict.fromkeys((*readers, office))
    }
    LOG.info("5 render")
    record = next(iter((inputs or {}).items()), None)
    files = _render(words, readers, words[office], paper, pictures or {}, record)
    return files | {f"inputs/{name}": content for name, content in by_name((inputs or {}).items()).items()}


def _render(
    words: Mapping[str, Wording],
    readers: Sequence[str],
    office: Wording,
    paper: Paper,
    pictures: Mapping[str, bytes],
    record: tuple[str, bytes] | None,
) -> dict[str, bytes]:
    """Return every document by file name; of several languages, the readers' files name theirs."""
    job, schedule = office.job, office.schedule
    data = schedule_json(schedule)
    inside = {
        language: files_inside(
            each, schedule=data, calendar=owner_calendar(job, schedule, each), record=record
        )
        for language, each in words.items()
    }
    of_readers = {
        each: _readers_files(words[each], f".{each}" if readers[1:] else "", paper, pictures, inside[each])
        for each in readers
    }
    owner = job.owner.language if job.owner.language in readers else readers[0]
    return {
        **{name: content for files in of_readers.values() for name, content in files.items()},
        "crew.ics": crew_calendar(job, schedule, office),
        "data-sheet.pdf": render_data_sheet(office, paper=paper, attachments=inside[office.language]),
        "schedule.json": data,
        "message.eml": compose_message(job, schedule, words[owner], of_readers[owner]),
    }


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
