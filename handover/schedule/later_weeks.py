"""The weeks past the simulation: its last weeks again, as much warmer or colder as the season is by then."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from handover.base.arrays import HOUR_S, Floats
from handover.concrete.freezing import liquid_share
from handover.concrete.hydration import reaction_rate
from handover.practice.rules import general_rules

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray

    from handover.schedule.mix import ConcreteProperties
    from handover.weather.climate import Climate
    from handover.weather.raw_weather import TimeArray

_WEEK_H = 7 * 24
_EVERY_H = (
    11  # of the hours that are repeated; without a factor in common with a day, so each hour of it counts
)
_APART_K = (
    2.5  # between the temperatures of a season at which rates are computed; convex by some 0.3 % between
)


@dataclass(frozen=True)
class LaterWeeks:
    """How the simulation goes on past its end, week by week.

    Every week, the hours of its last weeks come again, each warmer or colder by what the mean air of the
    season differs by. So one cold last week is not repeated until spring, and frozen concrete thaws.

    Attributes:
        hours: Past the end of the simulation, from 0 on, shape (w+1,). [h]
        season_c: Mean air of the season in the middle of each week, shape (w,). [degC]
        repeated: Which hours of the simulation are repeated, shape (k,).
        repeated_c: Mean air of the season at these hours, shape (k,). [degC]
    """

    hours: Floats
    season_c: Floats
    repeated: NDArray[np.int_]
    repeated_c: Floats

    def accumulate(self, temperature_c: Floats, rate: Callable[[Floats], NDArray[Any]]) -> Floats:
        """Return the sum of what goes on at a rate of each temperature, from the end of the simulation on.

        Args:
            temperature_c: Of the whole hours of the simulation, shape (h+1, ...). [degC]
            rate: From temperatures, shape (k, ...), to what they add an hour, of the same shape.

        Returns:
            At each instant of ``hours``, shape (w+1, ...).
        """
        past = temperature_c[self.repeated]
        others = (slice(None), *(np.newaxis,) * (past.ndim - 1))
        above = past - self.repeated_c[others]
        low, high = float(self.season_c.min()), float(self.season_c.max())
        nodes = np.linspace(low, high, 1 + max(int(np.ceil((high - low) / _APART_K)), 1))
        rates = np.array([rate(above + season).mean(axis=0) for season in nodes])
        at = (self.season_c - low) / max(high - low, np.finfo(float).tiny) * (len(nodes) - 1)
        before = np.minimum(at.astype(np.int64), len(nodes) - 2)
        share = (at - before)[others]
        added = (rates[before] * (1.0 - share) + rates[before + 1] * share) * np.diff(self.hours)[others]
        return np.concatenate([np.zeros((1, *past.shape[1:])), np.cumsum(added, axis=0)])


def later_weeks(hours: Floats, placed: np.datetime64, climate: Climate | None) -> LaterWeeks:
    """Return how a simulation goes on past its end.

    Args:
        hours: Its whole hours since placement, shape (h+1,). [h]
        placed: The placement, UTC.
        climate: Of the place; None: every week is like the last ones.
    """
    rules = general_rules()
    last = int(hours[-1])
    repeated = np.arange(max(last - int(rules["forecast.repeated"]) * 24, 0), last, _EVERY_H)
    weeks = np.arange(max(int((rules["forecast.reach"] - last) // _WEEK_H) + 2, 1))
    season_c, repeated_c = (
        np.zeros(len(each)) if climate is None else climate.air_c(_instants(placed, each))
        for each in (last + (weeks + 0.5) * _WEEK_H, repeated)
    )
    ends: Floats = np.asarray(np.arange(len(weeks) + 1) * _WEEK_H, dtype=np.float64)
    return LaterWeeks(ends, season_c, repeated, repeated_c)


def hardening_rate(concrete: ConcreteProperties) -> Callable[[Floats], Floats]:
    """Return how fast the equivalent age of each member grows at temperatures, shape (k, m, 3), in h an hour.

    As in the simulation: by the energies of the mix, and in the share of the pore water that is liquid.
    """
    curve = concrete.hydration
    by_depth = replace(
        curve,
        activation_energy=np.asarray(curve.activation_energy)[:, np.newaxis],
        cold_activation_energy=np.asarray(curve.cold_activation_energy)[:, np.newaxis],
    )

    def rate(temperature_c: Floats) -> Floats:
        aging = reaction_rate(temperature_c, by_depth)
        return np.asarray(aging * liquid_share(temperature_c, concrete.freezing))

    return rate


def _instants(placed: np.datetime64, hours: ArrayLike) -> TimeArray:
    seconds: TimeArray = placed + np.round(np.asarray(hours) * HOUR_S).astype("timedelta64[s]")
    return seconds
