"""Dates and times in an owner's words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from babel.dates import format_date, format_time
from babel.lists import format_list
from babel.units import format_unit

from handover.schedule.printed_times import half_hour_down, round_up

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, time, timedelta

    from babel.core import Locale

    from handover.documents.translations import Translations
    from handover.schedule.model import PrintedTime


@dataclass(frozen=True)
class DatePhrase:
    """A moment in words.

    Attributes:
        instant: The instant of the words, aware, in the zone of the argument. Never before the argument.
        exact: Whether the text has an hour, or only "the morning", a week or half a month.
        text: "2:00 in the afternoon, Tuesday, July 14", "the morning of Tuesday, July 21", "the week of
            July 27" or "mid-February 2027".
        day: "Tuesday, July 14"; of a week or half a month, as `text`.
        hour: "2:00 in the afternoon" or "in the morning"; empty for a week or half a month.
        short: "Tue Jul 14, 2:00 pm", "Tue Jul 21", "week of Jul 27" or "mid-Feb 2027".
        with_year: Whether the text has the year.
    """

    instant: datetime
    exact: bool
    text: str
    day: str
    hour: str
    short: str
    with_year: bool = False


@lru_cache(maxsize=4096)
def _format_date(when: date, pattern: str, locale: Locale) -> str:
    """Return a date by a pattern: a set of documents says the same days again and again."""
    return format_date(when, pattern, locale=locale)


@lru_cache(maxsize=4096)
def _format_time(when: time, pattern: str, locale: Locale) -> str:
    """Return a time of day by a pattern; likewise."""
    return format_time(when, pattern, locale=locale)


class DateFormatter:
    """Formats dates, times and durations in one language.

    Source: the names of days and months, the parts of the day, the halves of the clock, the words for hours
    and minutes are CLDR's, through Babel; the catalog has only their order.
    """

    def __init__(self, words: Translations) -> None:
        self.words = words
        self.locale = words.locale
        self.by_day = words.has("calendar-words.hours-of-day")

    def day(self, when: date, *, year: bool = False) -> str:
        """Return "Tuesday, July 14"."""
        return self._date(when, self._pattern("day-year" if year else "day"))

    def short_day(self, when: date) -> str:
        """Return "Tue Jul 14"."""
        return self._date(when, self._pattern("day-short"))

    def weekday(self, when: date) -> str:
        """Return "Tuesday"."""
        return self._date(when, "EEEE")

    def weekday_short(self, when: date) -> str:
        """Return "Tue"."""
        return self._date(when, "EEE")

    def _pattern(self, name: str) -> str:
        return str(self.words.lookup(f"calendar-words.{name}"))

    def _date(self, when: date, pattern: str) -> str:
        return _format_date(when.date() if isinstance(when, datetime) else when, pattern, self.locale)

    def _time(self, when: datetime, pattern: str) -> str:
        return _format_time(when.time(), pattern, self.locale)

    def _on_clock(self, when: datetime, pattern: str) -> str:
        """Return a short hour: by a pattern of half a day, or "14:00" where a clock has the whole day."""
        return self._time(when, "H:mm" if self.by_day else pattern).lower()

    def clock(self, when: datetime) -> str:
        """Return "2:00", on a twelve-hour clock, with the article if the language has one."""
        one = when.hour % 12 == 1
        key = "calendar-words.clock-one" if one else "calendar-words.clock"
        return self.words.say(key, clock=self._time(when, "h:mm"))

    def part(self, when: datetime) -> str:
        """Return "in the afternoon"; for exactly twelve "noon" or "midnight"."""
        return self._time(when, "B")

    def hour(self, when: datetime) -> str:
        """Return "2:00 in the afternoon"."""
        return self.words.say("calendar-words.hour", clock=self.clock(when), part=self.part(when))

    def short_hour(self, when: datetime) -> str:
        """Return "2:00 pm", in lower case."""
        return self._on_clock(when, "h:mm a")

    def column_hour(self, when: datetime) -> str:
        """Return "5 am" or "5:30 am", for a column that holds no more."""
        return self._on_clock(when, "h:mm a" if when.minute else "h a")

    def plain_hour(self, when: datetime) -> str:
        """Return "5" or "5:30", beside an hour that says whether it is morning."""
        return self._on_clock(when, "h:mm" if when.minute else "h")

    def span(self, start: datetime, end: datetime) -> str:
        """Return "6:30 to 7:30 in the morning"."""
        same = self.part(start) == self.part(end)
        first = self.clock(start) if same else self.hour(start)
        return self.words.say("calendar-words.hour-span", start=first, end=self.hour(end))

    def short_span(self, start: datetime, end: datetime) -> str:
        """Return "6:30 to 7:30 am"."""
        same = self._time(start, "a") == self._time(end, "a")
        first = self._on_clock(start, "h:mm") if same else self.short_hour(start)
        return self.words.say("calendar-words.short-span", start=first, end=self.short_hour(end))

    def moment(self, when: datetime, *, year: bool = False) -> DatePhrase:
        """Return the phrase of an instant to the minute."""
        day, hour = self.day(when, year=year), self.hour(when)
        text = self.words.say("calendar-words.moment", hour=hour, day=day)
        short = self.words.say(
            "calendar-words.short-moment", day=self.short_day(when), hour=self.short_hour(when)
        )
        return DatePhrase(when, True, text, day, hour, short)

    def not_before(self, when: datetime, placed: datetime) -> DatePhrase:
        """Return the phrase of a date that must not be printed too early: rounded up."""
        return self.printed_time(round_up(when, placed), placed)

    def printed_time(self, time: PrintedTime, placed: datetime) -> DatePhrase:
        """Return the phrase of a rounded time, with the year if it is not that of the placement."""
        if time.exact:
            return self.moment(time.instant)
        with_year = time.instant.year != placed.year
        if time.precision in {"week", "half-month"}:
            text, short = (self._coarse(time, length, with_year) for length in ("", "-short"))
            return DatePhrase(time.instant, False, text, text, "", short, with_year)
        day = self.day(time.instant, year=with_year)
        text = self.words.say("calendar-words.morning-of", day=day)
        hour = self.words.say("calendar-words.morning")
        return DatePhrase(time.instant, False, text, day, hour, self.short_day(time.instant))

    def _coarse(self, time: PrintedTime, length: str, with_year: bool) -> str:
        """Return "the week of July 27", "mid-February 2027" or, from its first day on, "March 2027"."""
        name = "date" if time.precision == "week" else "month"
        pattern = self._pattern(f"{name}-year{length}" if with_year else f"{name}{length}")
        value = self._date(time.instant, pattern)
        if time.precision == "week":
            return self.words.say(f"calendar-words.week-of{length}", day=value)
        return value if time.instant.day == 1 else self.words.say("calendar-words.mid-month", month=value)

    def month(self, when: datetime, placed: datetime) -> str:
        """Return "March", with the year if it is not that of the placement: "March 2027"."""
        return self._date(when, self._pattern("month" if when.year == placed.year else "month-year"))

    def not_after(self, when: datetime) -> DatePhrase:
        """Return the phrase of a date that must not be printed too late: to the half hour before it."""
        return self.moment(half_hour_down(when))

    def days(self, number: int) -> str:
        """Return "1 day", "7 days"."""
        return format_unit(number, "duration-day", "long", locale=self.locale)

    def join_list(self, parts: Sequence[str]) -> str:
        """Return "one, two and three"."""
        text: str = format_list(parts, locale=self.locale) if parts else ""
        return text

    def length(self, of_time: timedelta) -> str:
        """Return "45 minutes", "1 hour 30 minutes"; rounded up to the minute."""
        return self._length(of_time, "long")

    def short_length(self, of_time: timedelta) -> str:
        """Return "45 min", "1 hr 30 min"; rounded up to the minute."""
        return self._length(of_time, "short")

    def _length(self, of_time: timedelta, pattern: Literal["long", "short"]) -> str:
        hours, minutes = divmod(-(-int(of_time.total_seconds()) // 60), 60)
        hours_text = format_unit(hours, "duration-hour", pattern, locale=self.locale)
        if hours == 1 and pattern == "short":  # CLDR has "1 horas" in Spanish; an abbreviation has no plural
            two = format_unit(2, "duration-hour", pattern, locale=self.locale)
            hours_text = two.replace("2", "1", 1)
        minutes_text = format_unit(minutes, "duration-minute", pattern, locale=self.locale)
        if hours and minutes:
            return self.words.say("duration.hours-minutes", hours=hours_text, minutes=minutes_text)
        return hours_text if hours else minutes_text


def capitalise(text: str) -> str:
    """Return a text with an initial capital: not every language capitalises names of days."""
    return text[:1].upper() + text[1:]
