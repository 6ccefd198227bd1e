"""When somebody may first use deicing salt on a slab."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from handover.practice.rules import general_rules
from handover.weather.climate import climate_at

if TYPE_CHECKING:
    from handover.weather.location import HasLocation

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


def has_salt_season(site: HasLocation) -> bool:
    """Return whether winters of a place are cold enough for salt; those of a place not known are."""
    climate = climate_at(site)
    return climate is None or min(climate.months_c) < general_rules()["winter.salt-mean"]


def _later_month(month: int, by: int) -> int:
    return (month - 1 + by) % 12 + 1
