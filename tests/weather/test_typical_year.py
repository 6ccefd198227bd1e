"""Typical years: facts of two real files, the calendar, and what is missing in them."""

from __future__ import annotations

import hashlib
import warnings
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pvlib
import pytest

from handover.base.arrays import ONE_HOUR
from handover.weather import Location, Origin, WeatherSeries, examine_weather, read_weather

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.weather.reading import ExaminedWeather

DATA = Path(pvlib.__file__).parent / "data"
GREENSBORO = DATA / "723170TYA.CSV"
SAND_POINT = DATA / "703165TY.csv"
SHA256 = {
    GREENSBORO: "1e96f84638ce98e6b29002bc45a27aa69bb29b0ed0368d3b52b7b1f81610c6c9",
    SAND_POINT: "f0333a68a116f5ae92f1285a2ab8784d8e00e52a367445658ac88d72d93d8ca4",
}


def whole_year(path: Path, year: int, zone_h: int) -> WeatherSeries:
    series = read_weather(path, site=Location(36.1, -79.95, "America/New_York"), year=year)
    zone = timedelta(hours=zone_h)
    first = datetime(year, 1, 1, 1, tzinfo=UTC) - zone  # the first hour ends at 01:00 local standard time
    return series.window(first, first + timedelta(hours=8759))


@pytest.mark.parametrize(
    ("path", "zone_h", "mean_c", "low_c", "high_c", "humidity", "wind", "most_wind", "sun_kwh"),
    [
        # Facts of the files, computed from their columns alone, without code of ours; tolerances are their
        # last digits.
        (SAND_POINT, -9, 4.421, -10.6, 19.4, 73.49, 5.072, 23.7, 829.2),
        (GREENSBORO, -5, 14.422, -16.7, 35.6, 69.52, 3.054, 15.4, 1566.2),
    ],
)
def test_facts_of_the_files(
    path: Path,
    zone_h: int,
    mean_c: float,
    low_c: float,
    high_c: float,
    humidity: float,
    wind: float,
    most_wind: float,
    sun_kwh: float,
) -> None:
    assert hashlib.sha256(path.read_bytes()).hexdigest() == SHA256[path], "pvlib carries another file now"
    series = whole_year(path, 2026, zone_h)
    assert len(series) == 8760
    assert series.air_c.mean() == pytest.approx(mean_c, abs=0.001)
    assert series.air_c.min() == low_c
    assert series.air_c.max() == high_c
    assert series.relative_humidity.mean() * 100 == pytest.approx(humidity, abs=0.01)
    assert series.wind_ms.mean() == pytest.approx(wind, abs=0.001)
    assert series.wind_ms.max() == most_wind
    assert series.shortwave_wm2.sum() / 1000 == pytest.approx(sun_kwh, abs=0.1)
    assert (series.origin == Origin.TYPICAL).all()


@pytest.mark.parametrize(
    ("path", "zone_h", "july_c", "july_wind"),
    [(SAND_POINT, -9, 11.807, 3.140), (GREENSBORO, -5, 25.433, 2.616)],
)
def test_facts_of_july(path: Path, zone_h: int, july_c: float, july_wind: float) -> None:
    series = whole_year(path, 2026, zone_h)
    local = series.time + np.timedelta64(zone_h, "h") - np.timedelta64(1, "s")  # 24:00 belongs to its day
    july = local.astype("datetime64[M]") == np.datetime64("2026-07")
    assert july.sum() == 744
    assert series.air_c[july].mean() == pytest.approx(july_c, abs=0.001)
    assert series.wind_ms[july].mean() == pytest.approx(july_wind, abs=0.001)


@pytest.mark.parametrize("year", [2026, 2028])
def test_a_row_of_the_file_is_at_its_local_standard_hour(year: int) -> None:
    """07/14, 15:00 in the file is 20:00 UTC in a zone five hours west, in any year."""
    rows = [line.split(",") for line in GREENSBORO.read_text().splitlines()[2:]]
    (row,) = [row for row in rows if row[0].startswith("07/14") and row[1] == "15:00"]
    series = whole_year(GREENSBORO, year, -5)
    at = int(np.flatnonzero(series.time == np.datetime64(f"{year}-07-14T20:00:00"))[0])
    assert series.air_c[at] == float(row[31])
    assert series.shortwave_wm2[at] == float(row[4])
    assert series.wind_ms[at] == float(row[46])
    assert series.cloud[at] == pytest.approx(float(row[25]) / 10)


def test_december_goes_on_into_january() -> None:
    series = read_weather(GREENSBORO, site=Location(36.1, -79.95), year=2026)
    assert np.all(np.diff(series.time) == ONE_HOUR)
    assert series.covers(datetime(2026, 1, 1, tzinfo=UTC), datetime(2027, 3, 31, tzinfo=UTC))
    january = np.datetime64("2026-01-05T12:00:00"), np.datetime64("2027-01-05T12:00:00")
    first, again = (int(np.flatnonzero(series.time == each)[0]) for each in january)
    np.testing.assert_array_equal(series.air_c[first : first + 500], series.air_c[again : again + 500])


