"""Hours of the day when somebody can be at the slab: "06:30-08:00"."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, time
from functools import partial
from itertools import pairwise
from typing import Any

from handover.base.text import quoted_text
from handover.base.time_text import read_time_text
from handover.errors import Finding
from handover.jobs.fields import FieldParser

TimeWindow = tuple[time, time]
_PATTERN = r"(?:[01]?[0-9]|2[0-3]):[0-5][0-9]\s*-\s*(?:[01]?[0-9]|2[0-3]):[0-5][0-9]"


@dataclass(frozen=True)
class TimeWindowField(FieldParser):
    """From and to, on one day."""

    def parse(self, raw: object) -> str | Finding:
        """Return "HH:MM-HH:MM", or a finding."""
        fault = partial(Finding, expected="from and to on the same day", example='"06:30-08:00"')
        plain = _plain_window(raw) if isinstance(raw, str) else ""
        if not re.fullmatch(_PATTERN, plain):
            return fault(f"{quoted_text(raw)} is not a span of hours")
        start, end = parse_window(plain)
        if end <= start:
            return fault(f"{quoted_text(raw)} ends before it begins; split it in two at midnight")
        return f"{start:%H:%M}-{end:%H:%M}"

    def schema(self) -> dict[str, Any]:
        """Return text with its pattern."""
        return {"type": "string", "pattern": rf"^\s*{_PATTERN}\s*$", "examples": ["06:30-08:00"]}


def _plain_window(raw: str) -> str:
    """Return a text such as "7am to 8am" as "07:00-08:00", where each of its times has one meaning."""
    plain = raw.strip().replace("\u2013", "-")
    if re.fullmatch(_PATTERN, plain):
        return plain
    parts = re.split(r"\s*(?:-|\bto\b|\buntil\b)\s*", plain)
    readings = [read_time_text(each) for each in parts]
    clocks = [
        each.clocks for each in readings if each is not None and not each.days and len(each.clocks) == 1
    ]
    return "-".join(f"{each[0]:%H:%M}" for each in clocks) if len(clocks) == len(parts) == 2 else plain  # noqa: PLR2004


def parse_window(text: str) -> TimeWindow:
    """Return the two times of a text such as "06:30-08:00".

    Raises:
        ValueError: The text is not two times.
    """
    start, end = (datetime.strptime(part.strip(), "%H:%M").time() for part in text.split("-"))  # noqa: DTZ007  a clock without a day
    return start, end


def find_overlap(texts: tuple[str, ...]) -> tuple[str, str] | None:
    """Return the first two windows that overlap, or None."""
    ordered = sorted(texts, key=parse_window)
    for earlier, later in pairwise(ordered):
        if parse_window(later)[0] < parse_window(earlier)[1]:
            return earlier, later
    return None
