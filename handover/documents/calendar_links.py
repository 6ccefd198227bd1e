"""The owner's calendar as links: one for each event, since phones import one at a time, and one for all.

A link contains its file, so the page loads nothing.
"""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from typing import TYPE_CHECKING

from handover.documents.events import CareEvent, owner_events
from handover.schedule.model import MilestoneKind as Kind
from handover.schedule.tasks import WALK_THROUGH, WATERING

if TYPE_CHECKING:
    from handover.documents.wording import Wording
    from handover.documents.words.watering import VisitWords

EVENT_NAMES = {Kind.DEICING_SALT: "no-salt"}
"""Dates whose calendar event has another kind: salt has a reminder, not a permission."""


@dataclass(frozen=True)
class CalendarLink:
    """One link.

    Attributes:
        title: Title of the event.
        name: Name of the file.
        href: The file, as a data URL.
    """

    title: str
    name: str
    href: str


class CalendarLinks:
    """The links of a schedule; the whole calendar is made here only if there is none yet."""

    def __init__(self, wording: Wording, calendar: bytes | None = None) -> None:
        self.wording = wording
        self.calendar = calendar

    @cached_property
    def _events(self) -> tuple[CareEvent, ...]:
        return owner_events(self.wording)

    @cached_property
    def _waterings(self) -> dict[datetime, CareEvent]:
        return {
            each.start: each
            for each in self._events
            if each.kind == WATERING and isinstance(each.start, datetime)
        }

    @cached_property
    def _dates(self) -> dict[str, CareEvent]:
        return {each.kind: each for each in self._events if not each.occasion}

    def of_visit(self, visit: VisitWords) -> CalendarLink | None:
        """Return the link of one watering."""
        return self._entry(self._waterings.get(visit.start.astimezone(UTC)))

    def of_date(self, kind: Kind) -> CalendarLink | None:
        """Return the link of a date, or None for a date without an event."""
        return self._entry(self._dates.get(EVENT_NAMES.get(kind, kind)))

    @property
    def first(self) -> CalendarLink | None:
        """Return the link of the first watering."""
        return self._entry(next((each for each in self._events if each.kind == WATERING), None))

    @property
    def others(self) -> tuple[CalendarLink, ...]:
        """Return the links of events without a date in a table: covers against frost, the walk-through."""
        loose = (
            each
            for each in self._events
            if each.kind == WALK_THROUGH or (each.occasion and each.kind != WATERING)
        )
        return tuple(entry for each in loose if (entry := self._entry(each)))

    @property
    def whole(self) -> CalendarLink:
        """Return the link of the whole calendar."""
        title = self.wording.say("sheet.calendar-all")
        return CalendarLink(title, "owner.ics", calendar_address(self._calendar))

    @cached_property
    def _calendar(self) -> bytes:
        from handover.documents.calendars import owner_calendar  # noqa: PLC0415 - only for the page

        return self.calendar or owner_calendar(self.wording)

    def _entry(self, event: CareEvent | None) -> CalendarLink | None:
        from handover.documents.calendars import event_from  # noqa: PLC0415 - only for the page

        if event is None:
            return None
        content = event_from(self._calendar, self.wording, event)
        name = "-".join(f"{event.kind} {event.occasion}".split())
        return CalendarLink(event.title, f"{name}.ics", calendar_address(content))


def calendar_address(calendar: bytes) -> str:
    """Return a calendar as a data URL."""
    return f"data:text/calendar;charset=utf-8;base64,{b64encode(calendar).decode()}"
