"""The weather past the end of a forecast."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from handover.base.arrays import ONE_HOUR, Floats
from handover.errors import Finding, UnusableInput
from handover.practice.rules import general_rules
from handover.weather.climate import CLIMATE_SOURCE
from handover.weather.raw_weather import TimeArray, format_moment
from handover.weather.series import Origin, WeatherSeries, utc64, utc_seconds
from handover.weather.sunshine import CLEAR_SKY_SHARE, extraterrestrial_wm2

if TYPE_CHECKING:
    from datetime import datetime

    from handover.weather.climate import Climate

_DAY = 24
_DAYS = int(general_rules()["forecast.mean-day"])
_FADE_H = general_rules()["forecast.fade"]
_MEMORY_H = general_rules()["forecast.memory"]
_STATES = ("air_c", "relative_humidity", "wind_ms", "cloud")


def extrapolate(
    series: WeatherSeries,
    until: datetime,
    *,
    typical: WeatherSeries | None = None,
    climate: Climate | None = None,
) -> WeatherSeries:
    """Return the series extended to an instant, with the added hours marked as typical.

    Added are the hours of the mean day of the last three days (of the last two or one, where there are no
    more): by UTC hour, the mean of those days. Where the climate of the place is known, the air of that day
    moves over to the mean of the month as fast as weather forgets: what is left of the difference falls as
    exp(-t / memory). The swing of the day, the relative humidity, wind and cloud stay; sunshine follows the
    season. Otherwise the mean day is repeated.

    No rain is added, because the mean of a showery day is a drizzle on every day, and because a plan that
    waits for no rain is the cautious one for watering; its probability is not known. At the joint the last
    hour's departure from the mean day fades out over twelve hours, so that nothing jumps; sunshine is not
    faded, because it has its own course.

    Args:
        series: At least a day.
        until: Aware; the series then reaches the first of its hours at or after it.
        typical: A typical year of the place: where it covers the hours to be added it is used instead of the
            mean day (without its rain).
        climate: Of the place; None: the mean day is repeated as it is.

    Raises:
        UnusableInput: The series is shorter than a day.
    """
    missing = int(-((series.time[-1] - utc64(until)) // ONE_HOUR))
    if missing <= 0:
        return series
    if len(series) < _DAY:
        raise UnusableInput([Finding(f"{len(series)} hours of weather", expected="at least 24 hours")])
    time = series.time[-1] + np.arange(1, missing + 1) * ONE_HOUR
    if typical is not None and typical.covers(time[0] - ONE_HOUR, time[-1]):
        added, joint, method = _typical(typical, time)
    else:
        added, joint, method = _mean_day(series, missing)
        if climate is not None:
            added, method = _towards_climate(added, method, time, climate)
    fade = np.clip(1 - np.arange(1, missing + 1) / _FADE_H, 0, None)
    for name in _STATES:
        last = getattr(series, name)[-1]
        added[name] = _clip(name, added[name] + (last - joint[name]) * fade)
    added["precipitation_mm"] = np.zeros(missing)
    added["precipitation_probability"] = np.full(missing, np.nan)
    joined: dict[str, Any] = {
        name: np.concatenate([getattr(series, name), more]) for name, more in added.items()
    }
    origin = np.concatenate([series.origin, np.full(missing, Origin.TYPICAL, dtype=np.int8)])
    end = format_moment(series.time[-1])
    sentence = f"After {end}: {method}, without rain; departures at the joint fade over {_FADE_H:g} h."
    return replace(
        series,
        time=np.concatenate([series.time, time]),
        origin=origin,
        methods=(*series.methods, sentence),
        **joined,
    )


def _mean_day(series: WeatherSeries, missing: int) -> tuple[dict[str, Floats], dict[str, float], str]:
    """Return the mean day repeated, its value at the last hour of the series, and a sentence."""
    days = min(_DAYS, len(series) // _DAY)
    which = np.arange(missing) % _DAY
    added, joint = {}, {}
    for name in (*_STATES, "shortwave_wm2"):
        # The mean day begins with the hour after the last; its last hour is the hour of the last.
        day = getattr(series, name)[-days * _DAY :].reshape(days, _DAY).mean(axis=0)
        added[name], joint[name] = day[which], float(day[-1])
    description = "its last day" if days == 1 else f"the mean day of its last {days} days"
    return added, joint, f"{description}, hour by hour"


def _towards_climate(
    added: dict[str, Floats], method: str, time: TimeArray, climate: Climate
) -> tuple[dict[str, Floats], str]:
    """Return the repeated day with its air moved over to the mean of the month, and a sentence.

    Sunshine is that of the repeated day times the ratio of the sunshine above the atmosphere of the two
    days, and at most that of a clear day: near the polar night the ratio says nothing.
    """
    ahead = (np.arange(len(time)) + 1.0) / _MEMORY_H
    difference = climate.air_c(time) - added["air_c"][:_DAY].mean()
    sun = added["shortwave_wm2"]
    above = extraterrestrial_wm2(time, climate.latitude)
    mean_sun, still = float(sun[:_DAY].mean()), np.ones(len(time))
    season = above / above[0] if above[0] > 0 else still
    brightest = CLEAR_SKY_SHARE * above / mean_sun if mean_sun > 0 else still
    moved = {
        "air_c": added["air_c"] - np.expm1(-ahead) * difference,
        "shortwave_wm2": sun * np.minimum(season, np.maximum(brightest, 1.0)),
    }
    sentence = (
        f"{method}; its air moves over to the mean of the month at this place ({CLIMATE_SOURCE}), by two "
        f"thirds within {_MEMORY_H:g} h, and its sunshine follows the season"
    )
    return added | moved, sentence


def _typical(typical: WeatherSeries, time: TimeArray) -> tuple[dict[str, Floats], dict[str, float], str]:
    """Return the hours of a typical year, its value at the hour before them, and a sentence."""
    before = typical.window(time[0] - ONE_HOUR, time[-1])
    names = (*_STATES, "shortwave_wm2")
    added = {
        name: np.interp(utc_seconds(time), utc_seconds(before.time), getattr(before, name)) for name in names
    }
    joint = {name: float(getattr(before, name)[0]) for name in names}
    return added, joint, f"the same hours of {typical.source}"


def _clip(name: str, value: Floats) -> Floats:
    """Limit shares to 0 to 1, and wind to positive values."""
    if name == "air_c":
        return value
    return np.clip(value, 0, None if name == "wind_ms" else 1)
