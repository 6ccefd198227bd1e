"""From hours since placement, by member, to instants in the zone of the site."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np

from handover.base.arrays import HOUR_S, Floats
from handover.practice.backtest import backtest
from handover.practice.rules import general_rules

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from handover.schedule.simulation import Simulation


_MEDIAN = 0.5
_NEAR = general_rules()["spread.near"]


def median_instant(hours: Floats, simulation: Simulation) -> datetime | None:
    """Return the middle of the members that follow the concrete placed last."""
    return _quantile(hours, _MEDIAN, simulation.ensemble.last_placed, simulation)


def late_instant(hours: Floats, simulation: Simulation, kind: str) -> datetime | None:
    """Return the instant by which enough members have met a kind of date, for the concrete placed last."""
    share = share_to_wait_for(kind, simulation.share)
    return _quantile(hours, share, simulation.ensemble.last_placed, simulation)


def share_to_wait_for(kind: str, share: float) -> float:
    """Return for which share of the members a kind of date waits, so that a share of slabs meets it.

    Members may differ from one another less than slabs do. A date then waits for more of them, by what the
    backtest has shown; for another share than that of the backtest, by as many standard deviations.
    """
    tested = backtest()
    if tested.levels.get(kind, tested.share) == tested.share:
        return share
    normal = NormalDist()
    further = normal.inv_cdf(tested.levels[kind]) - normal.inv_cdf(tested.share)
    return normal.cdf(normal.inv_cdf(share) + further)


def early_instant(hours: Floats, simulation: Simulation) -> datetime | None:
    """Return the instant before which the wanted share has not met it, for the concrete placed first."""
    return _quantile(hours, 1.0 - simulation.share, simulation.ensemble.first_placed, simulation)


def _quantile(hours: Floats, share: float, group: slice, simulation: Simulation) -> datetime | None:
    """Return the instant at which a share of the members has met a condition."""
    found = smoothed_quantile(hours[group], share)
    return instant_after(simulation.ensemble.placed_s[group][0], found, simulation.job.zone)


def smoothed_quantile(hours: Floats, share: float) -> float:
    """Return a quantile as a weighted mean of the members around it; infinite where one of these is.

    The mean makes the quantile of a few members steady. One date that is later than another in every member
    stays later, because the weights are the same for both.

    Args:
        hours: Shape (m,); infinite for a member that never meets the condition.
        share: Between 0 and 1.
    """
    count = len(hours)
    rank = min(max(math.ceil(count * share) - 1, 0), count - 1)
    near = min(round(count * _NEAR), rank, count - 1 - rank)
    ranks = np.arange(rank - near, rank + near + 1)
    values = np.sort(hours)[ranks]
    weights = near + 1.0 - np.abs(ranks - rank)
    return float(values @ weights / weights.sum())


def instant_after(placed_s: float, hours: float, zone: ZoneInfo) -> datetime | None:
    """Return the instant so many hours after placement, to the second, or None where it is never reached."""
    if not np.isfinite(hours):
        return None
    utc = datetime.fromtimestamp(placed_s, UTC) + timedelta(seconds=round(hours * HOUR_S))
    return utc.astimezone(zone)
