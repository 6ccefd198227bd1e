"""The hourly answer of Open-Meteo (``/v1/forecast`` and its kin).

States are instants; sunshine, precipitation and its probability are of the hour that ended: the convention of
`WeatherSeries`. Units come from ``hourly_units``, never assumed. Times are read as UTC shifted by
``utc_offset_seconds``; unix times are UTC as they stand.

An answer in local time keeps one offset even across a change of the clock. That is checked, not trusted: if the
hours cross a change of the zone's clock and are not all one hour apart, the answer is refused.

Source:
    Open-Meteo, documentation of the forecast API: hourly parameter definition.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from handover.errors import Finding
from handover.weather.quantities import Quantity, accepted_units, find_unit
from handover.weather.raw import Column, Raw, Times, aware, instant, number, quote

_NAMES = {
    Quantity.AIR: ("temperature_2m",),
    Quantity.DEW_POINT: ("dew_point_2m", "dewpoint_2m"),
    Quantity.HUMIDITY: ("relative_humidity_2m", "relativehumidity_2m"),
    Quantity.WIND: ("wind_speed_10m", "windspeed_10m"),
    Quantity.CLOUD: ("cloud_cover", "cloudcover"),
    Quantity.SHORTWAVE: ("shortwave_radiation",),
    Quantity.RAIN: ("precipitation",),
    Quantity.RAIN_CHANCE: ("precipitation_probability",),
}
_MOST_FINDINGS = 5
_LATEST_UNIX = 7_000_000_000  # the year 2191
_ASK_UTC = "an answer in UTC: ask the service for timezone=GMT"


def looks_like(document: Mapping[str, Any]) -> bool:
    """Tell whether a JSON document is an hourly answer."""
    hourly = document.get("hourly")
    return isinstance(hourly, Mapping) and "time" in hourly


def read(document: Mapping[str, Any], file: str) -> tuple[Raw | None, list[Finding]]:
    """Return the columns of an hourly answer, with what is wrong in it."""
    findings: list[Finding] = []
    hourly = document["hourly"]
    units = document.get("hourly_units")
    units = units if isinstance(units, Mapping) else {}
    time = _times(document, hourly["time"], file, findings)
    if time is None:
        return None, findings
    columns: dict[Quantity, Column] = {}
    unread: set[Quantity] = set()
    for quantity, names in _NAMES.items():
        name = next((each for each in names if hourly.get(each) is not None), None)
        if name is None:
            continue
        value = _values(quantity, name, hourly[name], units.get(name), len(time), file, findings)
        if value is None:
            unread.add(quantity)
        else:
            columns[quantity] = Column(time, value, f"hourly.{name}")
    raw = Raw(
        columns=columns,
        source="Open-Meteo hourly forecast",
        latitude=_degrees(document.get("latitude"), 90),
        longitude=_degrees(document.get("longitude"), 180),
        elevation_m=number(document.get("elevation")),
        unread=frozenset(unread),
    )
    return raw, findings


def _degrees(value: Any, most: float) -> float | None:
    degrees = number(value)
    return degrees if degrees is not None and abs(degrees) <= most else None


def _values(
    quantity: Quantity, name: str, told: Any, unit_text: Any, count: int, file: str, findings: list[Finding]
) -> np.ndarray[tuple[int], np.dtype[np.float64]] | None:
    """Return one column in SI; None, with a finding, where it cannot be read."""
    field = f"hourly.{name}"
    if not isinstance(told, list) or len(told) != count:
        findings.append(
            Finding("not as many values as hours", file=file, field=field, expected=f"{count} values")
        )
        return None
    wrong = [at for at, value in enumerate(told) if value is not None and number(value) is None]
    findings.extend(
        Finding(f"{quote(told[at])!r} is not a number", file=file, field=f"{field}[{at}]")
        for at in wrong[:_MOST_FINDINGS]
    )
    value = np.array([np.nan if (x := number(each)) is None else x for each in told], dtype=np.float64)
    if np.isnan(value).all():
        return value  # a column of nulls may come without a unit
    unit = find_unit(quantity, unit_text if isinstance(unit_text, str) else None)
    if unit is None:
        problem = "names no unit" if unit_text is None else f"unit {quote(unit_text)!r} is not known"
        findings.append(
            Finding(problem, file=file, field=f"hourly_units.{name}", expected=accepted_units(quantity))
        )
        return None
    return unit.to_si(value)


def _times(document: Mapping[str, Any], told: Any, file: str, findings: list[Finding]) -> Times | None:
    """Return the hours as UTC; None, with a finding, where they cannot be read."""

    def refuse(
        problem: str, field: str = "hourly.time", expected: str = "hours in ISO 8601 or unix seconds"
    ) -> None:
        findings.append(
            Finding(problem, file=file, field=field, expected=expected, example="2026-07-14T06:00")
        )

    if not isinstance(told, list) or not told:
        return refuse("no hours")
    offset = number(document.get("utc_offset_seconds"))
    unix = all(number(each) is not None for each in told)
    if unix:
        if not all(0 <= each <= _LATEST_UNIX for each in told):
            return refuse("a time is not in unix seconds")
        return np.array([int(each) for each in told], dtype="datetime64[s]")
    moments = [instant(each) for each in told]
    bad = next((at for at, moment in enumerate(moments) if moment is None), None)
    if bad is not None:
        return refuse(f"{quote(told[bad])!r} is not a time", f"hourly.time[{bad}]")
    if all(moment is not None and moment.tzinfo is not None for moment in moments):
        return np.array([np.datetime64(_naive_utc(moment), "s") for moment in moments if moment is not None])
    if any(moment is not None and moment.tzinfo is not None for moment in moments):
        return refuse("some times have an offset and some have none")
    if offset is None or not offset.is_integer() or abs(offset) > 24 * 3600:
        return refuse(
            "times without an offset, and the answer does not say how far they are from UTC",
            "utc_offset_seconds",
            _ASK_UTC,
        )
    time = np.array(moments, dtype="datetime64[s]") - np.timedelta64(int(offset), "s")
    if _crosses_clock_change(time, document.get("timezone")) and not _hourly(time):
        return refuse("local times across a change of the clock, not one hour apart", expected=_ASK_UTC)
    return time


def _naive_utc(moment: datetime) -> datetime:
    offset = moment.utcoffset() or timedelta(0)
    return moment.replace(tzinfo=None) - offset


def _hourly(time: Times) -> bool:
    """Tell whether the hours, in order, are one hour apart."""
    return bool((np.diff(np.sort(time)) == np.timedelta64(3600, "s")).all())


def _crosses_clock_change(time: Times, zone_name: Any) -> bool:
    """Tell whether the zone's offset from UTC changes between the first and the last of the hours."""
    try:
        zone = ZoneInfo(zone_name)
    except (TypeError, ValueError, OSError, ZoneInfoNotFoundError):
        return False
    offsets = {aware(moment).astimezone(zone).utcoffset() for moment in np.unique(time)[:: 24 * 7]}
    offsets.add(aware(time.max()).astimezone(zone).utcoffset())
    return len(offsets) > 1
