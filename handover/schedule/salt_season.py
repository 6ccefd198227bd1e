"""When somebody may first use deicing salt on a slab."""

from __future__ import annotations

from datetime import datetime

from handover.practice.rules import general_rules

_HALF_A_YEAR = 6  # months


def first_cold(placed: datetime, latitude: float | None) -> datetime:
    """Return when salt may first be used: the start of the cold months, or the placement within them.

    Args:
        placed: End of placement, in the zone of the site.
        latitude: Of the site; None counts as north of the equator. [deg]
    """
    rules = general_rules()
    is_southern = latitude is not None and latitude < 0
    begins, ends = (
        _later_month(int(rules[name]), _HALF_A_YEAR if is_southern else 0)
        for name in ("winter.salt-begins", "winter.salt-ends")
    )
    if (placed.month - begins) % 12 <= (ends - begins) % 12:
        return placed
    year = placed.year + (placed.month > begins)
    return datetime(year, begins, 1, tzinfo=placed.tzinfo)


def _later_month(month: int, by: int) -> int:
    return (month - 1 + by) % 12 + 1
