"""Times on the clock of a place: the instant of each, where the clock changes as well."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

from handover.errors import Finding

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

_EARLIEST, _LATEST = 1990, 2100  # years; others are typing errors


def impossible_year(moment: date) -> Finding | None:
    """Return a finding for a day or a time whose year can only be a typing error, else None."""
    if _EARLIEST <= moment.year <= _LATEST:
        return None
    return Finding(
        f"the year {moment.year} cannot be right",
        expected=f"a year from {_EARLIEST} to {_LATEST}",
        example="2026-07-14T06:40:00",
    )


def local_instant(local_time: datetime, zone: ZoneInfo | None) -> datetime | Finding:
    """Return the instant of a time on the site's clock, in the site's zone.

    Args:
        local_time: Without offset: a time on the site's clock. With an offset: an instant.
        zone: Of the site. None while it is unknown; the time is then returned unchanged.

    Returns:
        The instant, or a finding where a clock change makes the time ambiguous or non-existent.
    """
    if (wrong := impossible_year(local_time)) is not None:
        return wrong
    if zone is None:
        return local_time
    if local_time.tzinfo is not None:
        return local_time.astimezone(zone)
    first, second = (local_time.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() == second.utcoffset():
        return first
    if _exists(first):
        return _two_readings(
            f"{local_time.isoformat()} occurs twice at the site: the clock goes back that day", first, second
        )
    # In the gap, the two readings are the instants that the two offsets would give.
    before, after = (reading.astimezone(UTC).astimezone(zone) for reading in (second, first))
    return _two_readings(
        f"{local_time.isoformat()} does not exist at the site: the clock goes forward that day",
        before,
        after,
    )


def _exists(local: datetime) -> bool:
    return local.astimezone(UTC).astimezone(local.tzinfo).replace(tzinfo=None) == local.replace(tzinfo=None)


def _two_readings(problem: str, first: datetime, second: datetime) -> Finding:
    return Finding(
        f"{problem}; it may mean {first.isoformat()} or {second.isoformat()}",
        expected="one of the two, with its offset",
        example=first.isoformat(),
    )
