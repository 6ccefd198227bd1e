"""When a slab is covered against frost: at dusk, though not before the finishing is done."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    from handover.schedule.model import CureSchedule

COVERING = timedelta(hours=1)
"""What it takes to cover a slab. Common practice."""

DUSK = time(17)
"""By when the slab is covered against the frost of the night. Common practice."""


def covered_from(schedule: CureSchedule, frost: datetime) -> datetime:
    """Return when to cover before a frost that begins at an instant, in UTC."""
    ready = (schedule.finished or schedule.placement_end).astimezone(UTC)
    first = frost.astimezone(ZoneInfo(schedule.timezone))
    return min(max(_dusk_before(first), ready), first.astimezone(UTC))


def _dusk_before(frost: datetime) -> datetime:
    """Return the last dusk that is an hour or more before the frost, in UTC."""
    latest = (frost.astimezone(UTC) - COVERING).astimezone(frost.tzinfo)
    day = latest.date() - timedelta(days=latest.time() < DUSK)
    return datetime.combine(day, DUSK, frost.tzinfo).astimezone(UTC)
