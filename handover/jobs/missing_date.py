"""Times that lack a year or a date: "8/12 7am", "Wednesday 7am". They are asked about, never read."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING

from handover.base.time_text import LONGEST, month_names, read_time_text

if TYPE_CHECKING:
    from collections.abc import Mapping

_DAY_NAME_LANGUAGES = ("en", "es")
_WORD = re.compile(r"[^\W\d_]{2,}\.?,?")
_FIGURES = re.compile(r"(?<![0-9:./-])([0-9]{1,2})[/-]([0-9]{1,2})(?![0-9:./-])")
_MONTH_FIRST = re.compile(r"([^\W\d_]{3,})\.? ([0-9]{1,2})(?:st|nd|rd|th)?,?(?![0-9:])(?! ?[ap]\.?m)")
_DAY_FIRST = re.compile(r"(?<![0-9:])([0-9]{1,2})(?:st|nd|rd|th)? (?:de )?([^\W\d_]{3,})\.?,?")
_WEEK = 7  # days
_NEAR = timedelta(days=60)
"""How far from the other times of its record a time is likely; common sense, no source."""


def complete_time(text: str, near: date) -> tuple[datetime, ...]:
    """Return what a time without its year or date may mean, the likely ones first; empty for other texts.

    Args:
        text: As written.
        near: A day from which it is not far: of another time of the record.
    """
    plain = " ".join(text[: LONGEST + 1].casefold().split())
    weekday = next((each for each in _WORD.findall(plain) if each.strip(".,") in day_names()), None)
    rest = plain if weekday is None else " ".join(plain.replace(weekday, " ", 1).split())
    whole = _with_year(rest, near.year)
    if whole is not None:
        readings = read_time_text(whole)
        moments = () if readings is None else readings.moments
        likely = tuple(each for each in moments if abs(each.date() - near) <= _NEAR)
        return likely or moments
    readings = read_time_text(rest) if weekday is not None else None
    if weekday is None or readings is None or readings.days:
        return ()
    day = _nearest(day_names()[weekday.strip(".,")], near)
    return tuple(datetime.combine(day, clock, readings.offset) for clock in readings.clocks)


def _with_year(text: str, year: int) -> str | None:
    """Return a text with the year after its day and month; None where it names none."""
    if found := _FIGURES.search(text):
        return f"{text[: found.start()]}{found[1]}/{found[2]}/{year}{text[found.end() :]}"
    for pattern, month in ((_MONTH_FIRST, 1), (_DAY_FIRST, 2)):
        found = pattern.search(text)
        if found and found[month] in month_names():
            named = f"{found[3 - month]} {found[month]} {year}"
            return f"{text[: found.start()]}{named}{text[found.end() :]}"
    return None


def _nearest(weekday: int, near: date) -> date:
    """Return the day of the week that is nearest to a day."""
    ahead = (weekday - near.weekday()) % _WEEK
    return near + timedelta(days=ahead if ahead <= _WEEK // 2 else ahead - _WEEK)


@cache
def day_names() -> Mapping[str, int]:
    """Return the number of each day of the week, Monday 0, by its names in small letters."""
    from babel.dates import get_day_names  # noqa: PLC0415 - only for a time that nobody can read otherwise

    return {
        name.casefold().rstrip("."): number
        for language in _DAY_NAME_LANGUAGES
        for width in ("wide", "abbreviated")
        for number, name in get_day_names(width, locale=language).items()
    }
