"""The height of the sun, for the hours of daylight.

Its own few lines: pvlib takes a third of a second to load, and daylight needs no more than a minute of time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from handover.base.arrays import Floats

_J2000_S = 946_728_000.0  # 2000-01-01 12:00, UTC seconds
_DAY_S = 86_400.0


def days_since_2000(seconds: ArrayLike) -> Floats:
    """Return UTC seconds as days since noon of 2000-01-01, same shape."""
    return (np.asarray(seconds, dtype=np.float64) - _J2000_S) / _DAY_S


def orbit_of_sun(days: Floats) -> tuple[Floats, Floats]:
    """Return the mean anomaly of the sun and its longitude along the ecliptic, in radians.

    Args:
        days: Since noon of 2000-01-01 UTC, any shape.

    Returns:
        Same shape each.

    Source:
        The Astronomical Almanac's low-precision formulas (page C5).
    """
    anomaly = np.radians(357.528 + 0.9856003 * days)
    longitude = 280.460 + 0.9856474 * days + 1.915 * np.sin(anomaly) + 0.020 * np.sin(2.0 * anomaly)
    return anomaly, np.radians(longitude)


def sun_height(seconds: ArrayLike, latitude: float, longitude: float) -> Floats:
    """Return the height of the sun's centre above the horizon, without refraction.

    Args:
        seconds: UTC seconds, any shape.
        latitude: Degrees north.
        longitude: Degrees east.

    Returns:
        Same shape. [degrees]

    Source:
        The Astronomical Almanac's low-precision formulas, as in Michalsky (1988), Solar Energy 40: better
        than 0.01 degree from 1950 to 2050.
    """
    days = days_since_2000(seconds)
    _, ecliptic = orbit_of_sun(days)
    tilt = np.radians(23.439 - 0.0000004 * days)
    ascension = np.arctan2(np.cos(tilt) * np.sin(ecliptic), np.cos(ecliptic))
    declination = np.arcsin(np.sin(tilt) * np.sin(ecliptic))
    sidereal = np.radians(280.46062 + 360.98564737 * days + longitude)  # of the place
    north = np.radians(latitude)
    height = np.sin(north) * np.sin(declination) + np.cos(north) * np.cos(declination) * np.cos(
        sidereal - ascension
    )
    return np.asarray(np.degrees(np.arcsin(np.clip(height, -1.0, 1.0))))
