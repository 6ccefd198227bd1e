"""Typical-year files (TMY3 and EPW), read by pvlib and set into the calendar of a given year.

A typical year has 8760 hours of local standard time, ending at 01:00 to 24:00, each month taken from another
year. For a pour in a given year they are repeated from the last day of the year before to the end of March of
the year after, so that a slab placed at Christmas has its January. In a leap year 28 February comes twice.

Temperature, humidity, wind and cloud are those at the end of each hour; sunshine and precipitation are of the
hour itself: the convention of `WeatherSeries`.

Source:
    Wilcox and Marion (2008), Users Manual for TMY3 Data Sets, NREL/TP-581-43156; EnergyPlus, Auxiliary
    Programs, EPW data dictionary.
"""

from __future__ import annotations

import tempfile
import warnings
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, Self

import numpy as np

from handover.base.text import short_line
from handover.errors import Finding
from handover.weather.quantities import WeatherQuantity
from handover.weather.raw_weather import RawColumn, RawWeather, TimeArray
from handover.weather.series import Origin

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from handover.base.arrays import Floats

FileFormat = Literal["TMY3", "EPW"]

_COLUMNS = {
    "TMY3": {
        WeatherQuantity.AIR: "temp_air",
        WeatherQuantity.DEW_POINT: "temp_dew",
        WeatherQuantity.HUMIDITY: "relative_humidity",
        WeatherQuantity.WIND: "wind_speed",
        WeatherQuantity.CLOUD: "TotCld (tenths)",
        WeatherQuantity.SHORTWAVE: "ghi",
    },
    "EPW": {
        WeatherQuantity.AIR: "temp_air",
        WeatherQuantity.DEW_POINT: "temp_dew",
        WeatherQuantity.HUMIDITY: "relative_humidity",
        WeatherQuantity.WIND: "wind_speed",
        WeatherQuantity.CLOUD: "total_sky_cover",
        WeatherQuantity.SHORTWAVE: "ghi",
    },
}
# What the two formats write where they have no value. [unit of the column]
_MISSING = {
    WeatherQuantity.AIR: 99.9,
    WeatherQuantity.DEW_POINT: 99.9,
    WeatherQuantity.HUMIDITY: 999,
    WeatherQuantity.WIND: 999,
    WeatherQuantity.CLOUD: 99,
    WeatherQuantity.SHORTWAVE: 9999,
}
_MISSING_TMY3 = -9900
_MISSING_RAIN = 999
_SCALE = {WeatherQuantity.HUMIDITY: 0.01, WeatherQuantity.CLOUD: 0.1}
_YEARS = (1900, 2200)
_LEAP_DAY = (2, 29)
_MAX_LATITUDE = 90.0
_MAX_LONGITUDE = 180.0
_MAX_ZONE_H = 15.0
_MAX_ELEVATION_M = 9000.0


def format_of(text: str) -> FileFormat | None:
    """Return the kind of a typical-year file, by its first lines."""
    first, _, rest = text[:4000].partition("\n")
    if first.startswith("LOCATION,"):
        return "EPW"
    return "TMY3" if rest.startswith("Date (MM/DD/YYYY),Time (HH:MM)") else None


def read_typical_year(
    text: str, kind: FileFormat, file: str, year: int | None
) -> tuple[RawWeather | None, list[Finding]]:
    """Return the columns of a typical year set into a given one, with what is wrong.

    Args:
        text: The file.
        kind: Which format.
        file: Name of the file, for the findings.
        year: Calendar year of the pour.
    """
    if year is None or not _YEARS[0] <= year <= _YEARS[1]:
        return None, [
            Finding(
                "a typical year has no calendar year of its own", file=file, expected="a year to set it in"
            )
        ]
    try:
        data, about = _parse(text, kind)
        year_of_hours = _TypicalYear.from_frame(data)
        zone = float(about["TZ"])
        latitude, longitude = float(about["latitude"]), float(about["longitude"])
        elevation = float(about["altitude"])
        station = short_line(about["Name" if kind == "TMY3" else "city"]).strip('"')
        columns = {q: _values(data, name, q) for q, name in _COLUMNS[kind].items()}
        columns[WeatherQuantity.RAIN], rain_method = _rain(data, kind)
    except Exception as error:  # noqa: BLE001 - pandas raises anything for a broken file
        return None, [
            Finding(f"a broken {kind} file: {short_line(error)}", file=file, expected=f"a whole {kind} file")
        ]
    problem = _impossible(len(data), zone, latitude, longitude, elevation)
    if problem is not None:
        return None, [Finding(problem, file=file, expected=f"a whole {kind} file of a place on earth")]
    time, rows = year_of_hours.in_year(year, timedelta(hours=zone))
    raw = RawWeather(
        columns={
            quantity: RawColumn(time, np.where(rows >= 0, value[rows], np.nan), quantity.value)
            for quantity, value in columns.items()
        },
        source=f"Typical year ({kind}), {station}",
        latitude=latitude,
        longitude=longitude,
        elevation_m=elevation,
        origin=Origin.TYPICAL,
        methods=(f"Hours of a typical year set into the calendar of {year}.", rain_method),
    )
    return raw, []


