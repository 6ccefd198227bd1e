"""Weather from a table: CSV with a heading that names each column's quantity and unit.

    # source: Alder Lane weather mast
    # issued_at: 2026-07-14T05:00:00Z
    time_utc,air_temperature_c,relative_humidity_percent,wind_speed_kmh,cloud_cover_percent,precipitation_mm
    2026-07-14T06:00,22.4,71,8,20,0

Columns (in any order, comma, semicolon or tab between them; upper or lower case, spaces or underscores; the
unit at the end of the name or in brackets: ``air_temperature_c``, ``Air temperature [degF]``,
``wind speed (km/h)``; with semicolons a comma in a number is its decimal point):

| column | also called | units |
| --- | --- | --- |
| ``time_utc``, ``time_local``, ``time`` | datetime, timestamp, date | ISO 8601, or as spreadsheets do |
| ``air_temperature`` | temperature, temp, air temp, dry bulb | c, f, k |
| ``humidity_from_dew_point`` | humidity, rh | percent, fraction |
| ``dew_point`` | dewpoint, dew point temperature | c, f, k; used where there is no humidity |
| ``wind_speed`` | wind | ms, kmh, mph, kn, fts; at 10 m unless the name says so (``wind_speed_2m_ms``) |
| ``cloud_cover`` | cloud, sky cover, cloudiness | percent, fraction, tenths, oktas |
| ``shortwave_radiation`` | shortwave, global radiation, solar radiation, ghi | wm2, kwm2, whm2 |
| ``precipitation`` | rain, rainfall, precip | mm, cm, in |
| ``precipitation_probability`` | chance of rain, pop | percent, fraction |
| ``origin`` | | observed, forecast, typical |

Unless the heading says ``utc``, a time without an offset is on the clock of the site;
``2026-07-14T06:00:00-04:00`` has one. One of humidity and dew point, and one of cloud and sunshine, is
enough; precipitation and its probability may be left out.
Temperature, humidity, wind and cloud are those of the moment in the time column; sunshine and precipitation
are of the time that ended then. Rows closer together than an hour are brought to whole hours: states
interpolated, sunshine averaged, precipitation summed, the highest probability kept. A column of another name
is not read, and a caution names it.

Lines before the heading that begin with ``#`` may name ``source``, ``issued_at``, ``latitude``, ``longitude``
and ``elevation_m``. Without ``issued_at`` and without ``origin`` every hour counts as forecast.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from math import log
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from handover.base.local_time import local_instant
from handover.base.table_times import Clock, read_times
from handover.base.tables import Row, heading_words, parse_cell, read_rows
from handover.base.text import short_line
from handover.errors import Finding
from handover.practice.rules import general_rules
from handover.weather.quantities import QUANTITY_LIMITS, Unit, WeatherQuantity, accepted_units, find_unit
from handover.weather.raw_weather import RawColumn, RawWeather, parse_instant
from handover.weather.scale_doubt import doubt_scale
from handover.weather.series import Origin, utc64

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Sequence
    from datetime import datetime

    from numpy.typing import NDArray

    from handover.weather.location import HasLocation

_NAMES = {
    WeatherQuantity.AIR: "air temperature|temperature|temp|air temp|dry bulb|dry bulb temperature|air",
    WeatherQuantity.DEW_POINT: "dew point|dewpoint|dew point temperature|dewpoint temperature",
    WeatherQuantity.HUMIDITY: "relative humidity|humidity|rh",
    WeatherQuantity.WIND: "wind speed|wind|windspeed",
    WeatherQuantity.CLOUD: "cloud cover|cloudcover|cloud|clouds|cloudiness|sky cover|total sky cover|"
    "total cloud cover",
    WeatherQuantity.SHORTWAVE: "shortwave radiation|shortwave|global shortwave|global radiation|"
    "solar radiation|ghi|"
    "global horizontal irradiance|solar irradiance",
    WeatherQuantity.RAIN: "precipitation|precip|precipitation amount|rain|rainfall",
    WeatherQuantity.RAIN_CHANCE: "precipitation probability|probability of precipitation|chance of rain|pop|"
    "chance of precipitation|rain probability",
}
_EITHER = {
    WeatherQuantity.DEW_POINT: WeatherQuantity.HUMIDITY,
    WeatherQuantity.HUMIDITY: WeatherQuantity.DEW_POINT,
    WeatherQuantity.CLOUD: WeatherQuantity.SHORTWAVE,
    WeatherQuantity.SHORTWAVE: WeatherQuantity.CLOUD,
}
"""The quantity that does instead of another."""
_QUANTITY = {name: quantity for quantity, names in _NAMES.items() for name in names.split("|")}
_TIME_NAMES = {"time", "datetime", "timestamp", "date", "valid time", "date time", "observation time"}
_CLOCK_WORDS: dict[str, Clock] = {"utc": "utc", "gmt": "utc", "local": "local"}
_ORIGINS = {origin.name.lower(): origin for origin in Origin}
_HEIGHT = re.compile(r"(\d{1,3}(?:\.\d)?)m")
_BRACKETS = re.compile(r"(.*?)[\[(]([^\])]*)[\])]\s*")
_ROUGHNESS_M = general_rules()["forecast.roughness"]
_MOST_ROWS = 200_000
_MOST_FINDINGS = 20
_MOST_NAMES = 8  # of columns that are not read, in one finding
_EXAMPLE = (
    "time_utc,air_temperature_c,relative_humidity_percent,wind_speed_kmh,cloud_cover_percent,precipitation_mm"
)


@dataclass(frozen=True)
class _Heading:
    """What the heading of a column says; ``unit`` is None where it names none that is known."""

    title: str
    at: int
    quantity: WeatherQuantity
    unit: Unit | None
    unit_text: str
    height_m: float | None


class _FaultList:
    """The faults and cautions of a table; past a limit, only the number of the faults."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.findings: list[Finding] = []
        self.cautions: list[Finding] = []
        self.dropped = 0

    def add(
        self,
        problem: str,
        *,
        line: int | None = None,
        field: str | None = None,
        expected: str | None = None,
        example: str | None = None,
    ) -> None:
        if len(self.findings) >= _MOST_FINDINGS:
            self.dropped += 1
            return
        self.findings.append(Finding(problem, self.file, line, field, expected, example))

    def add_finding(self, finding: Finding) -> None:
        """Add a finding without a file; cautions are not limited in number."""
        if finding.severity == "fault":
            self.add(
                finding.problem,
                line=finding.line,
                field=finding.field,
                expected=finding.expected,
                example=finding.example,
            )
        else:
            self.findings.append(replace(finding, file=self.file))

    def add_unread(self, titles: Sequence[str], line: int, read: Collection[WeatherQuantity]) -> None:
        """Add the caution for columns of names that are not known: one finding for all of them.

        Args:
            titles: Their names.
            line: The line of the heading.
            read: What the other columns are of; only what is still lacking is expected of these.
        """
        named = ", ".join(repr(title) for title in titles[:_MOST_NAMES])
        more = f" and {len(titles) - _MOST_NAMES} more" if len(titles) > _MOST_NAMES else ""
        verb = "column is" if len(titles) == 1 else "columns are"
        lacking = [
            names.split("|")[0]
            for quantity, names in _NAMES.items()
            if not ({quantity, _EITHER.get(quantity)} & set(read))
        ]
        expected = f"{' or '.join(lacking)} under this name, with the unit" if lacking else None
        self.cautions.append(
            Finding(f"{verb} not read: {named}{more}", self.file, line, expected=expected, severity="caution")
        )

    def all(self) -> list[Finding]:
        """Return the cautions and the faults."""
        found = [*self.cautions, *self.findings]
        if not self.dropped:
            return found
        return [*found, Finding(f"and {self.dropped} more faults like these", file=self.file)]


