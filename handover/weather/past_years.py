"""The same weeks of past years at a place: what the weather past a forecast may be.

Hours of many years, from a service or a file, are cut into one series for each year, and every year is moved
into the calendar of the pour. Each member of the ensemble then follows one of them.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from itertools import compress
from typing import TYPE_CHECKING, Any

import numpy as np

from handover.base.arrays import ONE_HOUR, distinct
from handover.errors import Finding
from handover.practice.rules import general_rules
from handover.weather.assemble import LONGEST_HOURS, assemble
from handover.weather.nasa_power import hours_by_name
from handover.weather.series import Origin, WeatherSeries, utc64

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from numpy.typing import NDArray

    from handover.weather.location import HasLocation
    from handover.weather.quantities import WeatherQuantity
    from handover.weather.raw_weather import RawColumn, RawWeather, TimeArray

_LAST_MONTH = 7  # of the next year: a pour at the end of a year has its months of hardening
_SLACK_H = 72
_COLUMNS = ("air_c", "relative_humidity", "wind_ms", "cloud", "shortwave_wm2", "precipitation_mm")


@dataclass(frozen=True)
class PastYears(WeatherSeries):
    """The mean of past years, hour by hour, in the calendar of the pour, and the years themselves.

    Attributes:
        years: Each past year in the same calendar, on the same hours.
    """

    years: tuple[WeatherSeries, ...] = ()


def spans_past_years(raw: RawWeather) -> bool:
    """Return whether columns span more years than one series may: then they are of past years."""
    ends = [(each.time.min(), each.time.max()) for each in raw.columns.values() if len(each.time)]
    if not ends:
        return False
    first, last = min(each[0] for each in ends), max(each[1] for each in ends)
    return bool((last - first) / ONE_HOUR > LONGEST_HOURS)


def assemble_past_years(
    raw: RawWeather, file: str, site: HasLocation, year: int
) -> tuple[PastYears | None, tuple[Finding, ...]]:
    """Return past years moved into the calendar of a pour, with faults and cautions.

    A year with a gap or without its end is left out.

    Args:
        raw: Columns over many years, whole or only some weeks of each.
        file: Name of the file, for the findings.
        site: Place of the slab.
        year: Calendar year of the pour.
    """
    moved = []
    for past in _years_of(raw):
        series, _ = assemble(_one_year(raw, past), file, site)
        if series is not None:
            moved.append((past, replace(series, time=series.time + _shift(past, year))))
    longest = max((len(series) for _, series in moved), default=0)
    whole = [(past, series) for past, series in moved if len(series) >= longest - _SLACK_H]
    least = int(general_rules()["forecast.years-least"])
    if len(whole) < least:
        fault = Finding(
            f"has {len(whole)} past years without a gap",
            file=file,
            expected=f"the same weeks of at least {least} years",
        )
        return None, (fault,)
    return _mean(raw, [past for past, _ in whole], [series for _, series in whole]), ()


def _years_of(raw: RawWeather) -> range:
    """Return the calendar years in which columns have hours."""
    times = [each.time for each in raw.columns.values() if len(each.time)]
    first, last = min(each.min() for each in times), max(each.max() for each in times)
    return range(*(int(str(each)[:4]) + further for each, further in ((first, 0), (last, 1))))


def _one_year(raw: RawWeather, past: int) -> RawWeather:
    """Return the longest run of hours of a year and of the half year after it."""
    span = np.datetime64(f"{past}-01-01", "s"), np.datetime64(f"{past + 1}-{_LAST_MONTH:02d}-01", "s")
    columns = {quantity: _between(column, *span) for quantity, column in raw.columns.items()}
    first, last = _longest_run(columns)
    return replace(
        raw,
        columns={quantity: _between(column, first, last) for quantity, column in columns.items()},
        origin=Origin.TYPICAL,
    )


def _between(column: RawColumn, first: np.datetime64, last: np.datetime64) -> RawColumn:
    """Return the hours of a column from a first to a last, both included."""
    kept = (column.time >= first) & (column.time <= last)
    return replace(column, time=column.time[kept], value=column.value[kept], line=None)


def _longest_run(columns: Mapping[WeatherQuantity, RawColumn]) -> tuple[np.datetime64, np.datetime64]:
    """Return the ends of the longest run of hours without a break."""
    hours = distinct(np.concatenate([each.time for each in columns.values()]))
    if not len(hours):
        nothing = np.datetime64(0, "s")
        return nothing, nothing
    runs = np.split(hours, np.flatnonzero(np.diff(hours) > ONE_HOUR) + 1)
    longest = max(runs, key=len)
    return longest[0], longest[-1]


def _mean(raw: RawWeather, names: list[int], years: list[WeatherSeries]) -> PastYears:
    """Return the years on the hours that they have in common, and their mean."""
    first, last = max(each.time[0] for each in years), min(each.time[-1] for each in years)
    cut = tuple(each.window(first, last) for each in years)
    time: TimeArray = cut[0].time
    columns: dict[str, Any] = {
        name: np.mean([getattr(each, name) for each in cut], axis=0) for name in _COLUMNS
    }
    return PastYears(
        time=time,
        source=f"{len(cut)} past years at the place, {names[0]} to {names[-1]}: {raw.source}",
        issued_at=None,
        latitude=raw.latitude,
        longitude=raw.longitude,
        methods=cut[0].methods,
        years=cut,
        precipitation_probability=np.full(len(time), np.nan),
        origin=np.full(len(time), Origin.TYPICAL, dtype=np.int8),
        **columns,
    )


def cut_weeks(data: bytes, start: datetime, end: datetime) -> bytes:
    """Return a service's answer with only the hours of some weeks of each year; its shape stays.

    Args:
        data: A JSON document of Open-Meteo or NASA POWER with past years, as received.
        start: Begin of the weeks, aware.
        end: Their end, less than a year later.
    """
    document = json.loads(data)
    if "hourly" in document:
        hours = document["hourly"]
        kept = weeks_about(np.array(hours["time"], dtype="datetime64[s]"), start, end)
        document["hourly"] = {name: list(compress(values, kept)) for name, values in hours.items()}
    else:
        parameters = document["properties"]["parameter"]
        for name, hours in parameters.items():
            kept = weeks_about(hours_by_name(hours), start, end)
            parameters[name] = dict(compress(hours.items(), kept))
    return json.dumps(document, separators=(",", ":"), ensure_ascii=False).encode()


def weeks_about(time: TimeArray, start: datetime, end: datetime) -> NDArray[np.bool_]:
    """Return which hours are in the same weeks of their year as a stretch, shape (n,), bool.

    Args:
        time: UTC instants, shape (n,).
        start: Begin of the stretch, aware.
        end: Its end, less than a year later.
    """
    kept = np.zeros(len(time), dtype=bool)
    first, last = utc64(start), utc64(end)
    names = time.astype("datetime64[Y]").astype(np.int64) + 1970
    for past in range(int(names.min()) - 1, int(names.max()) + 1):
        moved = time + _shift(past, start.year)
        kept |= (moved >= first) & (moved <= last)
    return kept


def _shift(past: int, year: int) -> np.timedelta64:
    """Return by how much the hours of a year are moved into another: of a leap year, a day late in March."""
    new, old = (np.datetime64(f"{each}-01-01", "s") for each in (year, past))
    shift: np.timedelta64 = new - old
    return shift
