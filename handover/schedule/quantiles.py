"""From hours since placement, by member, to instants in the zone of the site."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from handover.base.arrays import HOUR_S, Floats

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from handover.schedule.simulation import Simulation


_MEDIAN = 0.5


def median_instant(hours: Floats, simulation: Simulation) -> datetime | None:
    """Return the middle of the members that follow the concrete placed last."""
    return _quantile(hours, _MEDIAN, simulation.ensemble.last_placed, simulation)


def late_instant(hours: Floats, simulation: Simulation) -> datetime | None:
    """Return the instant by which the wanted share of members has met it, for the concrete placed last."""
    return _quantile(hours, simulation.share, simulation.ensemble.last_placed, simulation)


def early_instant(hours: Floats, simulation: Simulation) -> datetime | None:
    """Return the instant before which the wanted share has not met it, for the concrete placed first."""
    return _quantile(hours, 1.0 - simulation.share, simulation.ensemble.first_placed, simulation)


def _quantile(hours: Floats, share: float, group: slice, simulation: Simulation) -> datetime | None:
    """Return an instant of one of the members, because a mean with "never" has no meaning."""
    found = np.quantile(hours[group], share, method="inverted_cdf")
    return instant_after(simulation.ensemble.placed_s[group][0], float(found), simulation.job.zone)


def instant_after(placed_s: float, hours: float, zone: ZoneInfo) -> datetime | None:
    """Return the instant so many hours after placement, to the second, or None where it is never reached."""
    if not np.isfinite(hours):
        return None
    utc = datetime.fromtimestamp(placed_s, UTC) + timedelta(seconds=round(hours * HOUR_S))
    return utc.astimezone(zone)
