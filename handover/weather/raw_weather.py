"""What a reader found in a file, before it is checked: the form between the readers and `assemble`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from handover.weather.series import aware

if TYPE_CHECKING:
    from handover.base.arrays import Floats
    from handover.weather.alerts import WeatherAlert
    from handover.weather.quantities import WeatherQuantity
    from handover.weather.series import Origin
    from handover.weather.uncertainty import ForecastUncertainty

TimeArray = NDArray[np.datetime64]

_YEARS = (1900, 2200)


@dataclass(frozen=True)
class RawColumn:
    """One quantity as a file has it.

    Attributes:
        time: UTC instants in any order, ``datetime64[s]``, shape (n,); one may come twice.
        value: In SI, shape (n,); NaN where the file has none.
        name: What the file calls it.
        line: Line of each value in the file, shape (n,), where lines mean something.
    """

    time: TimeArray
    value: Floats
    name: str
    line: NDArray[np.int64] | None = None


@dataclass(frozen=True)
class RawWeather:
    """A file's columns, with what it says about itself.

    Attributes:
        columns: By quantity. State quantities are instants; sunshine and precipitation are of the hour ended.
        source: Who says so, for people.
        issued_at: Aware, or None.
        latitude: Degrees north, or None.
        longitude: Degrees east, or None.
        elevation_m: Of the ground, or None. [m]
        origin: One for the whole file, or one for each hour named; None leaves it to the time of issue.
        methods: What the reader itself computed.
        unread: Quantities of the file whose unit or form could not be read; the reader reports them.
        uncertainty: What the file says of the uncertainty of its forecast, or None.
        alerts: The warnings in it.
    """

    columns: Mapping[WeatherQuantity, RawColumn]
    source: str
    issued_at: datetime | None = None
    latitude: float | None = None
    longitude: float | None = None
    elevation_m: float | None = None
    origin: Origin | Mapping[np.datetime64, Origin] | None = None
    methods: tuple[str, ...] = ()
    unread: frozenset[WeatherQuantity] = field(default=frozenset())
    uncertainty: ForecastUncertainty | None = None
    alerts: tuple[WeatherAlert, ...] = ()


def parse_instant(text: object) -> datetime | None:
    """Return a time in ISO 8601, aware or naive, or None if it is not one (or of a year out of range)."""
    try:
        moment = datetime.fromisoformat(text)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return None
    return moment if _YEARS[0] <= moment.year <= _YEARS[1] else None


def format_moment(moment: np.datetime64) -> str:
    """Return a UTC instant for people: "2026-07-14 06:00 UTC"."""
    return f"{aware(moment):%Y-%m-%d %H:%M} UTC"


def parse_number(value: Any) -> float | None:
    """Return a JSON number as a float; None for null and for anything else."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        return float(value)
    except OverflowError:
        return float("inf")


def place_of_point(geometry: Any) -> tuple[float | None, float | None, float | None]:
    """Return longitude, latitude and elevation of a GeoJSON point (RFC 7946), None where they are unknown."""
    coordinates = geometry.get("coordinates") if isinstance(geometry, Mapping) else None
    numbers = [parse_number(each) for each in coordinates] if isinstance(coordinates, list) else []
    longitude, latitude, elevation = (*numbers, None, None, None)[:3]
    if longitude is None or latitude is None or abs(latitude) > 90 or abs(longitude) > 180:  # noqa: PLR2004 - degrees
        return None, None, None
    return longitude, latitude, elevation
