"""The air around the slab: the weather of each member, or the air of the room of a slab that is indoors.

A temperature that the record states is that of the room, with its spread. Else the concrete placed last has
the cold end of what is possible, for dates that must be safe, and the concrete placed first the warm end, for
dates that must not be missed.

An unheated building follows the air outdoors. Nobody knows how heavy it is: at each hour the cold end is the
cooler one of a light and a heavy building, and the warm end the warmer one, with the sun on its roof. A
heavy one still has in it the days before the weather begins, which nobody knows either: at the cold end it
begins no warmer than the season is at the place, at the warm end no cooler. Heat keeps a room above a
temperature. A room of which nothing is known has the cold end of an unheated one and the warm end of a heated
one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from handover.air.psychrometrics import vapour_pressure
from handover.base.arrays import Floats
from handover.weather.climate import climate_at
from handover.weather.sunshine import transmission

if TYPE_CHECKING:
    from handover.jobs.record import JobRecord
    from handover.practice.rules import Practice
    from handover.schedule.ensemble import Ensemble
    from handover.schedule.model import RoomState
    from handover.weather.series import WeatherSeries

Hourly = dict[str, Floats]
"""The weather of each member hour by hour, by column, shape (n, m)."""

_DRIEST = 0.02  # relative humidity
_DAY = 24  # hours


def room_state(job: JobRecord) -> RoomState | None:
    """Return what the record says of the room of a slab; None where the slab is not indoors."""
    site = job.site
    if job.slab.exposure != "indoors":
        return None
    if site.room_temperature is not None:
        return "stated"
    if site.room_heated is None:
        return "unknown"
    return "heated" if site.room_heated else "unheated"


def is_room_assumed(job: JobRecord) -> bool:
    """Return whether the slab is in a room whose air is assumed, with a cold and a warm end."""
    return room_state(job) not in {None, "stated"}


def season_at_begin(job: JobRecord, weather: WeatherSeries) -> float | None:
    """Return the mean air of the season when the weather begins, in degC; None where no place is known."""
    climate = climate_at(job.site)
    return None if climate is None else float(climate.air_c(weather.time[:1])[0])


def has_seasons(job: JobRecord) -> bool:
    """Return whether the air around a slab follows the season past the simulation: no heated room does."""
    return room_state(job) not in {"stated", "heated"}


def weather_of_members(weather: WeatherSeries, ensemble: Ensemble) -> Hourly:
    """Return the hourly weather outdoors with each member's errors."""
    errors = ensemble.errors
    cloud = np.clip(weather.cloud[:, np.newaxis] + errors["cloud"], 0.0, 1.0)
    through = transmission(cloud) / transmission(weather.cloud)[:, np.newaxis]
    return {
        "air_c": weather.air_c[:, np.newaxis] + errors["air_c"],
        "relative_humidity": np.clip(
            weather.relative_humidity[:, np.newaxis] + errors["relative_humidity"], _DRIEST, 1.0
        ),
        "wind_ms": weather.wind_ms[:, np.newaxis] * np.maximum(1.0 + errors["wind_ms"], 0.0),
        "cloud": cloud,
        "sun": weather.shortwave_wm2[:, np.newaxis] * through,
    }


def around_slab(
    job: JobRecord,
    outdoors: Hourly,
    ensemble: Ensemble,
    practice: Practice,
    *,
    season_c: float | None = None,
) -> Hourly:
    """Return the hourly weather around the slab: that outdoors, or the air of the room in its place.

    What wind, sun and sky the slab gets is the share of its exposure, indoors as outdoors.

    Args:
        job: The record.
        outdoors: The weather of each member.
        ensemble: The members.
        practice: The rules of rooms.
        season_c: See `season_at_begin`. [degC]
    """
    state = room_state(job)
    if state is None:
        return outdoors
    room_c = _room_c(job, state, outdoors, ensemble, practice, season_c)
    return {**outdoors, "air_c": room_c, "relative_humidity": _room_humidity(outdoors, room_c)}


def _room_c(
    job: JobRecord,
    state: RoomState,
    outdoors: Hourly,
    ensemble: Ensemble,
    practice: Practice,
    season_c: float | None,
) -> Floats:
    """Return the air of the room, in degC, shape (n, m)."""
    stated = job.site.room_temperature
    if stated is not None:
        return np.broadcast_to(stated + ensemble.room_c, outdoors["air_c"].shape)
    first, air_c = ensemble.first_placed, outdoors["air_c"]
    room_c = _cold_end(air_c, state, practice, np.inf if season_c is None else season_c)
    sunlit_c = air_c[:, first] + practice["room.sun"] * outdoors["sun"][:, first]
    room_c[:, first] = _warm_end(sunlit_c, state, practice, -np.inf if season_c is None else season_c)
    return room_c


def _cold_end(air_c: Floats, state: RoomState, practice: Practice, most_c: float) -> Floats:
    """Return the coldest likely air of a room from the air outdoors, in degC, shape (n, m).

    A heavy building begins at the mean of the first day, and no warmer than `most_c`.
    """
    begins_c = air_c[:_DAY].mean(axis=0)
    light = _follow(air_c, practice["room.light"], begins_c)
    heavy = _follow(air_c, practice["room.heavy"], np.minimum(begins_c, most_c))
    unheated = np.minimum(np.minimum(light, heavy), practice["room.cool"])
    return np.maximum(unheated, practice["room.heated-coldest"]) if state == "heated" else unheated


def _warm_end(sunlit_c: Floats, state: RoomState, practice: Practice, least_c: float) -> Floats:
    """Return the warmest likely air of a room from the air outdoors with the sun, in degC, shape (n, m).

    A heavy building begins at the mean of the first day, and no cooler than `least_c`.
    """
    begins_c = sunlit_c[:_DAY].mean(axis=0)
    light = _follow(sunlit_c, practice["room.light"], begins_c)
    heavy = _follow(sunlit_c, practice["room.heavy"], np.maximum(begins_c, least_c))
    unheated = np.maximum(light, heavy)
    return unheated if state == "unheated" else np.maximum(unheated, practice["room.heated-warmest"])


def _follow(hourly: Floats, lag_h: float, begins: Floats) -> Floats:
    """Return what follows hourly values, (n, m), with a time constant, from where it begins, (m,), on."""
    share, now = -np.expm1(-1.0 / lag_h), begins
    followed = np.empty_like(hourly)
    for hour, value in enumerate(hourly):
        now = now + share * (value - now)
        followed[hour] = now
    return followed


def _room_humidity(outdoors: Hourly, room_c: Floats) -> Floats:
    """Return the relative humidity of air from outdoors in the room, at most that outdoors, shape (n, m).

    A room has moisture of its own as well; without it, it dries the slab faster, and cools it more.
    """
    humidity = outdoors["relative_humidity"]
    carried = vapour_pressure(outdoors["air_c"], humidity) / vapour_pressure(room_c, np.ones_like(room_c))
    return np.clip(np.minimum(carried, humidity), _DRIEST, 1.0)
