"""owner.ics and crew.ics: what is to be done, in the calendar of the one who does it.

Times stand in UTC, so no client needs a table of time zones. Everything that a library would draw from the
clock or from chance is derived: the UID from the job and the event, the time stamp from the time of issue.
An event keeps its UID when its time moves, and its SEQUENCE is the revision, so that new dates replace old ones.

Source: RFC 5545 (iCalendar), RFC 7986 (NAME, COLOR, UID of a calendar).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING, Literal
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from icalendar import Alarm, Calendar, Event, vText

from handover.documents.plaintext import plain_line, plain_lines
from handover.documents.wording import EventWords
from handover.schedule.model import CureSchedule, Milestone, MilestoneKind, Risk

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from handover.documents.wording import Wording
    from handover.jobs.model import JobRecord

Audience = Literal["owner", "crew"]

NAMESPACE = UUID("5d0a4b3e-58c1-4c57-9d6e-0b6f5f0c6a11")
"""Of every UID. Changing it would double every event that was ever handed out."""

PRODID = "-//handover//cure care//EN"

LEAD = {"owner": timedelta(minutes=30), "crew": timedelta(hours=1)}
"""From the alarm to the event: time to walk to the tap, time to drive to the site. Common practice."""

MOMENT = timedelta(minutes=30)
"""Length in the calendar of what has a beginning only: from here on you may."""

STRIPPING = timedelta(hours=1)
RUBBING = timedelta(hours=2)
BLANKETS = timedelta(hours=1)
"""What the calendar sets aside for each job of the crew. Common practice."""

COVERING_AHEAD = timedelta(hours=4)
"""From covering the slab to the first hour that may freeze it, so that it is done by daylight. Common practice."""

WAKING, SLEEPING = time(7), time(21)
"""No owner is woken for what he may do: between these it waits for the morning."""

FIRST_COLD_MONTH = {"north": 11, "south": 5}
"""When somebody may first reach for deicing salt. Common practice."""

PERMISSIONS = (
    MilestoneKind.FOOT_TRAFFIC,
    MilestoneKind.LIGHT_VEHICLES,
    MilestoneKind.HEAVY_VEHICLES,
    MilestoneKind.CURING_ENDS,
)
DISTANT = (MilestoneKind.SEAL, MilestoneKind.FLOOR_COVERING)
"""Told to the day."""


@dataclass(frozen=True)
class Look:
    """How a sort of event shows: key of its category's name, colour by its CSS name, whether it takes up time."""

    category: str
    colour: str
    busy: bool


WATER = Look("water", "steelblue", busy=True)
MAY = Look("may", "seagreen", busy=False)
PROTECT = Look("protect", "darkorange", busy=True)
WORK = Look("work", "slategray", busy=True)


@dataclass(frozen=True)
class CareEvent:
    """One entry of a calendar.

    Attributes:
        audience: Whose calendar.
        kind: What it is about; with `occasion`, what makes it the same event in every revision.
        occasion: Which of its kind, "2026-07-15 1"; empty for what happens once.
        start: Aware, or a date for a whole day.
        end: Aware and after `start`; for a whole day the day after.
        words: Title and description.
        look: How it shows.
    """

    audience: Audience
    kind: str
    occasion: str
    start: datetime | date
    end: datetime | date
    words: EventWords
    look: Look


def owner_calendar(job: JobRecord, schedule: CureSchedule, wording: Wording) -> bytes:
    """Return owner.ics: each watering, what may go on the slab and from when, frost, sealing, salt."""
    return _calendar(job, schedule, wording, owner_events(job, schedule, wording), "owner")


def crew_calendar(job: JobRecord, schedule: CureSchedule, wording: Wording) -> bytes:
    """Return crew.ics: saw the joints, strip the forms, rub the edges, blankets, the walk-through."""
    return _calendar(job, schedule, wording, crew_events(job, schedule, wording), "crew")


def single_event(job: JobRecord, schedule: CureSchedule, wording: Wording, event: CareEvent) -> bytes:
    """Return a calendar of one event, for phones that take one to a file. Its UID is that of the whole calendar."""
    return _calendar(job, schedule, wording, [event], event.audience)


# ---- what stands in them


def owner_events(job: JobRecord, schedule: CureSchedule, wording: Wording) -> tuple[CareEvent, ...]:
    """Return what the owner is to do or may do, in order of time; nothing for a date past the estimate."""
    events = [
        *_waterings(schedule, wording),
        *_permissions(schedule, wording),
        *_distant(schedule, wording),
        *_salt(job, schedule, wording),
        *(_cover("owner", schedule, wording, each, nth) for each, nth in _frosts(schedule)),
    ]
    return _in_order(events, schedule)


def crew_events(job: JobRecord, schedule: CureSchedule, wording: Wording) -> tuple[CareEvent, ...]:
    """Return what the crew comes back for, in order of time; nothing for a date past the estimate."""
    events = [
        *_sawing(schedule, wording),
        *_edges(schedule, wording),
        *_walkthrough(job, schedule, wording),
        *(_cover("crew", schedule, wording, each, nth) for each, nth in _frosts(schedule)),
        *_blankets_off(schedule, wording),
    ]
    return _in_order(events, schedule)


