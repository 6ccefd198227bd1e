"""The time of issue as a person writes it: with an offset from UTC, or on the clock of the site."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from handover.base.local_time import impossible_year, local_instant
from handover.base.text import quoted_text
from handover.base.time_text import read_time_text
from handover.errors import Finding, UnusableInput
from handover.jobs.reading import zone_of_record

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

FIELD = "--as-of"
_EXAMPLE = "2026-07-14T12:30:00-04:00"


def read_time_of_issue(
    text: str, record: Path | None, zone_of: Callable[[], str | None] | None = None
) -> datetime:
    """Return the time of issue, aware.

    Args:
        text: A date and a time, with an offset from UTC or without.
        record: The file of the record whose site has the clock of a time without an offset, or None.
        zone_of: Returns the zone of the site where there is no such file; None where nothing else knows it.

    Raises:
        UnusableInput: It is no time, has several readings, has no offset and there is no site, or its year
            cannot be meant.
    """
    moment = _read(text, partial(zone_of_record, record) if record else zone_of)
    if (wrong := impossible_year(moment)) is not None:
        raise UnusableInput.with_finding(
            wrong.problem, field=FIELD, expected=wrong.expected, example=_EXAMPLE
        )
    return moment


def _read(text: str, zone_of: Callable[[], str | None] | None) -> datetime:
    fault = partial(Finding, field=FIELD, expected="a date, a time and its offset from UTC", example=_EXAMPLE)
    with suppress(ValueError):
        if (exact := datetime.fromisoformat(text)).tzinfo is not None:
            return exact
    readings = read_time_text(text)
    if readings is None or not readings.moments:
        problem = "is not a time" if readings is None else "is not a date with a time"
        raise UnusableInput([fault(f"{quoted_text(text)} {problem}")])
    if len(readings.moments) > 1:
        lines = [f'{FIELD} "{each.isoformat(sep=" ", timespec="minutes")}"' for each in readings.moments]
        problem = f"{quoted_text(text)} has several meanings"
        raise UnusableInput([fault(problem, expected="one of them", example="   or   ".join(lines))])
    (moment,) = readings.moments
    if moment.tzinfo is not None:
        return moment
    zone = None if zone_of is None else zone_of()
    if zone is None:
        here = moment.astimezone()
        problem = "does not say its offset from UTC, and no record of one site says it either"
        raise UnusableInput([fault(f"{quoted_text(text)} {problem}", example=f"{FIELD} {here.isoformat()}")])
    instant = local_instant(moment, ZoneInfo(zone))
    if isinstance(instant, Finding):
        raise UnusableInput([fault(instant.problem, expected=instant.expected, example=instant.example)])
    return instant
