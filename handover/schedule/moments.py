"""From hours since placement, member by member, to instants in the zone of the site."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from handover.schedule.course import HOUR

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from numpy.typing import NDArray

    from handover.schedule.course import Course

    Floats = NDArray[np.float64]

_MEDIAN = 0.5


def median(hours: Floats, course: Course) -> datetime | None:
    """Return the middle of the members that follow the concrete placed last."""
    return _quantile(hours, _MEDIAN, course.cases.last, course)


def late(hours: Floats, course: Course) -> datetime | None:
    """Return the instant that the wanted share of the members has passed, by the concrete placed last."""
    return _quantile(hours, course.share, course.cases.last, course)


def early(hours: Floats, course: Course) -> datetime | None:
    """Return the instant that the wanted share of the concrete placed first has yet to pass."""
    return _quantile(hours, 1.0 - course.share, course.cases.first, course)


def _quantile(hours: Floats, share: float, group: slice, course: Course) -> datetime | None:
    """Return an instant that one of the members has: a mean with "never" would have no meaning."""
    found = np.quantile(hours[group], share, method="inverted_cdf")
    return moment(course.cases.placed_s[group][0], float(found), course.job.zone)


def moment(placed_s: float, hours: float, zone: ZoneInfo) -> datetime | None:
    """Return the instant so many hours after placement, to the second, or None where it is never reached."""
    if not np.isfinite(hours):
        return None
    utc = datetime.fromtimestamp(placed_s, UTC) + timedelta(seconds=round(hours * HOUR))
    return utc.astimezone(zone)
