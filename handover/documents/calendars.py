"""owner.ics and crew.ics: the tasks of owner and crew as calendars.

Times are in UTC, so no client needs a table of time zones. Values that a library would take from the clock or
a random source are derived: the UID from the job and the event, the time stamp from the time of issue. An
event keeps its UID when its time moves, and its SEQUENCE is the revision, so that new dates replace old ones.

Source: RFC 5545 (iCalendar); RFC 7986 (name, colour, UID of a calendar).
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from icalendar import Alarm, Calendar, Event, vText

from handover.base.text import one_line, plain_lines, short_line
from handover.documents.events import CareEvent, EventLook, crew_events, owner_events
from handover.errors import UnusableInput
from handover.practice.rules import general_rules
from handover.schedule.tasks import is_over

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from handover.documents.wording import Wording
    from handover.jobs.record import JobRecord
    from handover.schedule.model import Party

NAMESPACE = UUID("5d0a4b3e-58c1-4c57-9d6e-0b6f5f0c6a11")
"""Namespace of every UID. A change would duplicate every event ever issued."""

CANCELLED_STATUS = "CANCELLED"
"""Status of a withdrawn event: RFC 5545 section 3.8.1.11."""

PRODID = "-//handover//cure care//EN"

ALARM_LEAD: dict[Party, timedelta] = {
    "owner": general_rules().duration("alarm.owner"),
    "crew": general_rules().duration("alarm.crew"),
}
"""From the alarm to the event."""

EVENT_COLOURS: dict[EventLook, str] = {
    "water": "steelblue",
    "may": "seagreen",
    "protect": "darkorange",
    "work": "slategray",
}
"""CSS names, as RFC 7986 requires."""

CALENDAR_COLOURS: dict[Party, str] = {"owner": EVENT_COLOURS["water"], "crew": EVENT_COLOURS["work"]}
"""Colour of a whole calendar, for programs without colours of single events."""


def owner_calendar(words: Wording, earlier: bytes | None = None) -> bytes:
    """Return owner.ics: waterings, what may go on the slab and from when, frost, the walk-through, salt.

    What was over before a first issue is not in it.
    Events of the owner's ``earlier`` calendar that are not in this one remain for one issue, cancelled.
    """
    events = owner_events(words)
    return build_calendar(words, events, audience="owner", earlier=earlier)


def crew_calendar(words: Wording, earlier: bytes | None = None) -> bytes:
    """Return crew.ics: saw the joints, strip the forms, rub the edges, blankets, the walk-through.

    Work that is over at the time of issue is not in it: who did it did so by the issue before, or by none.
    The ``earlier`` calendar of the crew is treated as in `owner_calendar`.
    """
    tasks = words.schedule.tasks_of("crew")
    each_event = zip(tasks, crew_events(words), strict=True)
    events = [event for task, event in each_event if not is_over(words.schedule, task)]
    return build_calendar(words, events, audience="crew", earlier=earlier)


def event_from(calendar: bytes, words: Wording, event: CareEvent) -> bytes:
    """Return a calendar of one event, for phones that import one per file, as cut from that of its audience.

    It is what `build_calendar` makes of the event alone, with the UID of the whole.
    """
    head, *blocks = calendar.removesuffix(_END).split(_EVENT)
    uid = f"\r\nUID:{event_uid(words.job, event.audience, event.kind, event.occasion)}\r\n".encode()
    return head + _EVENT + next(each for each in blocks if uid in each) + _END


def calendar_feed(calendar: bytes, *, name: str, source: str, page: str) -> bytes:
    """Return an owner's calendar as a feed, to which a program subscribes.

    A program keeps the first name that a feed has, so that its name has no number of an issue. How often to
    look again stands in the words of RFC 7986 section 5.7, which the library does not write: it leaves out
    the type that is required there.

    Args:
        calendar: owner.ics of the last issue.
        name: Of the calendar, without its issue.
        source: The address of the feed.
        page: The address of the owner's page.

    Source: RFC 7986 (NAME, REFRESH-INTERVAL, SOURCE, URL).
    """
    head, *blocks = calendar.removesuffix(_END).split(_EVENT)
    made = Calendar.from_ical(head + _END)
    for key in ("description", "x-wr-caldesc"):  # what to do with the file of the issue before
        made.pop(key, None)
    for key in ("name", "x-wr-calname"):
        made.pop(key, None)
        made.add(key, vText(one_line(name)))
    interval = vText(FEED_INTERVAL)
    interval.params["VALUE"] = "DURATION"
    made["refresh-interval"] = interval
    made["x-published-ttl"] = vText(FEED_INTERVAL)
    address = vText(source)
    address.params["VALUE"] = "URI"
    made["source"] = address
    made["url"] = vText(page)
    new_head: bytes = made.to_ical()
    return _EVENT.join((new_head.removesuffix(_END), *blocks)) + _END


FEED_INTERVAL = "PT1H"
"""How often a program should look at a feed again: dates move with the forecast."""

_EVENT, _END = b"BEGIN:VEVENT\r\n", b"END:VCALENDAR\r\n"


def empty_calendar(name: str, uid: str, audience: Party) -> Calendar:
    """Return a calendar without events, with its name, its UID and its audience."""
    calendar = Calendar()
    calendar.add("prodid", PRODID)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("uid", uid)
    # The library does not treat these as text, and would leave them unescaped.
    for key in ("name", "x-wr-calname"):
        calendar.add(key, vText(one_line(name)))
    calendar.add("color", vText(CALENDAR_COLOURS[audience]))
    return calendar


def build_calendar(
    words: Wording,
    events: Iterable[CareEvent],
    *,
    audience: Party,
    earlier: bytes | None = None,
    remark: str = "",
) -> bytes:
    """Return a calendar of these events, with the name, issue and UIDs of a job.

    Args:
        words: The words of the job.
        events: Its events, in order of time.
        audience: Whose calendar.
        earlier: The calendar that this one replaces; see `owner_calendar`.
        remark: A sentence to add to the description of the calendar.
    """
    name = words.events.calendar_name(audience, words.schedule.revision)
    calendar = empty_calendar(name, event_uid(words.job, audience, "calendar", ""), audience)
    calendar.add("last-modified", words.schedule.issued_at.astimezone(UTC))
    for key in ("description", "x-wr-caldesc"):
        calendar.add(key, vText(plain_lines(_calendar_properties(words, audience, remark))))
    for event in events:
        calendar.add_component(_vevent(words, event))
    for withdrawn in (
        withdrawn_events(earlier, calendar, words.schedule.issued_at) if earlier is not None else ()
    ):
        calendar.add_component(_cancel_event(withdrawn, words))
    content: bytes = calendar.to_ical()
    return content


def _calendar_properties(words: Wording, audience: Party, remark: str) -> str:
    """Return the description: the issue of these dates, and what to do with the earlier ones."""
    dated = "\n".join(filter(None, (_issue_stamp(words), remark)))
    if words.schedule.revision <= 1:
        return dated
    old = one_line(words.events.calendar_name(audience, words.schedule.revision - 1))
    return f"{dated}\n{words.say('calendar.revised', old=old)}\n{words.say('cancelled.note')}"


def _issue_stamp(words: Wording) -> str:
    made = words.schedule.issued_at.astimezone(ZoneInfo(words.schedule.timezone))
    return words.say("calendar.dated", n=words.schedule.revision, day=words.speak.day(made, year=True))


def _vevent(words: Wording, event: CareEvent) -> Event:
    category = one_line(words.say(f"calendar.category.{event.look}"))
    text = f"{event.description}\n{_issue_stamp(words)}"
    entry = Event()
    entry.add("uid", event_uid(words.job, event.audience, event.kind, event.occasion))
    entry.add("dtstamp", words.schedule.issued_at.astimezone(UTC))
    entry.add("last-modified", words.schedule.issued_at.astimezone(UTC))
    entry.add("sequence", words.schedule.revision)
    entry.add("dtstart", event.start)
    entry.add("dtend", event.end)
    entry.add("summary", one_line(event.title))
    entry.add("description", plain_lines(text))
    entry.add("location", one_line(words.job.site.address or words.job.site.name))
    entry.add("categories", [category])
    entry.add("color", vText(EVENT_COLOURS[event.look]))
    entry.add("transp", "TRANSPARENT" if event.look == "may" else "OPAQUE")
    entry.add("status", "CONFIRMED")
    if isinstance(event.start, datetime):
        entry.add_component(alarm_before(one_line(event.title), event.audience))
    return entry


def withdrawn_events(earlier: bytes, calendar: Calendar, issued_at: datetime) -> Iterator[Event]:
    """Yield the future events of an earlier calendar that are not in a new one.

    An event that was already withdrawn there is left out.
    """
    kept = {str(each["uid"]) for each in calendar.events}
    for each in earlier_events(earlier):
        cancelled = str(each.get("status", "")) == CANCELLED_STATUS
        if not cancelled and str(each["uid"]) not in kept and _is_to_come(each, issued_at):
            yield each


def earlier_events(content: bytes) -> list[Event]:
    """Return the events of a calendar that somebody may have changed: those with a UID, a title and an end.

    Raises:
        UnusableInput: It is no calendar.
    """
    try:
        events = Calendar.from_ical(content).events
    except (ValueError, TypeError, LookupError, AttributeError, OverflowError, RecursionError) as fault:
        raise UnusableInput.with_finding(
            f"the calendar of the issue before cannot be read: {short_line(fault)}",
            expected="its calendars as issued: what is no longer due is called off in the new ones",
        ) from None
    return [each for each in events if _is_whole(each)]


def _is_whole(event: Event) -> bool:
    try:
        moments = event.decoded("dtstart"), event.decoded("dtend")
    except (ValueError, TypeError, LookupError, AttributeError, OverflowError):
        return False
    return "uid" in event and "summary" in event and all(isinstance(each, date) for each in moments)


def _is_to_come(event: Event, issued_at: datetime) -> bool:
    end = event.decoded("dtend")
    if isinstance(end, datetime):
        return end > (issued_at if end.tzinfo else issued_at.replace(tzinfo=None))
    return bool(end > issued_at.date())


def _cancel_event(event: Event, words: Wording) -> Event:
    """Return an event as withdrawn: at its old hour, where it is found, and without an alarm."""
    entry = Event()
    for key in ("uid", "dtstart", "dtend", "location", "categories", "color"):
        if key in event:
            entry[key] = event[key]
    entry.add("dtstamp", words.schedule.issued_at.astimezone(UTC))
    entry.add("last-modified", words.schedule.issued_at.astimezone(UTC))
    entry.add("sequence", words.schedule.revision)
    entry.add("summary", one_line(words.say("cancelled.title", title=str(event.get("summary", "")))))
    entry.add("description", plain_lines(words.say("cancelled.text", n=words.schedule.revision)))
    entry.add("transp", "TRANSPARENT")
    entry.add("status", CANCELLED_STATUS)
    return entry


def alarm_before(title: str, audience: Party) -> Alarm:
    """Return the alarm before an event."""
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", title)
    alarm.add("trigger", -ALARM_LEAD[audience])
    return alarm


def event_uid(job: JobRecord, audience: Party, kind: str, occasion: str) -> str:
    """Return the UID of an event: the same in every revision, whatever its hour."""
    return str(uuid5(NAMESPACE, f"{one_line(job.id)}\n{audience}\n{kind}\n{occasion}"))
