"""Sunshine from cloud, and cloud from sunshine, by way of the clear sky.

The clear sky and the position of the sun come from pvlib, imported only when they are needed: it takes about
a third of a second and 100 MB.
"""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING

import numpy as np

from handover.weather.daylight import days_since_2000, orbit_of_sun
from handover.weather.series import utc_seconds

if TYPE_CHECKING:
    from handover.base.arrays import Floats
    from handover.weather.raw_weather import TimeArray

CLEAR_SKY = "the clear sky of Ineichen and Perez (2002) with climatological turbidity, computed by pvlib"
CLOUD_REDUCTION = "Kasten and Czeplak (1980), Solar Energy 24: clear sky x (1 - 0.75 N^3.4)"

CLEAR_SKY_SHARE = 0.75
"""Share of the sunshine above the atmosphere that a clear day lets through at sea level: FAO 56, eq. 36."""

_SOLAR_CONSTANT_WM2 = 1367.0  # 0.0820 MJ/(m2 min), as FAO 56 has it
_LOSS, _POWER = 0.75, 3.4
_PARTS = 6  # of an hour: ten-minute steps integrate the clear sky to better than 1 W/m2
_DIM_WM2 = 50.0  # below this much clear sky the share that comes through says little about cloud


def clear_sky_wm2(time: TimeArray, latitude: float, longitude: float, elevation_m: float | None) -> Floats:
    """Return the global shortwave of a cloudless sky on the level, at instants.

    Args:
        time: UTC instants in rising order, shape (n,).
        latitude: Degrees north.
        longitude: Degrees east.
        elevation_m: Of the ground; None takes it from the map of elevations that pvlib carries. [m]

    Returns:
        Shape (n,). [W/m2]

    Source:
        Ineichen and Perez (2002), Solar Energy 73, with the monthly Linke turbidity that pvlib carries.
    """
    import pandas as pd  # noqa: PLC0415 - heavy, and rarely needed
    from pvlib.location import Location, lookup_altitude  # noqa: PLC0415 - heavy, and rarely needed

    ground = lookup_altitude(latitude, longitude) if elevation_m is None else elevation_m
    place = Location(latitude, longitude, tz="UTC", altitude=ground)
    with warnings.catch_warnings():
        # pvlib may call what the newest pandas is about to rename; that is between the two of them.
        warnings.simplefilter("ignore", DeprecationWarning)
        sky = place.get_clearsky(pd.DatetimeIndex(time).tz_localize("UTC"), model="ineichen")
    ghi: Floats = sky["ghi"].to_numpy(dtype=np.float64)
    return np.nan_to_num(ghi)


def clear_sky_of_hour_wm2(
    time: TimeArray, latitude: float, longitude: float, elevation_m: float | None
) -> Floats:
    """Return the mean clear sky of the hours that ended at the instants given.

    Args:
        time: UTC instants in rising order, shape (n,).
        latitude: Degrees north.
        longitude: Degrees east.
        elevation_m: Of the ground, or None. [m]

    Returns:
        Shape (n,). [W/m2]
    """
    seconds = (np.arange(_PARTS) + 0.5) * (3600 / _PARTS) - 3600
    instants = time.astype("datetime64[s]")[:, None] + seconds.astype("timedelta64[s]")
    sky = clear_sky_wm2(instants.ravel(), latitude, longitude, elevation_m)
    return np.asarray(sky.reshape(instants.shape).mean(axis=1), dtype=np.float64)


def extraterrestrial_wm2(time: TimeArray, latitude: float) -> Floats:
    """Return the sunshine on the level above the atmosphere, as the mean of the day about each instant.

    Args:
        time: UTC instants, shape (n,).
        latitude: Degrees north.

    Returns:
        Shape (n,); 0 in the polar night. [W/m2]

    Source:
        Allen, Pereira, Raes and Smith (1998), Crop evapotranspiration, FAO Irrigation and Drainage Paper 56,
        eq. 21 and 25; declination and distance of the sun by the low-precision formulas of The Astronomical
        Almanac (page C5), because those of FAO 56 are wrong by up to 1 degree in fall.
    """
    anomaly, longitude = orbit_of_sun(days_since_2000(utc_seconds(time)))
    declination = np.arcsin(np.sin(np.radians(23.439)) * np.sin(longitude))
    distance = (1.00014 - 0.01671 * np.cos(anomaly)) ** -2
    phi = np.radians(latitude)
    sunset = np.arccos(np.clip(-np.tan(phi) * np.tan(declination), -1.0, 1.0))
    height = sunset * np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.sin(sunset)
    return np.asarray(np.maximum(_SOLAR_CONSTANT_WM2 / np.pi * distance * height, 0.0))


def transmission(cloud: Floats) -> Floats:
    """Return the share of the clear sky's sunshine that comes through a cloud cover of 0 to 1.

    Source:
        Kasten and Czeplak (1980), Solar Energy 24, 177-189; ten years of hours at Hamburg.
    """
    return np.asarray(1 - _LOSS * cloud**_POWER, dtype=np.float64)


def cover(share: Floats) -> Floats:
    """Return the cloud cover, 0 to 1, that lets a share of the sunshine through: the inverse."""
    return np.asarray((np.clip(1 - share, 0, _LOSS) / _LOSS) ** (1 / _POWER), dtype=np.float64)


def sunshine_from_cloud(
    time: TimeArray, cloud: Floats, latitude: float, longitude: float, elevation_m: float | None
) -> Floats:
    """Return the mean shortwave of the hours that ended, from cloud at the instants.

    Args:
        time: UTC instants one hour apart, shape (n,).
        cloud: At those instants, 0 to 1, shape (n,).
        latitude: Degrees north.
        longitude: Degrees east.
        elevation_m: Of the ground, or None. [m]

    Returns:
        Shape (n,). [W/m2]
    """
    cloud_of_hour = (np.concatenate([cloud[:1], cloud[:-1]]) + cloud) / 2
    return clear_sky_of_hour_wm2(time, latitude, longitude, elevation_m) * transmission(cloud_of_hour)


def cloud_from_sunshine(
    time: TimeArray, shortwave: Floats, latitude: float, longitude: float, elevation_m: float | None
) -> Floats | None:
    """Return cloud at the instants, from the mean shortwave of the hours that ended.

    At night, and while the sun is low, the cover is carried over from the daylight on either side.

    Args:
        time: UTC instants one hour apart, shape (n,).
        shortwave: Of the hours that ended, shape (n,). [W/m2]
        latitude: Degrees north.
        longitude: Degrees east.
        elevation_m: Of the ground, or None. [m]

    Returns:
        Shape (n,), 0 to 1; None when no hour has daylight enough.
    """
    clear = clear_sky_of_hour_wm2(time, latitude, longitude, elevation_m)
    bright = clear > _DIM_WM2
    if not bright.any():
        return None
    end = (time - time[0]) / np.timedelta64(3600, "s")
    cloud: Floats = np.interp(end, end[bright] - 0.5, cover(shortwave[bright] / clear[bright]))
    return cloud