def read_table(
    text: str, file: str, site: HasLocation | None = None
) -> tuple[RawWeather | None, list[Finding]]:
    """Return the columns of a table, with what is wrong in it.

    Args:
        text: The file.
        file: Its name, for the findings.
        site: Place of the slab: its clock is that of times without an offset, and its climate shows a
            temperature in the wrong unit.
    """
    faults = _FaultList(file)
    table = read_rows(text, _MOST_ROWS)
    about, rows = _read_preamble(table.preamble), list(table.rows)
    if table.size > _MOST_ROWS:
        faults.add(f"{table.size} rows", expected=f"the weeks around the pour, at most {_MOST_ROWS} rows")
    if table.fault is not None:
        faults.add(f"not a table: {table.fault}", line=table.fault_line)
    if len(rows) < 2:  # noqa: PLR2004 - a heading and one row
        faults.add(
            "is not a table: it needs a heading and rows", expected="a line of column names", example=_EXAMPLE
        )
        return None, faults.all()
    titles = [cell.strip() for cell in rows[0].cells]
    time_at, clock = _time_column(titles)
    if time_at is None:
        faults.add(
            "no column of times",
            line=rows[0].line,
            expected="a column time_utc, or time with offsets",
            example=_EXAMPLE,
        )
        return None, faults.all()
    headings, unread = _headings(titles, rows[0].line, faults)
    rows = _whole_rows(rows[1:], len(titles), faults)
    times = read_times(rows, time_at, titles[time_at], clock=clock, zone=_zone_of(site))
    for each in times.findings:
        faults.add_finding(each)
    moments = times.moments
    kept = [(moment, row) for moment, row in zip(moments, rows, strict=True) if moment is not None]
    if not kept:
        return None, faults.all()
    instants = np.array([utc64(moment) for moment, _ in kept], dtype="datetime64[s]")
    columns = {each.quantity: _column(each, kept, instants, table.decimal, faults) for each in headings}
    origin = _origins(titles, kept, instants, faults)
    for heading in headings:
        if site is not None and heading.quantity is WeatherQuantity.AIR:
            for each in doubt_scale(columns[heading.quantity], heading.title, rows[0].line - 1, site):
                faults.add_finding(each)
    raw = RawWeather(
        columns=columns,
        source=short_line(about.get("source", "table of weather")),
        issued_at=_issued_at(about, _zone_of(site), faults),
        latitude=_about_number(about, "latitude", 90, faults),
        longitude=_about_number(about, "longitude", 180, faults),
        elevation_m=_about_number(about, "elevation_m", 9000, faults),
        origin=origin,
        methods=(*_methods(headings, titles, time_at), *([times.method] if times.method else [])),
        unread=unread,
    )
    return raw, faults.all()


