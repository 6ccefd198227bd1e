"""The visits of a day across all jobs, as one calendar for the crew.

Each visit has the same UID and revision as in its job's own crew.ics, so a calendar with both has it once.
Times are in UTC, and nothing depends on the clock: the same day of the same jobs gives the same bytes.

Source: RFC 5545 (iCalendar); RFC 7986 (name, colour, UID of a calendar).
"""

from __future__ import annotations

from datetime import UTC, timedelta
from typing import TYPE_CHECKING
from uuid import uuid5

from icalendar import Event, vText

from handover.base.text import one_line, plain_lines
from handover.documents.calendars import CALENDAR_COLOURS, NAMESPACE, alarm_before, empty_calendar
from handover.service.archiving import CALL_OWNER

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from handover.archive.catalog import DueTask
    from handover.archive.entry import JobEntry, Task

CREW_COLOUR = CALENDAR_COLOURS["crew"]


def day_calendar(due: Iterable[DueTask], day: date) -> bytes:
    """Return the visits of a day as one calendar, without the calls and reminders of the office.

    Args:
        due: The result of `Catalog.due`.
        day: The day, for the calendar's name.
    """
    name = f"Crew, {day:%a %b} {day.day}, {day.year}"
    calendar = empty_calendar(name, str(uuid5(NAMESPACE, f"due\n{day}")), "crew")
    for each in due:
        if each.task is not None and each.kind != CALL_OWNER:
            calendar.add_component(_event(each.entry, each.task))
    content: bytes = calendar.to_ical()
    return content


def _event(entry: JobEntry, task: Task) -> Event:
    place = one_line(entry.street)
    about = (task.text, entry.street, f"Owner: {entry.phone_or_email}", f"Job {entry.job}")
    event = Event()
    event.add("uid", task.uid or str(uuid5(NAMESPACE, f"{entry.job}\n{task.kind}\n{task.start}")))
    event.add("dtstamp", entry.issued.astimezone(UTC))
    event.add("sequence", entry.revision)
    if task.end is None:
        event.add("dtstart", task.start.date())
        event.add("dtend", task.start.date() + timedelta(days=1))
    else:
        event.add("dtstart", task.start.astimezone(UTC))
        event.add("dtend", task.end.astimezone(UTC))
    event.add("summary", one_line(f"{task.text}, {place.partition(', ')[0] or entry.job}"))
    event.add("description", plain_lines("\n".join(map(one_line, about))))
    event.add("location", place)
    event.add("color", vText(CREW_COLOUR))
    event.add("status", "CONFIRMED")
    if task.end is not None:
        event.add_component(alarm_before(str(event["summary"]), "crew"))
    return event
