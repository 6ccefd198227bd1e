"""The owner's page of the desk: the parts of the care page, with what is to be done now, and what was ticked.

Its addresses lead to the desk, so that the page has neither fonts nor files inside.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, timedelta
from functools import cached_property
from typing import TYPE_CHECKING
from urllib.parse import quote
from zoneinfo import ZoneInfo

from markupsafe import Markup

from handover.documents import charts
from handover.documents.calendar_links import CalendarLink, CalendarLinks
from handover.documents.calendars import event_from
from handover.documents.care_sheet import CareSheet
from handover.documents.crew_visits import crew_visits
from handover.documents.date_phrases import capitalise
from handover.documents.events import event_of, owner_events
from handover.documents.pictures import clean_picture
from handover.documents.sheet_rows import JobInProgress
from handover.documents.words.what_if import what_if
from handover.schedule.cover_times import may_water_freeze
from handover.schedule.model import MilestoneKind
from handover.schedule.now_and_next import now_and_next, owner_work, task_end, task_key
from handover.schedule.tasks import COVERS, WATERING

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from handover.documents.wording import Wording
    from handover.documents.words.watering import VisitWords
    from handover.schedule.model import Task

NARROW = 400.0
"""Width of the charts, for a phone."""

NEXT_HOUR = timedelta(hours=1)
"""Weather is hourly."""

TICK_DONE, TICK_COULD_NOT = "done", "could-not"
"""What an owner says of a task."""


@dataclass(frozen=True)
class LiveTask:
    """A task on the page: its key, what, when and how; what if it cannot be done."""

    key: str
    title: str
    when: str
    text: str
    what_if: str = ""


@dataclass(frozen=True)
class LiveWork:
    """What is to be done now, what comes next, and what could not be done.

    Attributes:
        now: The tasks of the moment.
        nothing: What stands in their place; empty where there are some.
        next: The next task; None where nothing more is to be done.
        missed: The last task that could not be done, with what to do about it.
        changes_at: The next moment at which this may be different; None: never.
    """

    now: tuple[LiveTask, ...]
    nothing: str
    next: LiveTask | None
    missed: LiveTask | None
    changes_at: datetime | None


class LiveLinks(CalendarLinks):
    """The events of a calendar at addresses of the desk: a phone opens each in its own calendar."""

    def __init__(self, wording: Wording, calendar: bytes | None, address: str) -> None:
        super().__init__(wording, calendar)
        self._address = address

    @property
    def whole(self) -> CalendarLink:
        """Return the link of the feed."""
        title = self.wording.say("desk.owner.subscribe")
        return CalendarLink(title, "", f"{self._address}/owner.ics")

    def _entry(self, event: object) -> CalendarLink | None:
        made = super()._entry(event)  # type: ignore[arg-type]
        return None if made is None else replace(made, name="", href=f"{self._address}/e/{quote(made.name)}")


class LiveSheet(CareSheet):
    """The contents of an owner's page.

    Args:
        wording: The words of the last issue.
        pictures: Bytes of the job's own pictures, by their name in the record.
        calendar: The owner's calendar of the issue.
        address: The path of the page.
        ticks: What the owner said of tasks, by their keys: "done" or "could-not".
    """

    def __init__(
        self,
        wording: Wording,
        pictures: Mapping[str, bytes],
        calendar: bytes | None,
        *,
        address: str,
        ticks: Mapping[str, str],
    ) -> None:
        super().__init__(wording, pictures, calendar)
        self.address = address
        self.said = ticks

    @cached_property
    def entries(self) -> LiveLinks:
        """Return the links that add events to a phone's calendar."""
        return LiveLinks(self.wording, self.calendar, self.address)

    def _picture(self, name: str | None, longest: int) -> str | None:
        if name is None or name not in self.pictures:
            return None
        return f"{self.address}/p/{sorted(self.pictures).index(name)}-{longest}.jpg"

    # ---- ticks

    @cached_property
    def tick_names(self) -> frozenset[str]:
        """The names of all boxes."""
        return frozenset(
            self.tick_name(visit, label)
            for day in self.days
            for visit in day.visits
            for label in (day.alike or ("",))
        )

    @cached_property
    def _keys(self) -> Mapping[datetime, str]:
        work = owner_work(self.schedule)
        return {each.start.astimezone(UTC): task_key(each) for each in work if each.kind == WATERING}

    @cached_property
    def _dates(self) -> Mapping[str, str]:
        pairs = (zip(each.alike, each.dates, strict=False) for each in self.days)
        return {label: date for some in pairs for label, date in some}

    def tick_name(self, visit: VisitWords, day: str = "") -> str:
        """Return the name of the box of a visit: the key of its task, which it keeps in every issue."""
        start = visit.start.astimezone(UTC)
        key = self._keys.get(start, f"{WATERING} {visit.start.isoformat()}")
        if not day:
            return key
        kind, _, number = key.rpartition(" ")
        return f"{kind.split(' ')[0]} {self._dates[day]} {number}"

    def tick(self, visit: VisitWords, day: str = "") -> Markup:
        """Return the attributes of the box of a visit: in the form of all ticks, and whether it is ticked."""
        key = self.tick_name(visit, day)
        state = Markup(" checked") if self.said.get(key) == TICK_DONE else ""
        return Markup('name="tick" value="{}"{}').format(key, state)

    # ---- now and next

    def work_at(self, at: datetime) -> LiveWork:
        """Return what is to be done at a moment, and next."""
        done = {key for key, state in self.said.items() if state in (TICK_DONE, TICK_COULD_NOT)}
        found = now_and_next(self.schedule, at, done)
        zone = ZoneInfo(self.schedule.timezone)
        today = at.astimezone(zone).date()
        is_later = found.next is not None and found.next.start.astimezone(zone).date() > today
        nothing = "nothing-today" if is_later else "nothing-now" if found.next else "nothing-more"
        return LiveWork(
            tuple(self._now(each) for each in found.now),
            "" if found.now else self.say(f"desk.owner.{nothing}"),
            self._next(found.next, at) if found.next else None,
            self._missed_task(at),
            min([each for each in (found.changes_at, self._ends) if each and each > at], default=None),
        )

    def crew_at(self, at: datetime) -> tuple[str, ...]:
        """Return the crew's visits at a moment: what is over is left out, "now" is that moment."""
        schedule = replace(self.schedule, issued_at=max(at, self.schedule.issued_at))
        words = self.wording
        later = type(words)(
            words.job, schedule, language=words.language, units=words.units, templates=words.templates
        )
        return crew_visits(later)

    def crew_changes_at(self, at: datetime) -> datetime | None:
        """Return the next moment at which the crew's visits may be different; None: never."""
        hours = (hour for each in self.schedule.tasks_of("crew") for hour in (each.start, each.end))
        return min((each for each in hours if each > at), default=None)

    @property
    def _ends(self) -> datetime | None:
        """The end of curing, if there is a date."""
        words = self.words_by_kind.get(MilestoneKind.CURING_ENDS)
        return words.when.instant if words and words.when else None

    def rest_at(self, at: datetime) -> JobInProgress | None:
        """Return the owner's part at a moment at which nothing more is to be done; None: nothing to add."""
        if self._ends is not None and self._ends <= at:
            title, when, text = (self.say(f"your-part.over{each}") for each in ("", "-when", "-text"))
            return JobInProgress("", title, when, text)
        has_words = self.wording.reader.has(f"your-part.{self.wording.dates.method}-text")
        return self._rest if has_words else None

    def _now(self, task: Task) -> LiveTask:
        end = task_end(task).astimezone(ZoneInfo(self.schedule.timezone))
        when = "" if task.all_day else self.say("desk.owner.until", hour=self.wording.speak.short_hour(end))
        return replace(self._live(task), when=when)

    def _next(self, task: Task, at: datetime) -> LiveTask:
        zone, speak = ZoneInfo(self.schedule.timezone), self.wording.speak
        start, end = (each.astimezone(zone) for each in (task.start, task.end))
        days = (start.date() - at.astimezone(zone).date()).days
        near = {0: "desk.owner.today", 1: "desk.owner.tomorrow"}
        day = self.say(near[days]) if days in near else capitalise(speak.day(start.date()))
        when = day if task.all_day else f"{day}, {speak.short_span(start, end)}"
        return replace(self._live(task), when=when)

    def _missed_task(self, at: datetime) -> LiveTask | None:
        """Return the last task that could not be done, if no later one was ticked."""
        begun = (each for each in owner_work(self.schedule) if each.start <= at)
        over = [each for each in begun if task_key(each) in self.said]
        if not over or self.said[task_key(over[-1])] != TICK_COULD_NOT:
            return None
        task = over[-1]
        is_water = task.kind == WATERING and self.wet
        code = "watering" if is_water else "cover" if task.kind in COVERS else "other"
        if is_water and may_water_freeze(self.schedule, task.start, at + NEXT_HOUR):
            code = "watering-frost"
        return replace(self._live(task), text=self.say(f"desk.owner.could-not-{code}"))

    def _live(self, task: Task) -> LiveTask:
        event = event_of(self.wording, task)
        text = event.description.removesuffix(self.wording.events.closing(task)).strip()
        title = event.work or event.title
        if task.kind == WATERING and not task.how:
            title = self.say(f"your-part.{self.wording.dates.method}")
        return LiveTask(task_key(task), title, "", text, " ".join(what_if(self.say, task)))


def live_charts(words: Wording) -> Mapping[str, charts.Chart]:
    """Return the charts of the page by the names that its template has for them."""
    return {
        "time_line": charts.time_line(words, NARROW),
        "strength": charts.strength(words, NARROW),
        "weather": charts.weather_strip(words, NARROW),
    }


def event_file(words: Wording, calendar: bytes, name: str) -> bytes | None:
    """Return the calendar of one event by the name of its file; None where there is none.

    Args:
        words: The words of the issue.
        calendar: The owner's calendar of the issue.
        name: As `CalendarLinks` gives it: "watering-2026-07-15-1.ics".
    """
    for event in owner_events(words):
        if f"{'-'.join(f'{event.kind} {event.occasion}'.split())}.ics" == name:
            return event_from(calendar, words, event)
    return None


def live_picture(pictures: Mapping[str, bytes], index: int, longest: int) -> bytes | None:
    """Return a picture of the page as JPEG, written anew; None where there is none."""
    names = sorted(pictures)
    return clean_picture(pictures[names[index]], names[index], longest) if 0 <= index < len(names) else None