def test_the_28th_of_february_comes_twice_in_a_leap_year() -> None:
    series = read_weather(GREENSBORO, site=Location(36.1, -79.95), year=2028)
    assert np.all(np.diff(series.time) == ONE_HOUR)
    day = int(np.flatnonzero(series.time == np.datetime64("2028-02-28T06:00:00"))[0])
    np.testing.assert_array_equal(series.air_c[day : day + 24], series.air_c[day + 24 : day + 48])
    plain = read_weather(GREENSBORO, site=Location(36.1, -79.95), year=2027)
    march = [
        int(np.flatnonzero(each.time == np.datetime64(f"{y}-03-01T06:00:00"))[0])
        for each, y in ((series, 2028), (plain, 2027))
    ]
    np.testing.assert_array_equal(series.air_c[march[0] :][:24], plain.air_c[march[1] :][:24])


def test_precipitation_is_a_year_of_north_carolina() -> None:
    """About 45 in a year falls at Greensboro; a typical year may hold half to twice of it. No source."""
    fallen_mm = whole_year(GREENSBORO, 2026, -5).precipitation_mm.sum()
    assert 570 < fallen_mm < 2300


def test_distinguished_by_content(tmp_path: Path) -> None:
    misnamed = tmp_path / "forecast.json"
    misnamed.write_bytes(GREENSBORO.read_bytes())
    series, findings = examine_weather(misnamed, Location(36.1, -79.95), 2026)
    assert findings == ()
    assert series.source == "Typical year (TMY3), GREENSBORO PIEDMONT TRIAD INT"
    assert (series.latitude, series.longitude) == (36.1, -79.95)


def test_a_typical_year_needs_a_year(examine: Callable[..., ExaminedWeather]) -> None:
    series, (finding,) = examine(GREENSBORO.read_bytes())
    assert series is None
    assert "no calendar year of its own" in finding.problem


def test_a_cut_file_is_a_fault(faults: Callable[..., list[str]]) -> None:
    data = GREENSBORO.read_bytes()
    cut = data[: len(data) // 2]
    assert faults(cut[: cut.rindex(b"\n")], year=2026)
    assert faults(data[:3000], year=2026)


def test_a_column_of_numbers_and_words_is_a_fault(faults: Callable[..., list[str]]) -> None:
    """Seen: a warning of the library that reads the table, before the fault."""
    lines = GREENSBORO.read_text().splitlines()
    cells = lines[-1].split(",")
    lines[-1] = ",".join([*cells[:31], "warm", *cells[32:]])
    with warnings.catch_warnings(record=True) as seen:
        warnings.simplefilter("always")
        assert faults("\n".join(lines), year=2026)
    assert seen == []


def test_gaps_in_a_typical_year_are_named(faults: Callable[..., list[str]]) -> None:
    lines = GREENSBORO.read_text().splitlines()
    del lines[2 + 31 * 24 : 2 + 31 * 24 + 5]  # the first five hours of February
    problems = faults("\n".join(lines), year=2026)
    assert any(
        "5 hours are missing, from 2026-02-01 06:00 UTC to 2026-02-01 10:00 UTC" in each for each in problems
    )


def epw(latitude: float = 36.1, *, sky: str = "5", depth: str = "0.0") -> str:
    """Return an EPW year: air is the month, wind the hour of the day over ten, sun 300 W/m2 at noon."""
    head = [
        f"LOCATION,Invented,NC,USA,TMY3,000000,{latitude},-79.95,-5.0,273.0",
        "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0",
        "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1,invented",
        "COMMENTS 2,invented",
        "DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31",
    ]
    day = datetime(2001, 1, 1, tzinfo=UTC)
    rows = []
    for hour in range(8760):
        start = day + timedelta(hours=hour)
        sun = 300 if start.hour == 12 else 0
        values = [
            start.month,
            0.0,
            60,
            98000,
            0,
            0,
            300,
            sun,
            0,
            0,
            0,
            0,
            0,
            0,
            180,
            start.hour / 10,
            sky,
            sky,
        ]
        rest = [9999, 99999, 9, 999999999, 0, 0.1, 0, 88, 0.2, depth, 1.0]
        rows.append(
            ",".join(map(str, [1990, start.month, start.day, start.hour + 1, 60, "?9", *values, *rest]))
        )
    return "\n".join([*head, *rows]) + "\n"


def test_epw(examine: Callable[..., ExaminedWeather]) -> None:
    series, findings = examine(epw(depth="1.5"), year=2026)
    assert findings == ()
    assert series.source == "Typical year (EPW), Invented"
    assert np.all(np.diff(series.time) == ONE_HOUR)
    at = int(np.flatnonzero(series.time == np.datetime64("2026-07-14T18:00:00"))[0])  # 13:00 local standard
    assert series.air_c[at] == 7
    assert series.shortwave_wm2[at] == 300  # of the hour from noon to 13:00
    assert series.shortwave_wm2[at + 1] == 0
    assert series.wind_ms[at] == pytest.approx(1.2)
    assert series.cloud[at] == pytest.approx(0.5)
    assert series.precipitation_mm[at] == 1.5
    assert (series.latitude, series.longitude) == (36.1, -79.95)


def test_missing_cloud_in_epw_is_computed_from_the_sun(examine: Callable[..., ExaminedWeather]) -> None:
    series, _ = examine(epw(sky="99"), year=2026)
    assert any(sentence.startswith("Cloud of all hours from sunshine") for sentence in series.methods)
    assert ((series.cloud >= 0) & (series.cloud <= 1)).all()
