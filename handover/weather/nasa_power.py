"""The hourly answer of NASA POWER (``/api/temporal/hourly/point``): past years of every place on earth.

    {"geometry": {"coordinates": [longitude, latitude, elevation]},
     "properties": {"parameter": {"T2M": {"2015010100": 1.2, ...}, ...}},
     "header": {"fill_value": -999.0, ...}, "parameters": {"T2M": {"units": "C", ...}, ...}}

An hour is named by its beginning, in UTC (the query asks for it). States are taken as instants at the
beginning; sunshine and precipitation are of the hour, which ends one later.

Source:
    NASA Langley Research Center, POWER project, documentation of the hourly API.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from handover.base.arrays import ONE_HOUR
from handover.base.text import short_line
from handover.errors import Finding
from handover.weather.quantities import WeatherQuantity, accepted_units, find_unit
from handover.weather.raw_weather import RawColumn, RawWeather, parse_number, place_of_point
from handover.weather.series import Origin

if TYPE_CHECKING:
    from handover.base.arrays import Floats
    from handover.weather.raw_weather import TimeArray

POWER_NAMES = {
    WeatherQuantity.AIR: "T2M",
    WeatherQuantity.HUMIDITY: "RH2M",
    WeatherQuantity.WIND: "WS10M",
    WeatherQuantity.CLOUD: "CLOUD_AMT",
    WeatherQuantity.SHORTWAVE: "ALLSKY_SFC_SW_DWN",
}
"""The parameters to ask for."""

_OF_THE_HOUR = (WeatherQuantity.SHORTWAVE,)
_NEEDED = 10  # characters of the name of an hour, YYYYMMDDHH


def is_power(document: Mapping[str, Any]) -> bool:
    """Return whether a JSON document is an hourly answer."""
    properties = document.get("properties")
    return isinstance(properties, Mapping) and isinstance(properties.get("parameter"), Mapping)


def read_power(document: Mapping[str, Any], file: str) -> tuple[RawWeather | None, list[Finding]]:
    """Return the columns of an hourly answer, with what is wrong in it."""
    findings: list[Finding] = []
    header = document.get("header")
    header = header if isinstance(header, Mapping) else {}
    about = document.get("parameters")
    about = about if isinstance(about, Mapping) else {}
    missing = parse_number(header.get("fill_value"))
    columns, unread = {}, set()
    for quantity, name in POWER_NAMES.items():
        hours = document["properties"]["parameter"].get(name)
        if not isinstance(hours, Mapping) or not hours:
            continue
        described = about.get(name)
        unit = described.get("units") if isinstance(described, Mapping) else None
        column, fault = _column(quantity, name, hours, unit, missing)
        if column is None:
            unread.add(quantity)
        elif not np.isnan(column.value).all():  # a parameter without any value: as if not there
            columns[quantity] = column
        if fault is not None:
            findings.append(
                Finding(fault[0], file=file, field=f"properties.parameter.{name}", expected=fault[1])
            )
    longitude, latitude, elevation = place_of_point(document.get("geometry"))
    raw = RawWeather(
        columns=columns,
        source=f"NASA POWER ({short_line(header['title'])})" if header.get("title") else "NASA POWER",
        latitude=latitude,
        longitude=longitude,
        elevation_m=elevation,
        origin=Origin.TYPICAL,
        unread=frozenset(unread),
    )
    return raw, findings


def _column(
    quantity: WeatherQuantity, name: str, hours: Mapping[str, Any], unit_text: Any, missing: float | None
) -> tuple[RawColumn | None, tuple[str, str] | None]:
    """Return one parameter in SI, None where it cannot be read, and what is wrong with what was expected."""
    unit = find_unit(quantity, unit_text if isinstance(unit_text, str) else None)
    if unit is None:
        return None, (f"unit {short_line(unit_text)!r} is not known", accepted_units(quantity))
    time = _times(list(hours))
    if time is None:
        return None, ("an hour has another name", "YYYYMMDDHH, as 2015010100")
    values = [parse_number(each) for each in hours.values()]
    if None in values:
        return None, ("a value is not a number", "numbers")
    value = np.array(values, dtype=np.float64)
    value[value == missing] = np.nan
    if quantity in _OF_THE_HOUR:
        time = time + ONE_HOUR
    si: Floats = unit.to_si(value)
    return RawColumn(time, si, name), None


def hours_by_name(names: Iterable[str]) -> TimeArray:
    """Return hours by their names, ``YYYYMMDDHH``. Raises `ValueError` where one is no hour."""
    texts = [f"{each[:4]}-{each[4:6]}-{each[6:8]}T{each[8:]}:00:00" for each in names]
    return np.array(texts, dtype="datetime64[s]")


def _times(names: list[str]) -> TimeArray | None:
    """Return the hours by their names, or None where one is no hour."""
    if not all(len(each) == _NEEDED and each.isascii() and each.isdigit() for each in names):
        return None
    try:
        return hours_by_name(names)
    except ValueError:
        return None
