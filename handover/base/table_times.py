"""The times of a table: with offsets, in UTC, or on the clock of the site; in ISO 8601 or as in spreadsheets.

The column as a whole decides what a single time leaves open: in which order a date in figures is, by the
order in which the hours follow one another; and that the clock has 24 hours, by an hour after noon.
"""

from __future__ import annotations

from contextlib import suppress
from datetime import MAXYEAR, MINYEAR, UTC, datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Literal, NamedTuple

from handover.base.local_time import local_instant
from handover.base.tables import spell_offset
from handover.base.text import short_line
from handover.base.time_text import TimeReadings, read_time_text
from handover.errors import Finding

if TYPE_CHECKING:
    from collections.abc import Sequence
    from zoneinfo import ZoneInfo

    from handover.base.tables import Row
    from handover.base.time_text import DateOrder

_ORDERS: tuple[DateOrder, ...] = ("ymd", "mdy", "dmy")
_EXAMPLE = "2026-07-14T06:00:00-04:00"


Clock = Literal["utc", "local"]


class ColumnTimes(NamedTuple):
    """The times of a table.

    Attributes:
        moments: Of each row, aware; None where there is none, with a finding.
        findings: Faults, and the caution about times on the clock of the site; without file.
        method: How the times were read, for people, or None.
    """

    moments: list[datetime | None]
    findings: list[Finding]
    method: str | None = None


_OUTER_YEARS = (MINYEAR, MAXYEAR)
"""Years in which an instant may have no time in UTC."""


def read_times(
    rows: Sequence[Row], at: int, title: str, *, clock: Clock | None, zone: ZoneInfo | None
) -> ColumnTimes:
    """Return the times of the rows.

    Args:
        rows: The rows below the heading.
        at: The column of the times.
        title: Its heading.
        clock: What the heading says of times without an offset: in UTC, or on the clock of the site.
        zone: Of the site, for times without an offset; None where it is not known.
    """
    field = short_line(title)
    findings: list[Finding] = []
    cells = [row.cells[at] if at < len(row.cells) else "" for row in rows]
    written = [_read(cell) for cell in cells]
    order = _order_of(written)
    if order is None or not _has_clock_of_24_hours(written):
        index = next(at for at, each in enumerate(written) if isinstance(each, TimeReadings))
        doubt = "day first or month first" if order is None else "before noon or after noon"
        findings.append(
            Finding(
                f"{short_line(cells[index])!r} may be {doubt}",
                line=rows[index].line,
                field=field,
                expected="the year first, and the time of 24 hours or with AM or PM",
                example=_EXAMPLE,
            )
        )
        return ColumnTimes([None] * len(rows), findings)
    moments: list[datetime | None] = []
    on_clock: list[int] = []
    for index, (row, each) in enumerate(zip(rows, written, strict=True)):
        moment = _in_order(each, order) if isinstance(each, TimeReadings) else each
        if moment is None or moment.year in _OUTER_YEARS:
            moment = None
            findings.append(
                Finding(
                    f"{short_line(cells[index])!r} is not a time",
                    line=row.line,
                    field=field,
                    expected="a date with a time, the year first",
                    example="2026-07-14T06:00:00Z",
                )
            )
        elif moment.tzinfo is None and clock == "utc":
            moment = moment.replace(tzinfo=UTC)
        elif moment.tzinfo is None:
            on_clock.append(index)
        moments.append(moment)
    if not on_clock:
        return ColumnTimes(moments, findings)
    times = _at_site(ColumnTimes(moments, findings), on_clock, rows, field, zone)
    if clock == "local":
        return times._replace(findings=[each for each in times.findings if each.severity == "fault"])
    return times


def _at_site(
    times: ColumnTimes, on_clock: list[int], rows: Sequence[Row], field: str, zone: ZoneInfo | None
) -> ColumnTimes:
    """Return the times with those without an offset on the clock of the site."""
    moments, findings = times.moments, times.findings
    first = rows[on_clock[0]]
    if zone is None:
        findings.append(
            Finding(
                f"{len(on_clock)} times without an offset from UTC, and the time zone of the site is unknown",
                line=first.line,
                field=field,
                expected="an offset in every time, or the heading time_utc where they are UTC",
                example=_EXAMPLE,
            )
        )
    for index in on_clock:
        local = moments[index]
        assert local is not None  # noqa: S101 - these have a time
        moments[index] = None
        instant = None if zone is None else local_instant(local, zone)
        if isinstance(instant, Finding):
            findings.append(
                Finding(
                    instant.problem,
                    line=rows[index].line,
                    field=field,
                    expected="its offset from UTC, or the heading time_utc and every time in UTC",
                    example=instant.example,
                )
            )
        else:
            moments[index] = instant
    if zone is None:
        return ColumnTimes(moments, findings)
    method = f"Times without an offset are on the clock of the site, {zone.key}."
    findings.append(
        Finding(
            f"{len(on_clock)} times without an offset from UTC are read on the clock of the site, {zone.key}",
            line=first.line,
            field=field,
            expected="this, or an offset in every time, or the heading time_utc where they are UTC",
            example="time_utc",
            severity="caution",
        )
    )
    return ColumnTimes(moments, findings, method)


def _read(cell: str) -> datetime | TimeReadings | None:
    """Return a time in ISO 8601, or what else a cell can mean, or None."""
    text = spell_offset(cell)
    with suppress(ValueError):
        return datetime.fromisoformat(text)
    readings = read_time_text(text)
    return readings if readings is not None and readings.days and readings.clocks else None


def _order_of(written: Sequence[datetime | TimeReadings | None]) -> DateOrder | None:
    """Return the order of the dates of a column in figures, or None where it has several.

    It is the one in which every time is a date, and the times follow one another by less than a day.
    """
    texts = [each for each in written if isinstance(each, TimeReadings)]
    if not texts:
        return "ymd"
    possible = [order for order in _ORDERS if all(order in each.days for each in texts)]
    if len(possible) == 1:
        return possible[0]
    steady = [order for order in possible if _is_steady([_in_order(each, order) for each in texts])]
    return steady[0] if len(steady) == 1 else None if possible else "ymd"


def _has_clock_of_24_hours(written: Sequence[datetime | TimeReadings | None]) -> bool:
    """Return whether every clock has its half of the day, or one of them shows that there are 24 hours."""
    texts = [each for each in written if isinstance(each, TimeReadings)]
    if all(len(each.clocks) == 1 for each in texts):
        return True
    clear = [each.clocks[0].hour for each in texts if len(each.clocks) == 1]
    return max([*clear, *(each.hour for each in written if isinstance(each, datetime))], default=0) > 12  # noqa: PLR2004


def _is_steady(moments: Sequence[datetime | None]) -> bool:
    ordered = [each for each in moments if each is not None]
    if len({each.date() for each in ordered}) == 1:
        return False  # one day is as likely in either order
    return all(timedelta(0) <= later - earlier <= timedelta(days=1) for earlier, later in pairwise(ordered))


def _in_order(readings: TimeReadings, order: DateOrder) -> datetime | None:
    """Return the time of a text in an order; a clock without "am" or "pm" is one of 24 hours."""
    day = readings.days.get(order)
    return None if day is None else datetime.combine(day, readings.clocks[0], readings.offset)
