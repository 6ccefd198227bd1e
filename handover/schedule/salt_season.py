"""When somebody may first use deicing salt on a slab."""

from __future__ import annotations

from datetime import datetime

COLD_MONTHS = {"north": (11, 12, 1, 2, 3), "south": (5, 6, 7, 8, 9)}
"""Months of deicing salt, the first one first. Common practice."""


def first_cold(placed: datetime, latitude: float | None) -> datetime:
    """Return when salt may first be used: the start of the cold months, or the placement within them.

    Args:
        placed: End of placement, in the zone of the site.
        latitude: Of the site; None counts as north of the equator. [deg]
    """
    months = COLD_MONTHS["south" if latitude is not None and latitude < 0 else "north"]
    if placed.month in months:
        return placed
    year = placed.year + (placed.month > months[0])
    return datetime(year, months[0], 1, tzinfo=placed.tzinfo)
