"""The forecast of the Norwegian Meteorological Institute (Locationforecast 2.0, ``complete``).

    {"type": "Feature", "geometry": {"coordinates": [longitude, latitude, altitude]},
     "properties": {"meta": {"updated_at": ..., "units": {"air_temperature": "celsius", ...}},
      "timeseries": [{"time": "2026-07-14T13:00:00Z", "data": {"instant": {"details": {...}},
        "next_1_hours": {"details": {"precipitation_amount": 0.0, ...}}, "next_6_hours": {...}}}, ...]}}

Some two days by the hour, then every six hours: between two entries states are interpolated, and the
precipitation of six hours is spread evenly. States are instants; precipitation is of the hours that follow.
There is no sunshine: it comes from cloud. There are no past hours. Where there are 10th and 90th percentiles
of air temperature and wind, they are read as the spread of those hours.

Source:
    MET Norway, Locationforecast data model, and its terms of service: CC BY 4.0.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from handover.base.arrays import ONE_HOUR
from handover.base.text import short_line
from handover.errors import Finding
from handover.weather.quantities import QUANTITY_LIMITS, WeatherQuantity, accepted_units, find_unit
from handover.weather.raw_weather import RawColumn, RawWeather, parse_instant, parse_number, place_of_point
from handover.weather.series import utc64, utc_seconds
from handover.weather.uncertainty import PERCENTILE_90, ForecastPercentiles

if TYPE_CHECKING:
    from datetime import datetime

    from handover.base.arrays import Floats
    from handover.weather.raw_weather import TimeArray

_STATES = {
    WeatherQuantity.AIR: "air_temperature",
    WeatherQuantity.HUMIDITY: "relative_humidity",
    WeatherQuantity.DEW_POINT: "dew_point_temperature",
    WeatherQuantity.WIND: "wind_speed",
    WeatherQuantity.CLOUD: "cloud_area_fraction",
}
_WITH_PERCENTILES: dict[WeatherQuantity, str] = {
    WeatherQuantity.AIR: "air_c",
    WeatherQuantity.WIND: "wind_ms",
}
_AMOUNT, _CHANCE = "precipitation_amount", "probability_of_precipitation"
_SPANS = (("next_1_hours", 1), ("next_6_hours", 6))
_FARTHEST = 6
_INTERPOLATED = "Where MET Norway has a value every six hours only, the hours between are interpolated."
_HOUR = timedelta(hours=1)


@dataclass(frozen=True)
class _Entry:
    """An entry of the series: its time, and its parts."""

    time: datetime
    data: Mapping[str, Any]

    def details(self, part: str) -> Mapping[str, Any]:
        inner = self.data.get(part)
        details = inner.get("details") if isinstance(inner, Mapping) else None
        return details if isinstance(details, Mapping) else {}


def is_met_norway(document: Mapping[str, Any]) -> bool:
    """Return whether a JSON document is an answer of Locationforecast."""
    properties = document.get("properties")
    return isinstance(properties, Mapping) and isinstance(properties.get("timeseries"), list)


def read_met_norway(document: Mapping[str, Any], file: str) -> tuple[RawWeather | None, list[Finding]]:
    """Return the columns of an answer, with what is wrong in it."""
    properties = document["properties"]
    meta = properties.get("meta")
    meta = meta if isinstance(meta, Mapping) else {}
    entries = [_entry(each) for each in properties["timeseries"]]
    sound = [each for each in entries if each is not None]
    if not sound or len(sound) < len(entries):
        finding = Finding(
            "an entry has no time" if entries else "no hours",
            file=file,
            field="properties.timeseries",
            expected="entries with a time and its offset",
            example="2026-07-14T13:00:00Z",
        )
        return None, [finding]
    sound.sort(key=lambda each: each.time)
    units = meta.get("units")
    units = units if isinstance(units, Mapping) else {}
    columns, unread, findings = {}, set(), []
    for quantity, name, time, value in _columns(sound):
        unit = find_unit(quantity, _unit_of(units.get(name)))
        if np.isnan(value).all():
            continue
        if unit is None:
            unread.add(quantity)
            problem = f"unit {short_line(units.get(name))!r} is not known"
            where = f"properties.meta.units.{name}"
            findings.append(Finding(problem, file=file, field=where, expected=accepted_units(quantity)))
        else:
            columns[quantity] = RawColumn(time, unit.to_si(value), name)
    percentiles, doubts = _percentiles(sound, units, file)
    findings.extend(doubts)
    longitude, latitude, altitude = place_of_point(document.get("geometry"))
    far = any(later.time - each.time > _HOUR for each, later in pairwise(sound))
    raw = RawWeather(
        columns=columns,
        source="MET Norway Locationforecast (CC BY 4.0)",
        issued_at=_aware(meta.get("updated_at")),
        latitude=latitude,
        longitude=longitude,
        elevation_m=altitude,
        methods=(_INTERPOLATED,) if far else (),
        unread=frozenset(unread),
        uncertainty=percentiles,
    )
    return raw, findings


def _percentiles(
    entries: list[_Entry], units: Mapping[str, Any], file: str
) -> tuple[ForecastPercentiles | None, list[Finding]]:
    """Return the spread between the percentiles by the hour, None where there are none, with cautions.

    Percentiles in the wrong order, or impossible, are left out.
    """
    hours = np.array([utc64(each.time) for each in entries])
    time = np.arange(hours[0], hours[-1] + ONE_HOUR, ONE_HOUR)
    spreads: dict[str, Floats] = {}
    findings = []
    for quantity, column in _WITH_PERCENTILES.items():
        name = f"{_STATES[quantity]}_percentile"
        apart, wrong = _apart(entries, quantity, units)
        if wrong:
            problem = f"{wrong} hours have a 10th and a 90th percentile that cannot be; they are left out"
            findings.append(Finding(problem, file=file, field=name, severity="caution"))
        at, value = _hourly(hours, apart)
        if len(at):
            spreads[column] = np.full(len(time), np.nan)
            spreads[column][((at - time[0]) // ONE_HOUR).astype(np.int64)] = value
    if not spreads:
        return None, findings
    return ForecastPercentiles(time, spreads, "MET Norway"), findings


def _apart(entries: list[_Entry], quantity: WeatherQuantity, units: Mapping[str, Any]) -> tuple[Floats, int]:
    """Return the standard deviation of each entry, NaN where not known, and how many are wrong."""
    limits, ends = QUANTITY_LIMITS[quantity], []
    for share in ("10", "90"):
        name = f"{_STATES[quantity]}_percentile_{share}"
        unit = find_unit(quantity, _unit_of(units.get(name, units.get(_STATES[quantity]))))
        value = np.array([_number(each.details("instant"), name) for each in entries])
        ends.append(np.full(len(entries), np.nan) if unit is None else unit.to_si(value))
    low, high = ends
    known = ~(np.isnan(low) | np.isnan(high))
    sound = known & (limits.low <= low) & (low <= high) & (high <= limits.high)
    spread = np.full(len(entries), np.nan)
    spread[sound] = (high - low)[sound] / (2.0 * PERCENTILE_90)
    return spread, int((known & ~sound).sum())


def _entry(entry: Any) -> _Entry | None:
    """Return an entry, or None where it has no time."""
    time = _aware(entry.get("time")) if isinstance(entry, Mapping) else None
    data = entry.get("data") if isinstance(entry, Mapping) else None
    return None if time is None else _Entry(time, data if isinstance(data, Mapping) else {})


def _aware(text: Any) -> datetime | None:
    moment = parse_instant(text)
    return moment if moment is not None and moment.tzinfo is not None else None


def _unit_of(text: Any) -> str | None:
    """Return the unit that the service names, as other files write it."""
    return {"celsius": "degC"}.get(text, text) if isinstance(text, str) else None


def _columns(entries: list[_Entry]) -> list[tuple[WeatherQuantity, str, TimeArray, Floats]]:
    """Return every quantity by the hour, in the unit of the service."""
    time = np.array([utc64(each.time) for each in entries])
    found = []
    for quantity, name in _STATES.items():
        value = np.array([_number(each.details("instant"), name) for each in entries])
        found.append((quantity, name, *_hourly(time, value)))
    ends: list[np.datetime64] = []
    amounts: list[float] = []
    chances: list[float] = []
    for at, entry in enumerate(entries):
        until = entries[at + 1].time if at + 1 < len(entries) else None
        span, hours, details = _coming(entry, until)
        for hour in range(hours):
            ends.append(utc64(entry.time + _HOUR * (hour + 1)))
            amounts.append(_number(details, _AMOUNT) / span)
            chances.append(_number(details, _CHANCE))
    instants = np.array(ends, dtype="datetime64[s]")
    found.append((WeatherQuantity.RAIN, _AMOUNT, instants, np.array(amounts)))
    found.append((WeatherQuantity.RAIN_CHANCE, _CHANCE, instants, np.array(chances)))
    return found


def _coming(entry: _Entry, until: datetime | None) -> tuple[int, int, Mapping[str, Any]]:
    """Return of how many hours the precipitation of an entry is, how many of them count, and its details.

    Hours from the next entry on are the next entry's.
    """
    for part, span in _SPANS:
        details = entry.details(part)
        if _AMOUNT in details:
            free = span if until is None else min(span, int((until - entry.time) / _HOUR))
            return span, free, details
    return 1, 0, {}


def _hourly(time: TimeArray, value: Floats) -> tuple[TimeArray, Floats]:
    """Return a state by the hour: interpolated between entries that are at most six hours apart."""
    known = ~np.isnan(value)
    time, value = time[known], value[known]
    if len(time) < 2:  # noqa: PLR2004 - nothing is between
        return time, value
    hours = np.arange(time[0], time[-1] + ONE_HOUR, ONE_HOUR)
    after = np.clip(np.searchsorted(time, hours), 1, len(time) - 1)
    near = (time[after] - time[after - 1]) <= _FARTHEST * ONE_HOUR
    filled = np.interp(utc_seconds(hours), utc_seconds(time), value)
    return hours[near], filled[near]


def _number(details: Mapping[str, Any], name: str) -> float:
    number = parse_number(details.get(name))
    return np.nan if number is None else number
