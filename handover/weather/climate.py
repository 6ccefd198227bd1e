"""The climate of a place: the mean air temperature of its months, from a map of the whole earth.

The map is inside the package and needs no network. Its source and licence are in
``monthly_mean_temperature.txt`` beside it. Of its 241 latitudes only the two about the place are read.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from handover.base.arrays import Floats
    from handover.weather.location import HasLocation
    from handover.weather.raw_weather import TimeArray

CLIMATE_SOURCE = "Recommendation ITU-R P.1510-1, from the years 1979 to 2014"

_MAP = "monthly_mean_temperature.npz"
_STEP_DEG = 0.75
_ROWS, _COLUMNS = 241, 481
_TENTHS = 10.0
_YEAR_S = 365.25 * 86400.0


@dataclass(frozen=True)
class Climate:
    """The climate of a place.

    Attributes:
        latitude: Degrees north.
        longitude: Degrees east.
        months_c: Mean air temperature of the months, January first, shape (12,). [degC]
    """

    latitude: float
    longitude: float
    months_c: tuple[float, ...]

    @property
    def warmest_c(self) -> float:
        """Mean of the warmest month, in degC."""
        return max(self.months_c)

    def air_c(self, time: TimeArray) -> Floats:
        """Return the mean air temperature of the season at instants, by day between the middles of months.

        Args:
            time: UTC instants, ``datetime64``, shape (n,).

        Returns:
            Shape (n,). [degC]
        """
        month = time.astype("datetime64[M]")
        start, end = (each.astype("datetime64[s]") for each in (month, month + np.timedelta64(1, "M")))
        share = (time.astype("datetime64[s]") - start) / (end - start)
        # From the middle of one month, at 0, to the middle of the next, at 1.
        since = month.astype(np.int64) + share - 0.5
        before = np.floor(since)
        means = np.array(self.months_c)
        index = before.astype(np.int64) % len(means)
        later = since - before
        return np.asarray(means[index] * (1.0 - later) + means[(index + 1) % len(means)] * later)

    def ground_c(self, time: TimeArray, depth_m: float, diffusivity: float) -> Floats:
        """Return the temperature of the ground: the yearly wave of the air, smaller and later with depth.

        Args:
            time: UTC instants, shape (n,).
            depth_m: Below the surface. [m]
            diffusivity: Of the ground, its conductivity over its heat capacity. [m2/s]

        Returns:
            Shape (n,). [degC]

        Source:
            Carslaw and Jaeger (1959), Conduction of Heat in Solids, 2nd ed., sec. 2.6: a half space under a
            periodic surface temperature. The surface is taken to be as warm as the air, month by month.
        """
        means, count = np.array(self.months_c), len(self.months_c)
        middles = 2 * np.pi * (np.arange(count) + 0.5) / count
        wave = 2.0 / count * (means @ np.exp(-1j * middles))
        damping = depth_m * np.sqrt(np.pi / (diffusivity * _YEAR_S))
        year = time.astype("datetime64[Y]").astype("datetime64[s]")
        turn = 2 * np.pi * (time.astype("datetime64[s]") - year).astype(np.float64) / _YEAR_S
        below: Floats = means.mean() + np.real(wave * np.exp(1j * turn - (1 + 1j) * damping))
        return below


def climate_at(site: HasLocation) -> Climate | None:
    """Return the climate of a site, or None where its latitude and longitude are not known."""
    if site.latitude is None or site.longitude is None:
        return None
    return _read(site.latitude, site.longitude)


@lru_cache(maxsize=64)
def _read(latitude: float, longitude: float) -> Climate:
    """Return the climate of a place, interpolated between the four points of the map about it."""
    row, north = _between((latitude + 90.0) / _STEP_DEG, _ROWS)
    column, east = _between(((longitude + 180.0) % 360.0) / _STEP_DEG, _COLUMNS)
    with files("handover.weather").joinpath(_MAP).open("rb") as file, np.load(file) as tables:
        lines = [
            np.cumsum(tables[f"latitude_{each:03d}"], axis=1, dtype=np.int64)[:, column : column + 2]
            for each in (row, row + 1)
        ]
    south, further = (line @ np.array([1.0 - east, east]) for line in lines)
    months = (south * (1.0 - north) + further * north) / _TENTHS
    return Climate(latitude, longitude, tuple(float(each) for each in months))


def _between(position: float, count: int) -> tuple[int, float]:
    """Return the point of a grid before a position, and how far towards the next the position is, 0 to 1."""
    before = min(max(int(position), 0), count - 2)
    return before, min(max(position - before, 0.0), 1.0)
