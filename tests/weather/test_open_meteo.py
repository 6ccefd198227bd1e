"""Open-Meteo hourly answers: units, times, nulls."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.base.arrays import ONE_HOUR
from handover.weather import Location, Origin, WeatherSeries, examine_weather

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def test_columns_in_si(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    series = sound(files.open_meteo())
    assert len(series) == 48
    assert series.first_hour == files.start
    assert np.all(np.diff(series.time) == ONE_HOUR)
    # 18 km/h is 5 m/s; 60 %, 40 % and 25 % are shares.
    np.testing.assert_allclose(series.air_c, 20 + np.arange(48) / 10)
    np.testing.assert_allclose(series.wind_ms, 5.0)
    np.testing.assert_allclose(series.relative_humidity, 0.60)
    np.testing.assert_allclose(series.cloud, 0.40)
    np.testing.assert_allclose(series.precipitation_probability, 0.25)
    np.testing.assert_allclose(series.shortwave_wm2, 100 + np.arange(48))
    np.testing.assert_allclose(series.precipitation_mm, 0.5)
    assert (series.latitude, series.longitude) == (36.1, -79.95)
    assert series.methods == ()


@pytest.mark.parametrize(
    ("column", "unit", "expected", "attribute", "si"),
    [
        # By the definitions of the units.
        ("temperature_2m", "°F", 77.0, "air_c", 25.0),
        ("wind_speed_10m", "m/s", 3.0, "wind_ms", 3.0),
        ("wind_speed_10m", "mph", 10.0, "wind_ms", 4.4704),
        ("wind_speed_10m", "mp/h", 10.0, "wind_ms", 4.4704),
        ("wind_speed_10m", "kn", 36.0, "wind_ms", 18.52),
        ("precipitation", "inch", 0.1, "precipitation_mm", 2.54),
        ("shortwave_radiation", "W/m^2", 500.0, "shortwave_wm2", 500.0),
    ],
)
def test_every_documented_unit(
    files: Any,
    sound: Callable[..., WeatherSeries],
    column: str,
    unit: Any,
    expected: float,
    attribute: str,
    si: float,
) -> None:
    document = files.open_meteo()
    document["hourly_units"][column] = unit
    document["hourly"][column] = [expected] * 48
    np.testing.assert_allclose(getattr(sound(document), attribute), si, rtol=1e-12)


def test_older_names_of_columns(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    document = files.open_meteo()
    for new, old in (
        ("relative_humidity_2m", "relativehumidity_2m"),
        ("cloud_cover", "cloudcover"),
        ("wind_speed_10m", "windspeed_10m"),
    ):
        document["hourly"][old] = document["hourly"].pop(new)
        document["hourly_units"][old] = document["hourly_units"].pop(new)
    np.testing.assert_allclose(sound(document).wind_ms, 5.0)


@pytest.mark.parametrize("unit", [None, "furlong/fortnight", 7])
def test_a_unit_is_never_assumed(files: Any, faults: Callable[..., list[str]], unit: Any) -> None:
    document = files.open_meteo()
    document["hourly_units"]["wind_speed_10m"] = unit
    (fault,) = faults(document)
    assert "hourly_units.wind_speed_10m" in fault
    assert "m/s, km/h, mph, kn" in fault


def test_unix_times_are_utc_whatever_the_offset(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    document = files.open_meteo(utc_offset_seconds=-14400, timezone="America/New_York")
    seconds = int(files.start.timestamp())
    document["hourly"]["time"] = [seconds + 3600 * h for h in range(48)]
    assert sound(document).first_hour == files.start


def test_local_times_are_read_by_their_offset(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    document = files.open_meteo(utc_offset_seconds=-14400, timezone="America/New_York")
    assert sound(document).first_hour == datetime(2026, 7, 14, 4, tzinfo=UTC)


def test_half_hour_zone_keeps_its_own_hours(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    document = files.open_meteo(utc_offset_seconds=19800, timezone="Asia/Kolkata")
    series = sound(document)
    assert series.first_hour == datetime(2026, 7, 13, 18, 30, tzinfo=UTC)
    assert np.all(np.diff(series.time) == ONE_HOUR)


def across_autumn(files: Any, *, doubled: bool) -> dict[str, Any]:
    """Hours of New York around 2026-11-01, when 01:00 to 02:00 comes twice."""
    document = files.open_meteo(utc_offset_seconds=-14400, timezone="America/New_York")
    hours = [f"2026-{11 if h >= 24 else 10}-{h // 24 or 31:02d}T{h % 24:02d}:00" for h in range(48)]
    if doubled:
        hours = [*hours[:26], hours[25], *hours[26:47]]
    document["hourly"]["time"] = hours
    return document


def test_one_offset_across_the_clock_change_is_read_by_it(
    files: Any, sound: Callable[..., WeatherSeries]
) -> None:
    series = sound(across_autumn(files, doubled=False))
    assert series.first_hour == datetime(2026, 10, 31, 4, tzinfo=UTC)
    assert np.all(np.diff(series.time) == ONE_HOUR)


def test_true_local_times_across_the_clock_change_are_refused(
    files: Any, faults: Callable[..., list[str]]
) -> None:
    (fault,) = faults(across_autumn(files, doubled=True))
    assert "change of the clock" in fault
    assert "timezone=GMT" in fault


def test_naive_times_without_an_offset_are_refused(files: Any, faults: Callable[..., list[str]]) -> None:
    document = files.open_meteo()
    del document["utc_offset_seconds"]
    (fault,) = faults(document)
    assert "utc_offset_seconds" in fault


def test_times_in_two_forms_are_refused(files: Any, faults: Callable[..., list[str]]) -> None:
    document = files.open_meteo()
    document["hourly"]["time"][5] += "Z"
    assert "some have none" in faults(document)[0]


@pytest.mark.parametrize("wrong", ["yesterday", None, "2026-13-01T00:00", ["2026"], {}])
def test_what_is_no_time_is_named(files: Any, faults: Callable[..., list[str]], wrong: Any) -> None:
    document = files.open_meteo()
    document["hourly"]["time"][3] = wrong
    assert "hourly.time[3]" in faults(document)[0]


def test_null_probability_is_not_reported(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    document = files.open_meteo()
    document["hourly"]["precipitation_probability"] = [None] * 48
    assert np.isnan(sound(document).precipitation_probability).all()


def test_null_temperature_is_a_fault(files: Any, faults: Callable[..., list[str]]) -> None:
    document = files.open_meteo()
    document["hourly"]["temperature_2m"] = [None] * 48
    (fault,) = faults(document)
    assert "hourly.temperature_2m" in fault
    assert "no value of air temperature" in fault


def test_all_faults_at_once(files: Any, faults: Callable[..., list[str]]) -> None:
    document = files.open_meteo()
    document["hourly"]["temperature_2m"][0] = "warm"
    document["hourly_units"]["wind_speed_10m"] = "Bft"
    document["hourly"]["cloud_cover"] = [40]
    del document["hourly"]["relative_humidity_2m"]
    problems = "\n".join(faults(document))
    for word in ("'warm' is not a number", "Bft", "not as many values as hours", "no humidity"):
        assert word in problems


def test_order_of_hours_and_columns_changes_nothing(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    document = files.open_meteo()
    hourly = document["hourly"]
    order = np.random.default_rng(1).permutation(48)
    shuffled = {name: [hourly[name][at] for at in order] for name in reversed(list(hourly))}
    one, other = sound(document), sound(document | {"hourly": shuffled})
    assert (one.time == other.time).all()
    for name in ("air_c", "shortwave_wm2", "precipitation_mm", "origin"):
        assert (getattr(one, name) == getattr(other, name)).all()


def test_received_at_is_the_issue_of_an_answer_that_names_none(
    files: Any, sound: Callable[..., WeatherSeries]
) -> None:
    series = sound(files.open_meteo(), received_at=datetime(2026, 7, 14, 10, 30, tzinfo=UTC))
    assert series.issued_at == datetime(2026, 7, 14, 10, 30, tzinfo=UTC)
    assert (series.origin[:11] == Origin.OBSERVED).all()
    assert (series.origin[11:] == Origin.FORECAST).all()


def test_without_an_issue_nothing_counts_as_observed(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    series = sound(files.open_meteo())
    assert series.issued_at is None
    assert (series.origin == Origin.FORECAST).all()


def test_real_shape_of_greensboro(weather_folder: Path, site: Location) -> None:
    """Against the numbers in the file."""
    path = weather_folder / "open-meteo-shape-greensboro-july.json"
    result = json.loads(path.read_text(encoding="utf-8"))["hourly"]
    series, findings = examine_weather(path, site)
    assert findings == ()
    assert len(series) == 384
    assert series.first_hour == datetime(2026, 7, 14, tzinfo=UTC)
    np.testing.assert_allclose(series.air_c, result["temperature_2m"])
    np.testing.assert_allclose(series.wind_ms * 3.6, result["wind_speed_10m"])
    np.testing.assert_allclose(series.relative_humidity * 100, result["relative_humidity_2m"])
    np.testing.assert_allclose(series.shortwave_wm2, result["shortwave_radiation"])
    assert np.isnan(series.precipitation_probability).all()
