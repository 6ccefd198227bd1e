"""Dates and times of day as people write them: every reading that a text can have, never a guess.

A closed grammar of our own. dateutil takes a month first in silence ("3/4/2026" is 4 March there), and babel
reads one locale at a time and checks little; neither says that a text has two readings. From babel come the
names of the months, and which part of a date a country writes first.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta, timezone
from functools import cache
from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import tzinfo

DateOrder = Literal["ymd", "mdy", "dmy"]
"""Which part of a date comes first: year, month or day."""

LONGEST = 60  # characters of a date with a time; a longer text is neither

_CENTURY = 2000  # of a year in two digits
_NOON = 12
_MONTH_LANGUAGES = ("en", "es")

_CLOCK = re.compile(
    r"(?<![0-9:./-])(?:(?P<hour>[0-9]{1,2})(?P<colon>[:h])(?P<minute>[0-5][0-9])(?::(?P<second>[0-5][0-9])(?:\.[0-9]+)?)?"
    r"(?:\s*(?P<half>[ap])(?:\s?\.?\s?m\b\.?)?(?![a-z]))?"
    r"|(?P<whole>[0-9]{1,2})(?:[.](?P<point>[0-5][0-9]))?\s*(?P<whole_half>[ap])\s?\.?\s?m\b\.?"
    r"|(?P<military>[0-2][0-9][0-5][0-9])(?=\s*(?:hrs?|hours|h)\b)"
    r"|(?P<noon>\bnoon\b|\bmidday\b|\bmediod[ií]a\b))"
    r"\s*(?:(?:hrs?|hours|h|uhr)\b\.?)?"
    r"\s*(?P<offset>\bz\b|(?<=[0-9])z\b|\b(?:utc|gmt)\b|[-+][0-9]{2}:?[0-9]{2}\b)?",
    re.IGNORECASE,
)
_NUMBERS = re.compile(r"([0-9]{1,4})([-/.])([0-9]{1,2})\2([0-9]{4}|[0-9]{1,2})")
_DAY_FIRST = re.compile(
    r"(?P<day>[0-9]{1,2})(?:st|nd|rd|th|º|\.)?[\s-]*(?:of|de)?\s*(?P<month>[^\W\d_]{3,})\.?[\s,-]*"
    r"(?:de[l]?)?\s*(?P<year>[0-9]{4})"
)
_MONTH_FIRST = re.compile(
    r"(?P<month>[^\W\d_]{3,})\.?\s*(?P<day>[0-9]{1,2})(?:st|nd|rd|th)?[\s,]+(?P<year>[0-9]{4})"
)
_COMPACT = re.compile(r"(20[0-9]{2})([01][0-9])([0-3][0-9])(?=\s|$)")
_MILITARY = re.compile(r"([0-9]{1,4}([-/.])[0-9]{1,2}\2[0-9]{1,4})(?:\s*[,t]\s*|\s+)([0-2][0-9])([0-5][0-9])")
"""A date in figures, and four figures of a clock of 24 hours: "2026-08-12 0710"."""

_BETWEEN = re.compile(
    r"^(?:\s|,|;|\bat\b|\bon\b|\bel\b|\ba las?\b)+|(?:\s|,|;|\bat\b|\ba las?\b|(?<=[0-9])t)+$"
)


class TimeReadings(NamedTuple):
    """What a text can mean.

    Attributes:
        days: Its possible days, by the order in which they are written; empty where it names none.
        clocks: Its possible times of day; empty where it has none.
        offset: Its offset from UTC, or None.
    """

    days: Mapping[DateOrder, date]
    clocks: tuple[time, ...]
    offset: tzinfo | None = None

    @property
    def moments(self) -> tuple[datetime, ...]:
        """Every moment that the text can mean, without a zone unless it has an offset."""
        distinct_days = dict.fromkeys(self.days.values())
        return tuple(
            datetime.combine(day, clock, self.offset) for day in distinct_days for clock in self.clocks
        )


def read_time_text(text: str) -> TimeReadings | None:
    """Return what a date, a time of day, or both can mean; None where the text is none of them.

    A clock of one digit without "am" or "pm" has two readings, and so has a date in figures, unless one
    reading is no date. A clock of two digits is one of 24 hours.
    """
    plain = " ".join(text[: LONGEST + 1].casefold().replace("\u2019", "'").split())
    if not plain or len(plain) > LONGEST:
        return None
    plain = _COMPACT.sub(r"\1-\2-\3", plain, count=1)
    if military := _MILITARY.fullmatch(plain):
        plain = f"{military[1]} {military[3]}:{military[4]}"
    clocks: tuple[time, ...] = ()
    offset: tzinfo | None = None
    if found := _CLOCK.search(plain):
        clocks, offset = tuple(_clocks(found)), _offset(found["offset"])
        if not clocks:
            return None
        plain = f"{plain[: found.start()]} {plain[found.end() :]}"
    plain = _BETWEEN.sub("", plain.strip()).strip()
    days = dict(_days(plain)) if plain else {}
    if plain and not days:
        return None
    return TimeReadings(days, clocks, offset) if days or clocks else None


def _clocks(found: re.Match[str]) -> Iterator[time]:
    if found["noon"]:
        yield time.fromisoformat("12:00")
        return
    if found["military"]:
        hour, minute, second, half = int(found["military"][:2]), int(found["military"][2:]), 0, None
        digits = found["military"][:2]
    else:
        digits = found["hour"] or found["whole"]
        hour, minute = int(digits), int(found["minute"] or found["point"] or 0)
        second, half = int(found["second"] or 0), found["half"] or found["whole_half"]
    if hour >= 2 * _NOON:
        return
    if half is None:
        yield time(hour, minute, second)
        if len(digits) == 1 and hour and found["colon"] != "h":  # "8h30" is on a clock of 24 hours
            yield time(hour + _NOON, minute, second)
    elif 1 <= hour <= _NOON:
        yield time(hour % _NOON + (_NOON if half == "p" else 0), minute, second)
    elif (hour > _NOON) == (half == "p"):  # "13:10 PM" and "00:10 AM" have one meaning; their opposites none
        yield time(hour, minute, second)


def _offset(text: str | None) -> tzinfo | None:
    if text is None:
        return None
    if text[0] not in "+-":
        return UTC
    hours, minutes = int(text[1:3]), int(text[-2:])
    span = timedelta(hours=hours, minutes=minutes)
    return timezone(-span if text[0] == "-" else span) if hours < 2 * _NOON else None


def _days(text: str) -> Iterator[tuple[DateOrder, date]]:
    if numbers := _NUMBERS.fullmatch(text):
        yield from _days_of_numbers(numbers[1], numbers[3], numbers[4])
        return
    words = _DAY_FIRST.fullmatch(text) or _MONTH_FIRST.fullmatch(text)
    if words and (month := month_names().get(words["month"])) is not None:
        day = _day(int(words["year"]), month, int(words["day"]))
        if day is not None:
            yield "ymd", day


def _days_of_numbers(first: str, second: str, third: str) -> Iterator[tuple[DateOrder, date]]:
    one, two, three = int(first), int(second), int(third)
    if len(first) > 2:  # noqa: PLR2004 - a year in full
        orders: tuple[tuple[DateOrder, int, int, int], ...] = (
            (("ymd", one, two, three),) if len(first) == 4 and len(third) <= 2 else ()  # noqa: PLR2004
        )
    elif len(third) == 4:  # noqa: PLR2004 - a year in full
        orders = ("mdy", three, one, two), ("dmy", three, two, one)
    elif len(third) == 2:  # noqa: PLR2004 - a year without its century, at either end
        year = _CENTURY + three
        orders = (("mdy", year, one, two), ("dmy", year, two, one))
        if len(first) == 2:  # noqa: PLR2004
            orders = (*orders, ("ymd", _CENTURY + one, two, three))
    else:
        orders = ()
    for order, year, month, number in orders:
        if (day := _day(year, month, number)) is not None:
            yield order, day


def _day(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


@cache
def month_names() -> Mapping[str, int]:
    """Return the number of each month by its names in small letters, those with two meanings left out."""
    from babel.dates import get_month_names  # noqa: PLC0415 - only for dates with a month's name

    numbers: dict[str, set[int]] = {}
    for language in _MONTH_LANGUAGES:
        for width in ("wide", "abbreviated"):
            for number, name in get_month_names(width, locale=language).items():
                numbers.setdefault(name.casefold().rstrip("."), set()).add(number)
    numbers["sept"] = {9}
    return {name: min(found) for name, found in numbers.items() if len(found) == 1}


@cache
def date_order(country: str) -> DateOrder | None:
    """Return the order of a date in figures in a country, or None where that differs or is unknown.

    Args:
        country: ISO 3166 code.

    Source:
        Unicode CLDR, short dates of the country's official languages, by babel.
    """
    from babel import Locale, UnknownLocaleError  # noqa: PLC0415 - only for dates in figures
    from babel.languages import get_official_languages  # noqa: PLC0415

    orders: set[str] = set()
    for language in get_official_languages(country, de_facto=True):
        try:
            pattern = Locale.parse(f"{language}_{country}").date_formats["short"].pattern
        except (UnknownLocaleError, ValueError):
            continue
        orders.add("".join(dict.fromkeys(re.sub("[^dmy]", "", pattern.lower()))))
    order = orders.pop() if len(orders) == 1 else None
    return order if order in ("ymd", "mdy", "dmy") else None  # type: ignore[return-value]