def _impossible(hours: int, zone: float, latitude: float, longitude: float, elevation: float) -> str | None:
    """Return what cannot be of a typical year: no hours, or a place or a zone that is none; else None.

    Args:
        hours: Number of its rows.
        zone: Offset from UTC. [h]
        latitude: Degrees north.
        longitude: Degrees east.
        elevation: Above sea level. [m]
    """
    if not hours:
        return "has its head, and no hours"
    limits = {
        "latitude": (latitude, _MAX_LATITUDE),
        "longitude": (longitude, _MAX_LONGITUDE),
        "time zone": (zone, _MAX_ZONE_H),
        "elevation": (elevation, _MAX_ELEVATION_M),
    }
    wrong = (name for name, (value, most) in limits.items() if not abs(value) <= most)  # NaN too
    return next((f"has a {name} that is none" for name in wrong), None)


def _parse(text: str, kind: FileFormat) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Return pvlib's table and what the file says of its place."""
    from pandas.errors import DtypeWarning  # noqa: PLC0415 - heavy, and rarely needed
    from pvlib import iotools  # noqa: PLC0415

    # Not every version of pvlib reads from memory, and none says which encoding it opens with.
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        # pvlib may call what the newest pandas is about to rename; that is between the two of them.
        warnings.simplefilter("ignore", DeprecationWarning)
        warnings.simplefilter("ignore", DtypeWarning)  # of a spoilt column; the reader names its fault
        path = Path(folder) / "typical-year"
        path.write_bytes(text.encode("ascii", "replace"))
        parsed = (
            iotools.read_tmy3(str(path), map_variables=True)
            if kind == "TMY3"
            else iotools.read_epw(str(path))
        )
    data, about = parsed
    if kind == "TMY3":
        # An hour is looked up by its start, which pvlib gives for EPW and not for TMY3.
        data.index = data.index - np.timedelta64(3600, "s")
    return data, about


def _values(data: pd.DataFrame, name: str, quantity: WeatherQuantity) -> Floats:
    value: Floats = data[name].to_numpy(dtype=np.float64, copy=True)
    value[(value >= _MISSING[quantity]) | (value <= _MISSING_TMY3)] = np.nan
    return value * _SCALE.get(quantity, 1.0)


def _rain(data: pd.DataFrame, kind: FileFormat) -> tuple[Floats, str]:
    """Return the precipitation of each hour, none where the file has none for one hour, and how it was read.

    TMY3 heads its depths "mm", but files whose gauges tip at 0.01 in write 3, 5, 8, 10 ...: hundredths of an
    inch in *tenths* of a millimetre, and read as mm they make a year of eight metres. Whole numbers
    throughout are therefore taken as tenths.
    """
    depth_name, hours_name = (
        ("Lprecip depth (mm)", "Lprecip quantity (hr)")
        if kind == "TMY3"
        else ("liquid_precipitation_depth", "liquid_precipitation_quantity")
    )
    depth = data[depth_name].to_numpy(dtype=np.float64)
    hours = data[hours_name].to_numpy(dtype=np.float64)
    has_hourly_depth = (depth >= 0) & (depth < _MISSING_RAIN) & ~(hours > 1)
    rain = np.where(has_hourly_depth, depth, 0.0)
    if kind == "TMY3" and (rain == np.round(rain)).all():
        return (
            rain / 10,
            "Precipitation is in tenths of a millimetre; hours without a value are taken as dry.",
        )
    return rain, "Hours without a value for precipitation are taken as dry."


@dataclass(frozen=True)
class _TypicalYear:
    """Row of each hour of the year, by month, day and hour of its start."""

    rows: dict[tuple[int, int, int], int]

    @classmethod
    def from_frame(cls, data: pd.DataFrame) -> Self:
        index = data.index
        keys = list(zip(index.month.tolist(), index.day.tolist(), index.hour.tolist(), strict=True))
        leap_day = sum(key[:2] == _LEAP_DAY for key in keys) == 24  # noqa: PLR2004 - hours of a day
        # Where February comes from a leap year, pvlib takes the last hour of the 28th for one of the 29th.
        return cls(
            {
                (2, 28, key[2]) if key[:2] == _LEAP_DAY and not leap_day else key: row
                for row, key in enumerate(keys)
            }
        )

    def in_year(self, year: int, zone: timedelta) -> tuple[TimeArray, NDArray[np.int64]]:
        """Return the UTC ends of the hours, and the row of each; -1 where the file has none."""
        first = datetime(year - 1, 12, 31, tzinfo=UTC)
        count = (datetime(year + 1, 4, 1, tzinfo=UTC) - first) // timedelta(hours=1)
        starts = [first + timedelta(hours=hour) for hour in range(count)]
        rows = np.array([self._row(start) for start in starts], dtype=np.int64)
        ends = np.datetime64(first.replace(tzinfo=None), "s") + (np.arange(count) + 1) * np.timedelta64(
            3600, "s"
        )
        return ends - np.timedelta64(int(zone.total_seconds()), "s"), rows

    def _row(self, start: datetime) -> int:
        row = self.rows.get((start.month, start.day, start.hour))
        if row is None and (start.month, start.day) == _LEAP_DAY:
            row = self.rows.get((2, 28, start.hour))
        return -1 if row is None else row
