"""The links of the care page that put an event in a phone's calendar."""

from __future__ import annotations

from base64 import b64decode
from collections.abc import Callable
from datetime import UTC, timedelta
from html.parser import HTMLParser
from typing import TYPE_CHECKING

import icalendar
import pytest

from handover.documents.calendars import owner_calendar
from handover.documents.pages import care_page_html, care_sheet_html
from handover.documents.wording import Wording
from handover.schedule.model import Risk

if TYPE_CHECKING:
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

ScheduleWith = Callable[..., "CureSchedule"]
HEAD = "data:text/calendar;charset=utf-8;base64,"


class Links(HTMLParser):
    """Collects the links of a page that hold a calendar: what they are called, and the calendar."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[dict[str, str | None], icalendar.Calendar]] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        printed = dict(attrs)
        if tag == "a" and (href := printed.get("href") or "").startswith(HEAD):
            content = b64decode(href.removeprefix(HEAD), validate=True)
            self.found.append((printed, icalendar.Calendar.from_ical(content)))

    @property
    def single(self) -> list[tuple[dict[str, str | None], icalendar.Event]]:
        """Return the links that hold one event."""
        return [
            (printed, each.events[0]) for printed, each in self.found if printed["download"] != "owner.ics"
        ]


@pytest.fixture(scope="module")
def links(module_inputs: tuple[JobRecord, CureSchedule]) -> Links:
    return Links(care_page_html(Wording(*module_inputs)))


def test_every_event_of_the_calendar_can_be_taken_by_itself(
    links: Links, module_inputs: tuple[JobRecord, CureSchedule]
) -> None:
    whole = icalendar.Calendar.from_ical(owner_calendar(Wording(*module_inputs)))
    by_uid = {str(each["UID"]): each for each in whole.events}
    by_itself = {str(event["UID"]) for _, event in links.single}
    assert by_itself <= set(by_uid)
    # ... but for the waterings of days that are alike: they share a row, and come with the whole calendar.
    others = [by_uid[each] for each in set(by_uid) - by_itself]
    assert {category for each in others for category in each.categories} <= {"Watering"}
    for _, event in links.single:
        assert event.to_ical() == by_uid[str(event["UID"])].to_ical()
    assert all(
        len(calendar.events) == 1 for printed, calendar in links.found if printed["download"] != "owner.ics"
    )


def test_the_whole_calendar_is_beside_them(
    links: Links, module_inputs: tuple[JobRecord, CureSchedule]
) -> None:
    (whole,) = (calendar for printed, calendar in links.found if printed["download"] == "owner.ics")
    assert whole.to_ical() == owner_calendar(Wording(*module_inputs))


def test_each_link_says_what_it_adds(links: Links) -> None:
    for printed, event in links.single:
        assert printed["aria-label"] == f"Add to calendar: {event['SUMMARY']}"
        assert (printed["download"] or "").endswith(".ics")
        assert printed["type"] == "text/calendar"


def test_a_link_is_beside_its_time(module_inputs: tuple[JobRecord, CureSchedule]) -> None:
    page = care_page_html(Wording(*module_inputs))
    after = page.split("6:30 to 7:30 am", 2)[2]  # the first job names them before the table
    (_, event), *_ = Links(after[: after.index("</a>")]).single
    assert event.start.astimezone(UTC).hour == 10  # 6:30 in New York, in summer
    assert event.end - event.start == timedelta(hours=1)


def test_a_frost_cover_can_be_taken_too(
    job: JobRecord, schedule: CureSchedule, schedule_with: ScheduleWith
) -> None:
    start = schedule.placement_end.replace(hour=2) + timedelta(days=1)
    frost = Risk("frost", start, start + timedelta(hours=4), start + timedelta(hours=2), ())
    cold = schedule_with(risks=(frost,))
    names = [printed["download"] or "" for printed, _ in Links(care_page_html(Wording(job, cold))).single]
    assert [each for each in names if each.startswith("frost-cover")] == ["frost-cover-2026-07-14-17.ics"]


def test_paper_has_no_links(module_inputs: tuple[JobRecord, CureSchedule]) -> None:
    assert "text/calendar" not in care_sheet_html(Wording(*module_inputs))