def _waterings(schedule: CureSchedule, wording: Wording) -> Iterator[CareEvent]:
    for day in schedule.watering:
        for number, visit in enumerate(sorted(day.visits, key=lambda each: each.start), 1):
            words = wording.visit_event(visit)
            yield CareEvent("owner", "watering", f"{day.date} {number}", visit.start, visit.end, words, WATER)


def _permissions(schedule: CureSchedule, wording: Wording) -> Iterator[CareEvent]:
    for milestone in _reached(schedule, PERMISSIONS):
        start = _awake(_told(milestone, wording), _zone(schedule))
        words = wording.owner_event(milestone)
        yield CareEvent("owner", milestone.kind, "", start, start + MOMENT, words, MAY)


def _distant(schedule: CureSchedule, wording: Wording) -> Iterator[CareEvent]:
    for milestone in _reached(schedule, DISTANT):
        day = _told(milestone, wording).astimezone(_zone(schedule)).date()
        yield _whole_day("owner", milestone.kind, day, wording.owner_event(milestone), MAY)


def _salt(job: JobRecord, schedule: CureSchedule, wording: Wording) -> Iterator[CareEvent]:
    """Remind of the salt that must stay off, when the first cold comes."""
    for milestone in _reached(schedule, (MilestoneKind.DEICING_SALT,)):
        allowed = _told(milestone, wording).astimezone(_zone(schedule)).date()
        day = _first_cold(schedule.placement_end.astimezone(_zone(schedule)).date(), job.site.latitude)
        if day < allowed:
            yield _whole_day("owner", "no-salt", day, _no_salt_words(milestone, wording), PROTECT)


def _sawing(schedule: CureSchedule, wording: Wording) -> Iterator[CareEvent]:
    for milestone in _reached(schedule, (MilestoneKind.SAW_JOINTS,)):
        start, too_late = _told(milestone, wording), wording.milestone(milestone).not_after
        end = max(too_late.instant if too_late else start, start + MOMENT)
        yield CareEvent("crew", milestone.kind, "", start, end, wording.crew_event(milestone), WORK)


def _edges(schedule: CureSchedule, wording: Wording) -> Iterator[CareEvent]:
    """Strip the forms, then rub the edges while they are green."""
    for milestone in _reached(schedule, (MilestoneKind.STRIP_EDGE_FORMS,)):
        start = _told(milestone, wording)
        bare = start + STRIPPING
        yield CareEvent("crew", milestone.kind, "", start, bare, wording.crew_event(milestone), WORK)
        words = _event_words(wording, "rub-edges")
        yield CareEvent("crew", "rub-edges", "", bare, bare + RUBBING, words, WORK)


def _walkthrough(job: JobRecord, schedule: CureSchedule, wording: Wording) -> Iterator[CareEvent]:
    """Meet the owner on the day the curing ends, over what was left open."""
    for milestone in _reached(schedule, (MilestoneKind.CURING_ENDS,)):
        day = _told(milestone, wording).astimezone(_zone(schedule)).date()
        remarks = (f"- {each.item}: {each.note}" if each.note else f"- {each.item}"
                   for each in job.walkthrough if not each.ok)
        words = _event_words(wording, "walk-through")
        words = EventWords(words.title, "\n".join([words.description, *map(plain_line, remarks)]))
        yield _whole_day("crew", "walk-through", day, words, WORK)


def _frosts(schedule: CureSchedule) -> Iterator[tuple[Risk, str]]:
    """Give each frost with its occasion: the local day on which it starts, and its number on that day."""
    count: dict[date, int] = {}
    for risk in sorted((each for each in schedule.risks if each.code == "frost"), key=lambda each: each.start):
        day = risk.start.astimezone(_zone(schedule)).date()
        count[day] = count.get(day, 0) + 1
        yield risk, f"{day} {count[day]}"


def _cover(audience: Audience, schedule: CureSchedule, wording: Wording, frost: Risk, nth: str) -> CareEvent:
    """Cover the slab before it may freeze, though not before the finishing is done."""
    ready = schedule.finished or schedule.placement_end
    start = min(max(frost.start - COVERING_AHEAD, ready), frost.start)
    words = _event_words(
        wording,
        f"frost-cover-{audience}",
        start=wording.speak.moment(frost.start).text,
        end=wording.speak.moment(frost.end).text,
    )
    return CareEvent(audience, "frost-cover", nth, start, start + BLANKETS, words, PROTECT)


def _blankets_off(schedule: CureSchedule, wording: Wording) -> Iterator[CareEvent]:
    if any(_frosts(schedule)):
        for milestone in _reached(schedule, (MilestoneKind.FROST_SAFE,)):
            start = _told(milestone, wording)
            words = _event_words(wording, "blankets-off", when=wording.milestone(milestone).when_text)
            yield CareEvent("crew", "blankets-off", "", start, start + BLANKETS, words, WORK)
