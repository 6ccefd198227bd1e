"""Dates and times as an owner says them, rounded once and never to the early side."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from handover.documents.catalog import Catalog

HALF_HOUR_S = 1800
MORNING = time(8)
"""What "the morning of" promises: a milestone reached later in the day is told for the next day."""
EXACT_FOR = timedelta(hours=48)
"""After placement a date is told to the half hour for this long; later only the day is told."""


@dataclass(frozen=True)
class Spoken:
    """A moment in words.

    Attributes:
        instant: What the words mean, aware, in the zone it came in. Never before the moment asked for.
        exact: Whether an hour of the clock is told, or only "the morning".
        text: "2:00 in the afternoon, Tuesday, July 14" or "the morning of Tuesday, July 21".
        day: "Tuesday, July 14".
        hour: "2:00 in the afternoon" or "in the morning".
        short: "Tue Jul 14, 2:00 pm" or "Tue Jul 21".
    """

    instant: datetime
    exact: bool
    text: str
    day: str
    hour: str
    short: str


def half_hour_up(when: datetime) -> datetime:
    """Return the first half hour of the local clock that is not before `when`, in the same zone."""
    offset = when.utcoffset()
    if offset is None:
        raise ValueError("a time without a zone")
    local = when.astimezone(UTC).timestamp() + offset.total_seconds()
    ahead = -local % HALF_HOUR_S
    return (when.astimezone(UTC) + timedelta(seconds=ahead)).astimezone(when.tzinfo)


def half_hour_down(when: datetime) -> datetime:
    """Return the last half hour of the local clock that is not after `when`, in the same zone."""
    up = half_hour_up(when)
    behind = timedelta(seconds=HALF_HOUR_S) if up.astimezone(UTC) > when.astimezone(UTC) else timedelta()
    return (up.astimezone(UTC) - behind).astimezone(when.tzinfo)


def morning_up(when: datetime) -> datetime:
    """Return the first morning (8:00 local) that is not before `when`, in the same zone."""
    morning = datetime.combine(when.date(), MORNING, when.tzinfo)
    if morning.astimezone(UTC) >= when.astimezone(UTC):
        return morning
    return datetime.combine(when.date() + timedelta(days=1), MORNING, when.tzinfo)


class Speaker:
    """Says dates, times and lengths of time in one language."""

    def __init__(self, words: Catalog) -> None:
        self.words = words

    def day(self, when: date, *, year: bool = False) -> str:
        """Return "Tuesday, July 14"."""
        key = "calendar-words.day-year" if year else "calendar-words.day"
        return self._day(key, when, "weekdays", "months")

    def short_day(self, when: date) -> str:
        """Return "Tue Jul 14"."""
        return self._day("calendar-words.day-short", when, "weekdays-short", "months-short")

    def month_day(self, when: date) -> str:
        """Return "Jul 14"."""
        return self._day("calendar-words.month-day", when, "weekdays-short", "months-short")

    def weekday(self, when: date) -> str:
        """Return "Tuesday"."""
        return str(self.words.find("calendar-words.weekdays")[when.weekday()])

    def weekday_short(self, when: date) -> str:
        """Return "Tue"."""
        return str(self.words.find("calendar-words.weekdays-short")[when.weekday()])

    def _day(self, key: str, when: date, weekdays: str, months: str) -> str:
        return self.words.say(
            key,
            weekday=self.words.find(f"calendar-words.{weekdays}")[when.weekday()],
            month=self.words.find(f"calendar-words.{months}")[when.month - 1],
            day=when.day,
            year=when.year,
        )

    def clock(self, when: datetime) -> str:
        """Return "2:00", on the face of a twelve-hour clock."""
        return f"{(when.hour - 1) % 12 + 1}:{when.minute:02}"

    def part(self, when: datetime) -> str:
        """Return "in the afternoon"."""
        return self.words.say(f"part-of-day.{part_of_day(when)}")

    def hour(self, when: datetime) -> str:
        """Return "2:00 in the afternoon"."""
        if (when.hour, when.minute) == (12, 0):
            return self.words.say("calendar-words.noon", clock=self.clock(when))
        return self.words.say("calendar-words.hour", clock=self.clock(when), part=self.part(when))

    def short_hour(self, when: datetime) -> str:
        """Return "2:00 pm"."""
        half = self.words.find("calendar-words.halves")[when.hour >= 12]  # noqa: PLR2004 - the clock's own half
        return self.words.say("calendar-words.short-hour", clock=self.clock(when), half=half)

    def span(self, start: datetime, end: datetime) -> str:
        """Return "6:30 to 7:30 in the morning"."""
        if (end.hour, end.minute) != (12, 0) and part_of_day(start) == part_of_day(end):
            return self.words.say("calendar-words.hour-span", start=self.clock(start), end=self.hour(end))
        return self.words.say("calendar-words.hour-span", start=self.hour(start), end=self.hour(end))

    def short_span(self, start: datetime, end: datetime) -> str:
        """Return "6:30 to 7:30 am"."""
        same = (start.hour >= 12) == (end.hour >= 12)  # noqa: PLR2004 - the clock's own half
        first = self.clock(start) if same else self.short_hour(start)
        return self.words.say("calendar-words.hour-span", start=first, end=self.short_hour(end))

    def moment(self, when: datetime) -> Spoken:
        """Say a moment to the minute."""
        day, hour = self.day(when), self.hour(when)
        text = self.words.say("calendar-words.moment", hour=hour, day=day)
        short = self.words.say(
            "calendar-words.short-moment", day=self.short_day(when), hour=self.short_hour(when)
        )
        return Spoken(when, True, text, day, hour, short)

    def not_before(self, when: datetime, placed: datetime) -> Spoken:
        """Say a date that must not be told too early: to the half hour at first, then to the morning."""
        if when - placed <= EXACT_FOR:
            return self.moment(half_hour_up(when))
        morning = morning_up(when)
        day = self.day(morning, year=morning.year != placed.year)
        text = self.words.say("calendar-words.morning-of", day=day)
        return Spoken(
            morning, False, text, day, self.words.say("calendar-words.morning"), self.short_day(morning)
        )

    def not_after(self, when: datetime) -> Spoken:
        """Say a date that must not be told too late: to the half hour before it."""
        return self.moment(half_hour_down(when))

    def length(self, of_time: timedelta) -> str:
        """Return "45 minutes", "1 hour 30 minutes"; to the minute, up."""
        hours, minutes = divmod(-(-int(of_time.total_seconds()) // 60), 60)
        if not hours:
            return self.words.say("duration.minutes", n=minutes)
        key = ("hour" if hours == 1 else "hours") + ("-minutes" if minutes else "")
        return self.words.say(f"duration.{key}", n=hours, m=minutes)


def part_of_day(when: datetime) -> str:
    """Return "morning", "afternoon", "evening" or "night", as people call it."""
    hours = when.hour + when.minute / 60
    for start, part in ((21, "night"), (17, "evening"), (12, "afternoon"), (5, "morning")):
        if hours >= start:
            return part
    return "night"
