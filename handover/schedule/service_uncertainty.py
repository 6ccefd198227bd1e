"""The errors of a forecast by what its service says of them, where it says anything.

The errors by the rules are the starting point. The percentiles of a service replace their spread, hour by
hour; the members of its ensemble replace the errors themselves. In both, the forecast stays the central case,
and no hour has a narrower spread than the rules state for the first hours of a forecast: that is measured at
single sites, and neither members nor percentiles of a grid cell know what a site differs by from it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from handover.weather.series import Origin
from handover.weather.uncertainty import ForecastMembers, ForecastPercentiles

if TYPE_CHECKING:
    from handover.base.arrays import Floats
    from handover.weather.series import WeatherSeries

_FORGOTTEN = 10  # times the memory, after which nothing is left of an error
_CALM_MS = 0.1


def replace_by_percentiles(usual: Floats, weather: WeatherSeries, name: str, at_once: float) -> Floats:
    """Return the spread of a column with that of the percentiles in the hours that have them.

    Args:
        usual: Standard deviation by the rules, shape (n,).
        weather: Extended, shape (n,).
        name: Column.
        at_once: Standard deviation in the first hours by the rules.
    """
    stated = weather.uncertainty
    spread = stated.spread(name, weather.time) if isinstance(stated, ForecastPercentiles) else None
    if spread is None:
        return usual
    spread = as_error(name, spread, getattr(weather, name))
    usable = np.isfinite(spread) & (weather.origin == Origin.FORECAST)
    return np.where(usable, np.maximum(spread, at_once), usual)


def replace_by_members(
    errors: Floats,
    weather: WeatherSeries,
    name: str,
    at_once: float,
    memory_h: float,
    series: Floats,
) -> Floats:
    """Return the errors of a column with those of the service's members in the hours that have them.

    Each member of the ensemble follows one of the service, in turn; the central one has no error. Where the
    service's differ by less than the first hours of a forecast, the rest of that error is added. Before a
    member of the service begins and after it ends, what its error differs by from that of the rules is
    forgotten as exp(-t / memory): of a first-order series this leaves the spread as it is.

    Args:
        errors: By the rules, shape (n, m), the central member first.
        weather: Extended, shape (n,), with the members of its service.
        name: Column.
        at_once: Standard deviation of the error in the first hours by the rules.
        memory_h: Of the errors. [h]
        series: Behind the errors by the rules: first-order, of unit spread, shape (n, m).
    """
    forecast = weather.origin == Origin.FORECAST
    members = weather.uncertainty
    apart = members.deviations(name, weather.time) if isinstance(members, ForecastMembers) else None
    known = np.isfinite(apart) & forecast[:, np.newaxis] if apart is not None else np.zeros((1, 1), bool)
    usable = np.flatnonzero(known.any(axis=0))
    if apart is None or not len(usable):
        return errors
    known = known[:, usable]
    value = np.where(known, apart[:, usable], 0.0)
    value = as_error(name, value, getattr(weather, name)[:, np.newaxis])
    first, last = known.argmax(axis=0), len(known) - 1 - known[::-1].argmax(axis=0)
    rows = np.arange(min(len(known), int(last.max() + _FORGOTTEN * memory_h)))[:, np.newaxis]
    nearest = np.clip(rows, first, last)  # the hour in which a member is known, for each hour
    rest = np.exp(-np.abs(rows - nearest) / memory_h) * (weather.origin[rows] != Origin.OBSERVED)
    variance = (value**2).sum(axis=1) / np.maximum(known.sum(axis=1), 1)
    added = np.sqrt(np.maximum(at_once**2 - variance, 0.0))
    follows = np.arange(errors.shape[1] - 1) % len(usable)
    at = nearest[:, follows], np.arange(1, errors.shape[1])
    by_members = value[nearest, np.arange(len(usable))][:, follows] + added[at[0]] * series[at]
    replaced = errors.copy(order="K")
    replaced[: len(rows), 1:] += rest[:, follows] * (by_members - errors[at])
    return replaced


def as_error(name: str, apart: Floats, central: Floats) -> Floats:
    """Return differences of a column as errors of it: of wind, as a share of the central one.

    In calm air it is the share of a least wind, by which nothing is divided by zero.
    """
    return apart / np.maximum(central, _CALM_MS) if name == "wind_ms" else apart