def _zone_of(site: HasLocation | None) -> ZoneInfo | None:
    return None if site is None or not site.timezone else ZoneInfo(site.timezone)


def _read_preamble(lines: Iterable[str]) -> dict[str, str]:
    """Return what the lines before the heading say, by key."""
    pairs = (line.lstrip("# ").partition(":") for line in lines)
    return {key.strip().lower(): value.strip() for key, _, value in pairs}


def _time_column(titles: list[str]) -> tuple[int | None, Clock | None]:
    """Return the column of the times, and what its heading says of them; one in UTC before others."""
    found: list[tuple[int, Clock | None]] = []
    for at, title in enumerate(titles):
        if _is_time(title):
            words = heading_words(title)
            clock: Clock | None = next((_CLOCK_WORDS[each] for each in words if each in _CLOCK_WORDS), None)
            found.append((at, clock))
    found.sort(key=lambda each: each[1] != "utc")
    return found[0] if found else (None, None)


def _is_time(title: str) -> bool:
    return " ".join(word for word in heading_words(title) if word not in _CLOCK_WORDS) in _TIME_NAMES


def _headings(
    titles: list[str], line: int, faults: _FaultList
) -> tuple[list[_Heading], frozenset[WeatherQuantity]]:
    """Return the columns that can be read, and the quantities whose columns cannot."""
    understood = [heading for at, title in enumerate(titles) if (heading := _heading(title, at))]
    readable: dict[WeatherQuantity, _Heading] = {}
    for heading in understood:
        if heading.unit is None:
            continue
        first = readable.setdefault(heading.quantity, heading)
        if first is not heading:
            faults.add(
                f"two columns of {QUANTITY_LIMITS[heading.quantity].title}: {short_line(first.title)!r} "
                f"and {short_line(heading.title)!r}",
                line=line,
                expected="one",
            )
    unread = {heading.quantity: heading for heading in understood if heading.quantity not in readable}
    for heading in unread.values():
        named = (
            f"unit {short_line(heading.unit_text)!r} is not known" if heading.unit_text else "names no unit"
        )
        faults.add(
            named,
            line=line,
            field=short_line(heading.title),
            expected=f"{accepted_units(heading.quantity)}, at the end of the name or in brackets",
            example=QUANTITY_LIMITS[heading.quantity].example,
        )
    known = {heading.at for heading in understood if heading.unit or heading.quantity in unread}
    others = [
        short_line(title)
        for at, title in enumerate(titles)
        if title and at not in known and title.lower() != "origin" and not _is_time(title)
    ]
    if others:
        faults.add_unread(others, line, {*readable, *unread})
    return list(readable.values()), frozenset(unread)


def _heading(title: str, at: int) -> _Heading | None:
    """Return what a heading says, or None where it is of nothing we use.

    The longest known name that leaves a known unit wins: "air_temperature_deg_f" is air temperature in degF.
    """
    bracketed = _BRACKETS.fullmatch(title)
    name_part, unit_part = bracketed.groups() if bracketed else (title, None)
    heights = [float(match[1]) for word in heading_words(name_part) if (match := _HEIGHT.fullmatch(word))]
    words = [word for word in heading_words(name_part) if not _HEIGHT.fullmatch(word) and word != "at"]
    height = heights[0] if heights else None
    splits = [len(words)] if unit_part is not None else range(len(words), 0, -1)
    nearly: _Heading | None = None
    for split in splits:
        quantity = _QUANTITY.get(" ".join(words[:split]))
        if quantity is None:
            continue
        unit_text = unit_part if unit_part is not None else " ".join(words[split:])
        heading = _Heading(title, at, quantity, find_unit(quantity, unit_text), unit_text.strip(), height)
        if heading.unit is not None:
            return heading
        if nearly is None and len(words) - split <= 1:
            nearly = heading
    return nearly


