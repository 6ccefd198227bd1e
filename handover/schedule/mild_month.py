"""The month in which to ask again for a date that waits for mild days past the reach of the dates."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from handover.practice.rules import general_rules
from handover.weather.climate import climate_at

if TYPE_CHECKING:
    from handover.schedule.model import Milestone
    from handover.weather.location import HasLocation

_LEAST = "counted_above"
"""The figure of a condition that has the least temperature of the hours that count."""


def first_mild_month(milestone: Milestone, placed: datetime, site: HasLocation) -> datetime | None:
    """Return the first month, past the reach of the dates, whose mean air is as warm as a date asks for.

    Args:
        milestone: The date, which waits for mild days.
        placed: End of placement, in the zone of the site.
        site: The place.

    Returns:
        The first day of the month; None where no month is so warm, or the place is not known.
    """
    climate = climate_at(site)
    figures = milestone.because.governing.figures
    least_c = next((each.value for each in figures if each.name == _LEAST), None)
    if climate is None or least_c is None:
        return None
    reach = placed + timedelta(hours=general_rules()["forecast.reach"])
    months = len(climate.months_c)
    for number in range(months):
        year, month = divmod(reach.month - 1 + number, months)
        if climate.months_c[month] >= least_c:
            return datetime(reach.year + year, month + 1, 1, tzinfo=placed.tzinfo)
    return None
