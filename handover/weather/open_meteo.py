"""The hourly answer of Open-Meteo (``/v1/forecast`` and its kin).

States are instants; sunshine, precipitation and its probability are of the hour that ended: the convention of
`WeatherSeries`. Units come from ``hourly_units``, never assumed. Times are read as UTC shifted by
``utc_offset_seconds``; unix times are in UTC.

An answer in local time keeps one offset even across a change of the clock. That is checked, not trusted: if
the hours cross a change of the zone's clock and are not all one hour apart, the answer is refused.

An answer with the members of an ensemble is read as its control run, with the members beside it.

Source:
    Open-Meteo, documentation of the forecast API: hourly parameter definition.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from handover.base.text import short_line
from handover.errors import Finding
from handover.weather.open_meteo_members import model_suffix, read_members
from handover.weather.quantities import WeatherQuantity, accepted_units, find_unit
from handover.weather.raw_weather import RawColumn, RawWeather, parse_instant, parse_number
from handover.weather.series import aware, utc64

if TYPE_CHECKING:
    from handover.base.arrays import Floats
    from handover.weather.raw_weather import TimeArray
    from handover.weather.uncertainty import ForecastMembers

_NAMES = {
    WeatherQuantity.AIR: ("temperature_2m",),
    WeatherQuantity.DEW_POINT: ("dew_point_2m", "dewpoint_2m"),
    WeatherQuantity.HUMIDITY: ("relative_humidity_2m", "relativehumidity_2m"),
    WeatherQuantity.WIND: ("wind_speed_10m", "windspeed_10m"),
    WeatherQuantity.CLOUD: ("cloud_cover", "cloudcover"),
    WeatherQuantity.SHORTWAVE: ("shortwave_radiation",),
    WeatherQuantity.RAIN: ("precipitation",),
    WeatherQuantity.RAIN_CHANCE: ("precipitation_probability",),
}
_MOST_FINDINGS = 5
_DAY_S = 24 * 3600
_LATEST_UNIX = 7_000_000_000  # the year 2191
_ASK_UTC = "an answer in UTC: ask the service for timezone=GMT"


def is_open_meteo(document: Mapping[str, Any]) -> bool:
    """Return whether a JSON document is an hourly answer."""
    hourly = document.get("hourly")
    return isinstance(hourly, Mapping) and "time" in hourly


def read_open_meteo(document: Mapping[str, Any], file: str) -> tuple[RawWeather | None, list[Finding]]:
    """Return the columns of an hourly answer, with what is wrong in it."""
    findings: list[Finding] = []
    hourly = document["hourly"]
    units = document.get("hourly_units")
    units = units if isinstance(units, Mapping) else {}
    time = _times(document, hourly["time"], file, findings)
    if time is None:
        return None, findings
    columns: dict[WeatherQuantity, RawColumn] = {}
    unread: set[WeatherQuantity] = set()
    suffix = model_suffix(hourly) or ""
    for quantity, names in _NAMES.items():
        named = (*names, *(f"{each}{suffix}" for each in names))
        name = next((each for each in named if hourly.get(each) is not None), None)
        if name is None:
            continue
        value, wrong = _column(quantity, name, hourly[name], units.get(name), len(time))
        findings.extend(replace(finding, file=file) for finding in wrong)
        if value is None:
            unread.add(quantity)
        else:
            columns[quantity] = RawColumn(time, value, f"hourly.{name}")
    members, doubts = read_members(document, time, file)
    findings.extend(doubts)
    raw = RawWeather(
        columns=columns,
        source="Open-Meteo.com hourly weather (CC BY 4.0)",
        latitude=_degrees(document.get("latitude"), 90),
        longitude=_degrees(document.get("longitude"), 180),
        elevation_m=parse_number(document.get("elevation")),
        unread=frozenset(unread),
        uncertainty=members,
    )
    return raw, findings


def read_open_meteo_members(
    document: Mapping[str, Any], file: str
) -> tuple[ForecastMembers | None, list[Finding]]:
    """Return the members alone of an answer, None where it has none that can be used, with cautions."""
    findings: list[Finding] = []
    time = _times(document, document["hourly"]["time"], file, findings)
    if time is None:
        return None, [replace(each, severity="caution") for each in findings]
    return read_members(document, time, file)


def _degrees(value: Any, most: float) -> float | None:
    degrees = parse_number(value)
    return degrees if degrees is not None and abs(degrees) <= most else None


def _column(
    quantity: WeatherQuantity, name: str, values: Any, unit_text: Any, count: int
) -> tuple[Floats | None, list[Finding]]:
    """Return one column in SI, None where it cannot be read, and what is wrong in it."""
    field = f"hourly.{name}"
    if not isinstance(values, list) or len(values) != count:
        return None, [Finding("not as many values as hours", field=field, expected=f"{count} values")]
    wrong = [at for at, value in enumerate(values) if value is not None and parse_number(value) is None]
    findings = [
        Finding(f"{short_line(values[at])!r} is not a number", field=f"{field}[{at}]")
        for at in wrong[:_MOST_FINDINGS]
    ]
    value = np.array(
        [np.nan if (x := parse_number(each)) is None else x for each in values], dtype=np.float64
    )
    if np.isnan(value).all():
        return value, findings  # a column of nulls may come without a unit
    unit = find_unit(quantity, unit_text if isinstance(unit_text, str) else None)
    if unit is not None:
        return unit.to_si(value), findings
    problem = "names no unit" if unit_text is None else f"unit {short_line(unit_text)!r} is not known"
    return None, [
        *findings,
        Finding(problem, field=f"hourly_units.{name}", expected=accepted_units(quantity)),
    ]


def _times(document: Mapping[str, Any], times: Any, file: str, findings: list[Finding]) -> TimeArray | None:
    """Return the hours as UTC; None, with a finding, where they cannot be read."""
    try:
        return _utc(document, times)
    except _Unreadable as why:
        findings.append(
            Finding(str(why), file=file, field=why.field, expected=why.expected, example=why.example)
        )
        return None


class _Unreadable(Exception):
    """The hours cannot be read."""

    def __init__(self, problem: str, field: str, expected: str, example: str = "2026-07-14T06:00") -> None:
        super().__init__(problem)
        self.field = field
        self.expected = expected
        self.example = example


def _utc(document: Mapping[str, Any], times: Any) -> TimeArray:
    field = "hourly.time"
    if not isinstance(times, list) or not times:
        raise _Unreadable("no hours", field, "a list of hours")
    if all(parse_number(each) is not None for each in times):
        if not all(0 <= each <= _LATEST_UNIX for each in times):
            raise _Unreadable("a time is not in unix seconds", field, "seconds since 1970", "1784008800")
        return np.array([int(each) for each in times], dtype="datetime64[s]")
    moments = [parse_instant(each) for each in times]
    for at, moment in enumerate(moments):
        if moment is None:
            raise _Unreadable(
                f"{short_line(times[at])!r} is not a time", f"{field}[{at}]", "ISO 8601 or unix seconds"
            )
    sound = [moment for moment in moments if moment is not None]
    with_offset = sum(moment.tzinfo is not None for moment in sound)
    if with_offset == len(sound):
        return np.array([utc64(moment) for moment in sound], dtype="datetime64[s]")
    if with_offset:
        raise _Unreadable("some times have an offset and some have none", field, "one form for all")
    return _shift_to_utc(document, np.array(sound, dtype="datetime64[s]"))


def _shift_to_utc(document: Mapping[str, Any], local: TimeArray) -> TimeArray:
    """Return local times as UTC, by the offset that the answer names."""
    offset = parse_number(document.get("utc_offset_seconds"))
    if offset is None or not offset.is_integer() or abs(offset) > _DAY_S:
        raise _Unreadable(
            "the times have no offset, and the answer does not say how far they are from UTC",
            "utc_offset_seconds",
            _ASK_UTC,
            "0",
        )
    time: TimeArray = local - np.timedelta64(int(offset), "s")
    if _crosses_clock_change(time, document.get("timezone")) and not _hourly(time):
        raise _Unreadable(
            "local times across a change of the clock, not one hour apart",
            "hourly.time",
            _ASK_UTC,
            "timezone=GMT",
        )
    return time


def _hourly(time: TimeArray) -> bool:
    """Return whether the hours, in order, are one hour apart."""
    return bool((np.diff(np.sort(time)) == np.timedelta64(3600, "s")).all())


def _crosses_clock_change(time: TimeArray, zone_name: Any) -> bool:
    """Return whether the zone's offset from UTC changes between the first and the last of the hours."""
    try:
        zone = ZoneInfo(zone_name)
    except (TypeError, ValueError, OSError, ZoneInfoNotFoundError):
        return False
    offsets = {aware(moment).astimezone(zone).utcoffset() for moment in np.unique(time)[:: 24 * 7]}
    offsets.add(aware(time.max()).astimezone(zone).utcoffset())
    return len(offsets) > 1
