"""One kind of hourly weather, wherever it came from."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from enum import IntEnum
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from handover.base.arrays import Floats
    from handover.weather.alerts import WeatherAlert
    from handover.weather.uncertainty import ForecastUncertainty

AnyInstant = datetime | np.datetime64
StateColumn = Literal["air_c", "relative_humidity", "wind_ms", "cloud"]


ARRAYS = (
    "time",
    "air_c",
    "relative_humidity",
    "wind_ms",
    "cloud",
    "shortwave_wm2",
    "precipitation_mm",
    "precipitation_probability",
    "origin",
)


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
        precipitation_probability: Chance that any fell in the hour that ended, 0 to 1; NaN where not known.
        origin: Whether the hour is observed, forecast or typical, shape (n,), values of `Origin`.
        source: Who says so, for people.
        issued_at: When the source issued it, aware, or None where it does not say.
        latitude: Of the place the values are for, degrees north, or None where the file does not say.
        longitude: Degrees east, or None.
        methods: What was computed or filled in rather than read, one sentence each.
        uncertainty: What the source says of the uncertainty of its forecast, or None.
        alerts: The warnings of frost, heat and wind that came with a forecast.
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
    uncertainty: ForecastUncertainty | None = None
    alerts: tuple[WeatherAlert, ...] = ()

    def __len__(self) -> int:
        return len(self.time)

    @property
    def first_hour(self) -> datetime:
        """The first instant, aware."""
        return aware(self.time[0])

    @property
    def last_hour(self) -> datetime:
        """The last instant, aware."""
        return aware(self.time[-1])

    @property
    def seconds(self) -> Floats:
        """The instants as UTC seconds, shape (n,)."""
        return utc_seconds(self.time)

    @property
    def typical_from(self) -> datetime | None:
        """The first hour that is typical, neither observed nor forecast, aware; None where there is none."""
        typical = np.flatnonzero(self.origin == Origin.TYPICAL)
        return aware(self.time[typical[0]]) if len(typical) else None

    def covers(self, start: AnyInstant, end: AnyInstant) -> bool:
        """Return whether both instants are between the first hour and the last."""
        return bool(self.time[0] <= utc64(start) and utc64(end) <= self.time[-1])

    def window(self, start: AnyInstant, end: AnyInstant) -> WeatherSeries:
        """Return the hours that the stretch from ``start`` to ``end`` needs.

        From the last hour at or before ``start`` to the first at or after ``end``, as far as there are any,
        so that both instants can be interpolated.

        Raises:
            ValueError: The stretch and the series have nothing in common.
        """
        first = int(np.searchsorted(self.time, utc64(start), side="right")) - 1
        last = int(np.searchsorted(self.time, utc64(end), side="left"))
        if last < first or last < 0 or utc64(end) < self.time[0] or utc64(start) > self.time[-1]:
            raise ValueError(f"no weather from {start} to {end}")
        part = slice(max(first, 0), last + 1)
        columns: dict[str, Any] = {name: getattr(self, name)[part] for name in ARRAYS}
        return replace(self, **columns)

    def at(self, column: StateColumn, time: NDArray[np.datetime64]) -> Floats:
        """Return a state at any instants, interpolated between the hours.

        Args:
            column: Which; sunshine and precipitation are of an hour and have no value at an instant.
            time: UTC instants within the series, ``datetime64``, shape (m,).

        Returns:
            Shape (m,).

        Raises:
            ValueError: An instant is outside the series.
        """
        wanted = time.astype("datetime64[s]")
        if len(wanted) and (wanted.min() < self.time[0] or wanted.max() > self.time[-1]):
            raise ValueError(f"the weather goes from {self.time[0]} to {self.time[-1]}")
        value: Floats = np.interp(utc_seconds(wanted), self.seconds, getattr(self, column))
        return value


def requires_credit(source: str) -> bool:
    """Return whether the licence of a source requires its name beside its data (Creative Commons BY)."""
    return "CC BY" in source


def aware(moment: np.datetime64) -> datetime:
    """Return a UTC ``datetime64`` as an aware instant."""
    instant: datetime = moment.astype("datetime64[s]").item()
    return instant.replace(tzinfo=UTC)


def utc64(moment: AnyInstant) -> np.datetime64:
    """Return an instant as UTC ``datetime64[s]``, to the second."""
    if isinstance(moment, datetime):
        return np.datetime64(moment.astimezone(UTC).replace(tzinfo=None), "s")
    seconds: np.datetime64 = moment.astype("datetime64[s]")
    return seconds


def utc_seconds(time: NDArray[np.datetime64]) -> Floats:
    """Return instants as UTC seconds, of the same shape."""
    return time.astype("datetime64[s]").astype(np.float64)
