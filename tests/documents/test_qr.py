"""The code on the sheet, read as a phone reads it: from the printed page, by a decoder that is not ours."""

from __future__ import annotations

import io
import subprocess
from collections.abc import Callable
from typing import TYPE_CHECKING

import icalendar
import zxingcpp
from PIL import Image

from handover.documents.pages import care_page_html, care_sheet_html, sheet_pdf
from handover.documents.qr import draw_code, sheet_code
from handover.documents.wording import Wording
from handover.schedule.model import MilestoneKind

if TYPE_CHECKING:
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

JobWith = Callable[..., "JobRecord"]
ScheduleWith = Callable[..., "CureSchedule"]
FIRM = {"name": "Three Rivers Flatwork", "phone": "336-555-0117"}
URL = "https://care.example.com/2026/alder-lane?language=en"


def read_from(html: str, dpi: int = 110) -> list[str]:
    """Return what a camera reads on the first page; it sees about 110 dots to the inch at arm's length.

    The other pages are left out.
    """
    pdf = sheet_pdf(html.replace("</style>", ".onward { display: none }</style>", 1))
    shot = subprocess.run(
        ["pdftoppm", "-r", str(dpi), "-f", "1", "-l", "1", "-png", "-"],
        input=pdf,
        capture_output=True,
        check=True,
    )
    return [each.text for each in zxingcpp.read_barcodes(Image.open(io.BytesIO(shot.stdout)))]


def test_it_is_the_address_of_the_page(job_with: JobWith, schedule: CureSchedule) -> None:
    job = job_with(contractor={**FIRM, "page_url": URL})
    assert read_from(care_sheet_html(Wording(job, schedule))) == [URL]
    assert "It opens this sheet as a page." in care_sheet_html(Wording(job, schedule))


def test_the_longest_address_is_read(job_with: JobWith, schedule: CureSchedule) -> None:
    url = "https://example.com/" + "a1B-" * 45
    assert len(url) == 200  # the longest that a record may hold
    job = job_with(contractor={**FIRM, "page_url": url})
    assert read_from(care_sheet_html(Wording(job, schedule)), 150) == [url]


def test_without_an_address_it_is_the_first_job(job: JobRecord, schedule: CureSchedule) -> None:
    (read,) = read_from(care_sheet_html(Wording(job, schedule)))
    event = icalendar.Event.from_ical(read)
    first = Wording(job, schedule).milestone(schedule.milestone(MilestoneKind.FIRST_WATER))
    assert event["SUMMARY"] == "Start watering"
    assert event.start == first.when.instant
    assert event.end > event.start
    assert "“Start watering”" in care_sheet_html(Wording(job, schedule))


def test_without_a_first_job_there_is_none(job: JobRecord, schedule_with: ScheduleWith) -> None:
    kept = tuple(each for each in schedule_with().milestones if each.kind != MilestoneKind.FIRST_WATER)
    schedule = schedule_with(method="curing compound", watering=(), milestones=kept)
    assert sheet_code(Wording(job, schedule)) is None
    assert "Point your phone" not in care_sheet_html(Wording(job, schedule))


def test_the_page_itself_needs_no_code(job: JobRecord, schedule: CureSchedule) -> None:
    assert "Point your phone" not in care_page_html(Wording(job, schedule))


def test_a_hostile_title_stays_text() -> None:
    assert "<script" not in draw_code("x", '</title><script>"')


def test_the_same_text_is_the_same_picture() -> None:
    assert draw_code(URL, "x") == draw_code(URL, "x")
    assert draw_code(URL, "x") != draw_code(URL + "1", "x")
