"""Past years of a place, in the shape that NASA POWER documents; every number is invented."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.weather import Origin
from handover.weather.past_years import PastYears, cut_weeks

if TYPE_CHECKING:
    from collections.abc import Callable

FIRST = np.datetime64("2026-07-10T00:00:00")
HOUR = np.timedelta64(3600, "s")


@pytest.fixture(scope="module")
def past(sound: Callable[..., Any], files: Any) -> PastYears:
    series = sound(files.power(), year=2026)
    assert isinstance(series, PastYears)
    return series


def test_every_year_is_moved_into_that_of_the_pour(past: PastYears) -> None:
    """1 January onto 1 January: of a leap year, the hours of July come a day later."""
    assert len(past.years) == 8
    for series in past.years:
        assert np.array_equal(series.time, past.time)
    assert abs(past.time[0] - FIRST) <= 25 * HOUR
    assert abs(past.time[-1] - FIRST) >= (40 * 24 - 26) * HOUR
    assert (past.origin == Origin.TYPICAL).all()


def test_each_year_has_its_own_hours(past: PastYears) -> None:
    """2015 is no leap year: its hours are on their dates."""
    since = (past.years[0].time - FIRST) / HOUR
    assert past.years[0].air_c == pytest.approx(15 + since / 100)
    assert past.years[1].air_c == pytest.approx(16 + (since - 24) / 100)  # 2016


def test_the_mean_is_that_of_the_years(past: PastYears) -> None:
    assert past.air_c == pytest.approx(np.mean([each.air_c for each in past.years], axis=0))
    assert past.relative_humidity == pytest.approx(0.5)
    assert past.cloud == pytest.approx(0.25)
    assert past.wind_ms == pytest.approx(4.0)


def test_sunshine_is_of_the_hour_that_ended(past: PastYears) -> None:
    """The hour that begins at h has h W/m2, so that ended at h has h - 1."""
    since = (past.time - FIRST) / HOUR
    assert past.years[0].shortwave_wm2 == pytest.approx(since - 1)


def test_the_source_is_named(past: PastYears) -> None:
    assert past.source == "8 past years at the place, 2015 to 2022: NASA POWER (An invented title)"
    assert (past.latitude, past.longitude) == (36.0, -80.0)


def test_a_year_with_a_gap_is_left_out(sound: Callable[..., Any], files: Any) -> None:
    document = files.power()
    for hour in range(10):
        document["properties"]["parameter"]["T2M"][f"20180715{hour:02d}"] = -999.0
    assert "7 past years" in sound(document, year=2026).source


def test_a_year_that_ends_early_is_left_out(sound: Callable[..., Any], files: Any) -> None:
    document = files.power()
    for column in document["properties"]["parameter"].values():
        for name in [each for each in column if each >= "20220801"]:
            del column[name]
    assert "7 past years" in sound(document, year=2026).source


def test_few_years_are_refused(faults: Callable[..., list[str]], files: Any) -> None:
    (fault,) = faults(files.power(range(2018, 2022)), year=2026)
    assert "4 past years" in fault
    assert "at least 5" in fault


def test_cloud_that_a_service_does_not_have_comes_from_sunshine(
    sound: Callable[..., Any], files: Any
) -> None:
    document = files.power()
    document["properties"]["parameter"]["CLOUD_AMT"] = dict.fromkeys(
        document["properties"]["parameter"]["T2M"], -999.0
    )
    series = sound(document, year=2026)
    assert series.cloud.min() >= 0
    assert series.cloud.max() <= 1


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda d: d["parameters"]["T2M"].update(units="furlong"), "furlong"),
        (lambda d: d["properties"]["parameter"]["T2M"].update({"July": 1.0}), "YYYYMMDDHH"),
        (lambda d: d["properties"]["parameter"]["T2M"].update({"2015990100": 1.0}), "YYYYMMDDHH"),
        (lambda d: d["properties"]["parameter"]["RH2M"].update({"2015071000": "damp"}), "not a number"),
    ],
)
def test_what_cannot_be_read_is_said(
    faults: Callable[..., list[str]], files: Any, change: Callable[[Any], None], words: str
) -> None:
    document = files.power()
    change(document)
    assert any(words in fault for fault in faults(document, year=2026))


def test_whole_years_are_cut_into_the_weeks_of_a_job(sound: Callable[..., Any], files: Any) -> None:
    whole = json.dumps(files.power(days=100)).encode()
    start, end = datetime(2026, 7, 20, tzinfo=UTC), datetime(2026, 8, 10, tzinfo=UTC)
    weeks = cut_weeks(whole, start, end)
    assert len(weeks) < len(whole) / 3
    cut, all_ = (sound(json.loads(each), year=2026) for each in (weeks, whole))
    assert cut.covers(start.replace(day=22), end.replace(day=8))
    same = all_.window(cut.time[0], cut.time[-1])
    assert cut.air_c == pytest.approx(same.air_c)
    assert len(cut.years) == 8


def test_the_weeks_of_the_archive_of_open_meteo(sound: Callable[..., Any], files: Any) -> None:
    """Eight whole years by the hour; the weeks about New Year are of two calendar years."""
    time = np.arange("2015-01-01T00", "2023-01-01T00", dtype="datetime64[h]")
    document = files.open_meteo(1)
    columns = {
        "temperature_2m": 5.0,
        "relative_humidity_2m": 70.0,
        "precipitation": 0.0,
        "cloud_cover": 50.0,
        "wind_speed_10m": 18.0,
        "shortwave_radiation": 10.0,
    }
    document["hourly"] = {"time": [f"{each}:00" for each in time.astype(str)]} | {
        name: [value] * len(time) for name, value in columns.items()
    }
    start, end = datetime(2026, 12, 20, tzinfo=UTC), datetime(2027, 1, 20, tzinfo=UTC)
    weeks = json.loads(cut_weeks(json.dumps(document).encode(), start, end))
    series = sound(weeks, year=2026)
    assert len(series.years) == 7
    assert series.covers(start.replace(day=22), end.replace(day=18))
