"""One kind of hourly weather, wherever it came from."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Origin(IntEnum):
    """Where the value of an hour comes from, in falling order of trust."""

    OBSERVED = 0
    FORECAST = 1
    TYPICAL = 2


@dataclass(frozen=True)
class WeatherSeries:
    """Hourly weather at one place, in SI, on an unbroken UTC axis.

    Two kinds of column, never mixed: instants hold at ``time[i]``; means and sums are of the hour that
    *ended* at ``time[i]``.

    Attributes:
        time: UTC instants one hour apart, shape (n,), ``datetime64[s]``.
        air_c: Air temperature at 2 m, instant. [degC]
        relative_humidity: Instant, 0 to 1.
        wind_ms: Wind at 10 m, instant. [m/s]
        cloud: Share of the sky covered, instant, 0 to 1.
        shortwave_wm2: Global shortwave on the level, mean of the hour that ended. [W/m2]
        precipitation_mm: Water fallen in the hour that ended. [mm]
        precipitation_probability: Chance that any fell in the hour that ended, 0 to 1; NaN where not told.
        origin: Whether the hour is observed, forecast or typical, shape (n,), values of `Origin`.
        source: Who says so, for people.
        issued_at: When the source issued it, aware, or None where it does not say.
        latitude: Of the place the values are for, degrees north, or None where the file does not say.
        longitude: Degrees east, or None.
        methods: What was computed or filled in rather than read, one sentence each.
    """

    time: NDArray[np.datetime64]
    air_c: Floats
    relative_humidity: Floats
    wind_ms: Floats
    cloud: Floats
    shortwave_wm2: Floats
    precipitation_mm: Floats
    precipitation_probability: Floats
    origin: NDArray[np.int8]
    source: str
    issued_at: datetime | None
    latitude: float | None = None
    longitude: float | None = None
    methods: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.time)