def _whole_rows(rows: Sequence[Row], width: int, faults: _FaultList) -> list[Row]:
    """Return the rows that have a cell for every heading; the others are faults."""
    whole = []
    for row in rows:
        cells = row.cells
        while len(cells) > width and not cells[-1].strip():
            cells = cells[:-1]
        if len(cells) == width:
            whole.append(Row(row.line, cells))
        else:
            faults.add(f"{len(cells)} cells under {width} headings", line=row.line, expected=f"{width} cells")
    return whole


def _column(
    heading: _Heading,
    kept: list[tuple[datetime, Row]],
    instants: NDArray[np.datetime64],
    decimal: str,
    faults: _FaultList,
) -> RawColumn:
    """Return one column in SI, wind at 10 m; `instants` are those of its rows, UTC."""
    cells = [_number(row, heading, decimal, faults) for _, row in kept]
    assert heading.unit is not None  # noqa: S101 - only readable headings come here
    value = heading.unit.to_si(np.array(cells, dtype=np.float64))
    if heading.quantity is WeatherQuantity.WIND:
        value = value * _to_10_m(heading.height_m)
    line = np.array([row.line for _, row in kept], dtype=np.int64)
    return RawColumn(instants.copy(), value, short_line(heading.title), line)


def _number(row: Row, heading: _Heading, decimal: str, faults: _FaultList) -> float:
    """Return the number in a cell; NaN for an empty one, and for a faulty one, which is noted."""
    text = row.cells[heading.at].strip()
    if (number := parse_cell(text, decimal)) is not None:
        return number
    faults.add(
        f"{short_line(text)!r} is not a number",
        line=row.line,
        field=short_line(heading.title),
        expected="a number, or an empty cell",
    )
    return np.nan


def _to_10_m(height_m: float | None) -> float:
    """Return the factor that brings wind from a height to 10 m.

    Source:
        Logarithmic profile over open country, roughness 0.03 m. Common practice.
    """
    if height_m is None or height_m <= 10 * _ROUGHNESS_M:
        return 1.0
    return log(10 / _ROUGHNESS_M) / log(height_m / _ROUGHNESS_M)


def _origins(
    titles: list[str],
    kept: list[tuple[datetime, Row]],
    instants: NDArray[np.datetime64],
    faults: _FaultList,
) -> dict[np.datetime64, Origin] | None:
    """Return the origin of each row's values, or None where no column names it."""
    at = next((at for at, title in enumerate(titles) if title.lower() == "origin"), None)
    if at is None:
        return None
    origins: dict[np.datetime64, Origin] = {}
    for instant, (_, row) in zip(instants, kept, strict=True):
        origin = _ORIGINS.get(row.cells[at].strip().lower())
        if origin is None:
            faults.add(
                f"{short_line(row.cells[at])!r} is not an origin",
                line=row.line,
                field="origin",
                expected=", ".join(_ORIGINS),
            )
        else:
            origins[instant] = max(origin, origins.get(instant, origin))
    return origins


def _issued_at(about: dict[str, str], zone: ZoneInfo | None, faults: _FaultList) -> datetime | None:
    text = about.get("issued_at")
    if text is None:
        return None
    moment = parse_instant(text)
    if moment is not None and moment.tzinfo is None and zone is not None:
        instant = local_instant(moment, zone)
        moment = None if isinstance(instant, Finding) else instant
    if moment is None or moment.tzinfo is None:
        faults.add(
            f"{short_line(text)!r} is not a time with its offset",
            field="issued_at",
            expected="the year first, and the offset from UTC",
            example="2026-07-14T05:00:00Z",
        )
        return None
    return moment


def _about_number(about: dict[str, str], key: str, most: float, faults: _FaultList) -> float | None:
    text = about.get(key)
    if text is None:
        return None
    number = parse_cell(text)
    if number is None or not abs(number) <= most:
        faults.add(
            f"{short_line(text)!r} cannot be the {key}", field=key, expected=f"a number, -{most} to {most}"
        )
        return None
    return number


def _methods(headings: list[_Heading], titles: list[str], time_at: int) -> Iterator[str]:
    """Yield how the wind is used, and which columns are not."""
    wind = next((heading for heading in headings if heading.quantity is WeatherQuantity.WIND), None)
    if wind is not None and wind.height_m is None:
        yield "Wind is taken as measured at 10 m: the heading names no height."
    elif wind is not None and wind.height_m != 10:  # noqa: PLR2004 - the height of reference
        yield (
            f"Wind brought from {wind.height_m:g} m to 10 m by the logarithmic profile over open country "
            f"(roughness {_ROUGHNESS_M} m)."
        )
    used = {time_at, *(heading.at for heading in headings)}
    unused = [
        short_line(title) for at, title in enumerate(titles) if at not in used and title.lower() != "origin"
    ]
    if unused:
        yield f"Columns not used: {', '.join(unused)}."
