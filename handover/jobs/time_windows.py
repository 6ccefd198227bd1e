"""Hours of the day when somebody can be at the slab: "06:30-08:00"."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, time
from functools import partial
from itertools import pairwise, product
from typing import TYPE_CHECKING, Any

from handover.base.text import quoted_text
from handover.base.time_text import read_time_text
from handover.errors import Finding
from handover.jobs.fields import FieldParser, other_names, plain_name

if TYPE_CHECKING:
    from collections.abc import Iterator

TimeWindow = tuple[time, time]
"""From and to, on one day; a window to midnight ends at `time.max`."""

_CLOCK = r"(?:[01]?[0-9]|2[0-3]):[0-5][0-9]"
_PATTERN = rf"{_CLOCK}\s*-\s*(?:{_CLOCK}|24:00)"
_DAY_MIN = 24 * 60
_NOON_MIN = _DAY_MIN // 2
HALF_HOUR_MIN = 30
"""Visits begin on these minutes of the clock."""
_FROM_TO = re.compile(r"\s*(?:-|\b(?:to|until|till|hasta|a)\b)\s*", re.IGNORECASE)
_LIST = re.compile(r"\s*(?:[,;&]|\b(?:and|y)\b)\s*", re.IGNORECASE)


@dataclass(frozen=True)
class TimeWindowField(FieldParser):
    """From and to, on one day."""

    def parse(self, raw: object) -> str | Finding:
        """Return "HH:MM-HH:MM", or a finding; midnight at the end is "24:00"."""
        fault = partial(Finding, expected="from and to on the same day", example='"06:30-08:00"')
        if not isinstance(raw, str):
            return fault(f"{quoted_text(raw)} is not a span of hours")
        if (name := other_names("curing.available").get(plain_name(raw))) is not None:
            return name
        plain = raw.strip().replace("\u2013", "-")
        readings = list(_readings(plain))
        spans = [_text(opens, closes) for opens, closes in readings if opens < closes]
        if len(spans) == 1:
            return spans[0]
        if spans:
            return fault(
                f"{quoted_text(raw)} may mean several spans of hours",
                expected="times of 24 hours, or with am or pm",
                example=" or ".join(f'"{each}"' for each in spans),
            )
        if len(readings) == 1:
            return _backwards(raw, *readings[0])
        return fault(f"{quoted_text(raw)} is not a span of hours")

    def schema(self) -> dict[str, Any]:
        """Return text with its pattern."""
        return {"type": "string", "pattern": rf"^\s*{_PATTERN}\s*$", "examples": ["06:30-08:00"]}


def _readings(text: str) -> Iterator[tuple[int, int]]:
    """Yield what a text such as "7am to 8am" can mean, from and to in minutes of the day."""
    if re.fullmatch(_PATTERN, text):
        opens, closes = (_minutes(each) for each in text.split("-"))
        yield opens, closes
        return
    parts = _FROM_TO.split(text)
    if len(parts) == 2:  # noqa: PLR2004 - from and to
        for opens, closes in product(*map(_clock_minutes, parts)):
            yield opens % _DAY_MIN, closes


def _clock_minutes(text: str) -> list[int]:
    """Return the minutes of the day that a time of day can mean: two for a "6" or "6:30" alone."""
    if text.casefold() in ("24:00", "midnight", "medianoche"):
        return [_DAY_MIN]
    if re.fullmatch("[0-9]{1,2}", text):
        minutes = int(text) * 60
        both = [minutes, minutes + _NOON_MIN] if 0 < minutes < _NOON_MIN else [minutes]
        return [each for each in both if each <= _DAY_MIN]
    reading = read_time_text(text)
    if reading is None or reading.days or reading.offset is not None:
        return []
    return [each.hour * 60 + each.minute for each in reading.clocks]


def _minutes(clock: str) -> int:
    hour, minute = clock.split(":")
    return int(hour) * 60 + int(minute)


def _text(opens: int, closes: int) -> str:
    return "-".join(f"{each // 60:02d}:{each % 60:02d}" for each in (opens, closes))


def _backwards(raw: str, opens: int, closes: int) -> Finding:
    """Return a finding on a window that does not end after it begins, in minutes of the day."""
    if opens == closes:
        problem = "begins and ends at the same time"
        parts = [widen(_text(opens, closes))]
    else:
        problem = "ends before it begins; split it in two at midnight"
        split = [_text(opens, _DAY_MIN), *([_text(0, closes)] if closes else [])]
        parts = [each if holds_half_hour(each) else widen(each) for each in split]
    return Finding(
        f"{quoted_text(raw)} {problem}",
        expected="from and to on the same day",
        example=", ".join(f'"{each}"' for each in parts),
    )


def holds_half_hour(text: str) -> bool:
    """Return whether a window holds a whole half hour that begins at :00 or :30, in which a visit fits."""
    opens, closes = _bounds(text)
    return -(-opens // HALF_HOUR_MIN) < closes // HALF_HOUR_MIN


def widen(text: str) -> str:
    """Return the least window of whole half hours about a window: "07:00-07:30" for "07:10-07:25"."""
    opens, closes = _bounds(text)
    begins = min(opens // HALF_HOUR_MIN, _DAY_MIN // HALF_HOUR_MIN - 1)
    ends = max(-(-closes // HALF_HOUR_MIN), begins + 1)
    return _text(begins * HALF_HOUR_MIN, ends * HALF_HOUR_MIN)


def _bounds(text: str) -> tuple[int, int]:
    """Return from and to of "HH:MM-HH:MM", in minutes of the day."""
    opens, closes = (_minutes(each) for each in text.split("-"))
    return opens, closes


def split_windows(text: str) -> list[str]:
    """Return the windows of an answer such as "6:30 to 8 am and 5 pm to 9 pm", one text for each."""
    return [each.strip(" \"'[]") for each in _LIST.split(text) if each.strip(" \"'[]")]


def parse_window(text: str) -> TimeWindow:
    """Return the two times of a text such as "06:30-08:00".

    Raises:
        ValueError: The text is not two times.
    """
    start, end = (_time(part.strip()) for part in text.split("-"))
    return start, end


def _time(clock: str) -> time:
    return time.max if clock == "24:00" else datetime.strptime(clock, "%H:%M").time()  # noqa: DTZ007  a clock without a day


def find_overlap(texts: tuple[str, ...]) -> tuple[str, str] | None:
    """Return the first two windows that overlap, or None."""
    ordered = sorted(texts, key=parse_window)
    for earlier, later in pairwise(ordered):
        if parse_window(later)[0] < parse_window(earlier)[1]:
            return earlier, later
    return None
