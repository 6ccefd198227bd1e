"""The raw grid forecast of the United States National Weather Service (``/gridpoints/{office}/{x},{y}``).

Each layer names its unit (``uom``) and has values for intervals (``validTime``: start and ISO 8601 span).
A state holds at every whole hour of its interval, the end left out; an amount is spread evenly over the hours
that end within it, and a probability is that of each of them. The grid has no sunshine: it is computed.

Source:
    National Weather Service, documentation of api.weather.gov, gridpoint layers.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from handover.base.text import short_line
from handover.errors import Finding
from handover.weather.quantities import WeatherQuantity, accepted_units, find_unit
from handover.weather.raw_weather import RawColumn, RawWeather, parse_instant, parse_number
from handover.weather.series import utc64

_LAYERS = {
    "temperature": WeatherQuantity.AIR,
    "dewpoint": WeatherQuantity.DEW_POINT,
    "relativeHumidity": WeatherQuantity.HUMIDITY,
    "windSpeed": WeatherQuantity.WIND,
    "skyCover": WeatherQuantity.CLOUD,
    "quantitativePrecipitation": WeatherQuantity.RAIN,
    "probabilityOfPrecipitation": WeatherQuantity.RAIN_CHANCE,
}
_OF_THE_HOUR_ENDED = (WeatherQuantity.RAIN, WeatherQuantity.RAIN_CHANCE)
_SPAN = re.compile(r"P(?:(\d{1,3})W)?(?:(\d{1,4})D)?(?:T(?:(\d{1,5})H)?(?:(\d{1,5})M)?)?")
_HOUR = timedelta(hours=1)
_LONGEST = timedelta(days=60)
_MOST_FINDINGS = 5
_SPREAD = (
    "Amounts for several hours are spread evenly over them; the chance of precipitation of an interval "
    "is taken for each of its hours."
)


def is_nws(document: Mapping[str, Any]) -> bool:
    """Return whether a JSON document is a raw grid: properties with at least one layer of values."""
    properties = document.get("properties")
    if not isinstance(properties, Mapping):
        return False
    return any(isinstance(properties.get(name), Mapping) and "values" in properties[name] for name in _LAYERS)


MAX_HOURS = 60 * 24
"""Hours of a layer: no forecast has more, and spans that overlap may have millions."""


def read_nws(document: Mapping[str, Any], file: str) -> tuple[RawWeather | None, list[Finding]]:
    """Return the columns of a raw grid, with what is wrong in it."""
    properties = document["properties"]
    findings: list[Finding] = []
    columns: dict[WeatherQuantity, RawColumn] = {}
    unread: set[WeatherQuantity] = set()
    for name, quantity in _LAYERS.items():
        layer = properties.get(name)
        if isinstance(layer, Mapping) and layer.get("values"):
            column = _Layer(name, quantity, file, findings).read(layer)
            if column is None:
                unread.add(quantity)
            else:
                columns[quantity] = column
    issued_at = _aware(properties.get("updateTime"))
    if issued_at is None:
        findings.append(
            Finding(
                "does not say when the forecast was issued",
                file=file,
                field="properties.updateTime",
                expected="a time with its offset",
                example="2026-07-14T03:15:41+00:00",
                severity="caution",
            )
        )
    latitude, longitude = _middle(document.get("geometry"))
    raw = RawWeather(
        columns=columns,
        source=_source(properties),
        issued_at=issued_at,
        latitude=latitude,
        longitude=longitude,
        elevation_m=_elevation(properties.get("elevation")),
        methods=(_SPREAD,),
        unread=frozenset(unread),
    )
    return raw, findings


@dataclass
class _Layer:
    """One layer on its way to a column."""

    name: str
    quantity: WeatherQuantity
    file: str
    findings: list[Finding]
    wrong: int = field(default=0)

    def read(self, layer: Mapping[str, Any]) -> RawColumn | None:
        unit = find_unit(self.quantity, layer.get("uom") if isinstance(layer.get("uom"), str) else None)
        if unit is None:
            self._fault(
                "uom",
                f"unit {short_line(layer.get('uom'))!r} is not known",
                expected=accepted_units(self.quantity),
                example="wmoUnit:degC",
            )
            return None
        times: list[np.datetime64] = []
        values: list[float] = []
        entries = layer["values"] if isinstance(layer["values"], list) else []
        for at, entry in enumerate(entries):
            for moment, value in self._hours(at, entry):
                times.append(utc64(moment))
                values.append(value)
            if len(times) > MAX_HOURS:
                problem = f"more than {MAX_HOURS} hours; its spans overlap"
                self._fault(f"values[{at}].validTime", problem, expected="each hour once")
                return None
        si = unit.to_si(np.array(values, dtype=np.float64))
        return RawColumn(np.array(times, dtype="datetime64[s]"), si, f"properties.{self.name}")

    def _hours(self, at: int, entry: Any) -> list[tuple[datetime, float]]:
        """Return the hours of one entry with their values; none where it has none."""
        if not isinstance(entry, Mapping):
            self._fault(f"values[{at}]", "not an entry of validTime and value")
            return []
        if entry.get("value") is None:
            return []
        value = parse_number(entry["value"])
        if value is None:
            self._fault(f"values[{at}].value", f"{short_line(entry['value'])!r} is not a number")
            return []
        interval = _interval(entry.get("validTime"))
        if interval is None:
            self._fault(
                f"values[{at}].validTime",
                f"{short_line(entry.get('validTime'))!r} is not an interval of whole hours",
                expected="a start with its offset and a span of at most 60 days",
                example="2026-07-14T21:00:00+00:00/PT5H",
            )
            return []
        start, hours = interval
        if self.quantity is WeatherQuantity.RAIN:
            value /= hours
        ended = 1 if self.quantity in _OF_THE_HOUR_ENDED else 0
        return [(start + _HOUR * (hour + ended), value) for hour in range(hours)]

    def _fault(
        self, where: str, problem: str, *, expected: str | None = None, example: str | None = None
    ) -> None:
        self.wrong += 1
        if self.wrong <= _MOST_FINDINGS:
            place = f"properties.{self.name}.{where}"
            self.findings.append(Finding(problem, self.file, None, place, expected, example))


def _interval(text: Any) -> tuple[datetime, int] | None:
    """Return start and whole hours of an interval such as "2026-07-14T21:00:00+00:00/P1DT6H"."""
    start_text, _, span_text = text.partition("/") if isinstance(text, str) else ("", "", "")
    start = _aware(start_text)
    match = _SPAN.fullmatch(span_text)
    if start is None or match is None:
        return None
    weeks, days, hours, minutes = (int(part or 0) for part in match.groups())
    span = timedelta(weeks=weeks, days=days, hours=hours, minutes=minutes)
    whole = span // _HOUR
    if span != whole * _HOUR or not _HOUR <= span <= _LONGEST:
        return None
    return start, whole


def _aware(text: Any) -> datetime | None:
    """Return an aware instant, or None where the text is none or has no offset."""
    moment = parse_instant(text)
    return moment if moment is not None and moment.tzinfo is not None else None


_FARTHEST = (180.0, 90.0)
"""Longitude and latitude on earth, at most. [deg]"""


def _middle(geometry: Any) -> tuple[float | None, float | None]:
    """Return latitude and longitude of the middle of the grid cell: the mean of its corners."""
    try:
        corners = np.array(geometry["coordinates"][0], dtype=np.float64)[:-1, :2]
    except (TypeError, KeyError, IndexError, ValueError, OverflowError):
        return None, None
    is_place = corners.size and corners.shape[1] == len(_FARTHEST)
    if not is_place or not (np.abs(corners) <= _FARTHEST).all():  # False for NaN
        return None, None
    longitude, latitude = (float(part) for part in corners.mean(axis=0))
    return latitude, longitude


def _elevation(value: Any) -> float | None:
    if isinstance(value, Mapping) and str(value.get("unitCode", "")).endswith(":m"):
        return parse_number(value.get("value"))
    return None


def _source(properties: Mapping[str, Any]) -> str:
    grid = "/".join(short_line(properties[key]) for key in ("gridId", "gridX", "gridY") if key in properties)
    return f"National Weather Service grid forecast {grid}".strip()
