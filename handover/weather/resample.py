"""Readings at any minute brought to whole UTC hours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from handover.base.arrays import ONE_HOUR, Floats
from handover.weather.quantities import WeatherQuantity
from handover.weather.series import utc_seconds

if TYPE_CHECKING:
    from handover.weather.raw_weather import TimeArray

_FURTHEST = np.timedelta64(2 * 3600, "s")  # between two readings: one hourly reading may be missing
_ENOUGH = 0.75  # of an hour's usual number of readings


def instants_at_hours(time: TimeArray, value: Floats) -> tuple[TimeArray, Floats]:
    """Return a state at the whole hours within its readings, interpolated between those beside each hour.

    Args:
        time: UTC instants in rising order, none twice, shape (n,).
        value: Readings, shape (n,).

    Returns:
        Hours and values; an hour is left out where the readings beside it are over two hours apart.
    """
    hours = _hours(time, inside=True)
    after = np.clip(np.searchsorted(time, hours), 1, max(len(time) - 1, 1))
    exact = np.isin(hours, time)
    near = exact | (time[np.minimum(after, len(time) - 1)] - time[after - 1] <= _FURTHEST)
    return hours[near], np.interp(utc_seconds(hours[near]), utc_seconds(time), value)


def means_over_hours(quantity: WeatherQuantity, time: TimeArray, value: Floats) -> tuple[TimeArray, Floats]:
    """Return what fell, the mean sunshine, or the highest probability, of the hours that ended.

    Args:
        quantity: Which it is.
        time: UTC instants in rising order, none twice, shape (n,): each of the time that ended then.
        value: Readings, shape (n,).

    Returns:
        Hours and values; an hour with less than three quarters of its usual number of readings is left out.
    """
    if not len(time):
        return time, value
    hours = _hours(time, inside=False)
    which = np.searchsorted(hours, time)  # the first hour at or after each reading
    count = np.bincount(which, minlength=len(hours))
    spacing = np.median(np.diff(utc_seconds(time))) if len(time) > 1 else 3600.0
    enough = count >= max(1.0, np.floor(_ENOUGH * 3600 / spacing))
    result: Floats = np.zeros(len(hours))
    if quantity is WeatherQuantity.RAIN_CHANCE:
        np.maximum.at(result, which, value)
    else:
        result += np.bincount(which, weights=value, minlength=len(hours))
        if quantity is not WeatherQuantity.RAIN:
            result = result / np.maximum(count, 1)
    return hours[enough], np.asarray(result[enough], dtype=np.float64)


def _hours(time: TimeArray, *, inside: bool) -> TimeArray:
    """Return the whole hours from the first reading to the last, or to the hour that the last falls in."""
    whole = time.astype("datetime64[h]").astype("datetime64[s]")
    first = whole[0] if whole[0] == time[0] else whole[0] + ONE_HOUR
    last = whole[-1] if inside or whole[-1] == time[-1] else whole[-1] + ONE_HOUR
    return np.asarray(np.arange(first, last + ONE_HOUR, ONE_HOUR))
