"""Gaps, doubled hours, limits: what is filled, reported and refused."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.base.arrays import ONE_HOUR

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.weather import WeatherSeries
    from handover.weather.reading import ExaminedWeather


def without(document: Any, *hours: Any, column: str | None = None) -> dict[str, Any]:
    """Blank hours of one column, or take whole rows out."""
    hourly = document["hourly"]
    for name in [column] if column else list(hourly):
        if column:
            hourly[name] = [None if at in hours else value for at, value in enumerate(hourly[name])]
        else:
            hourly[name] = [value for at, value in enumerate(hourly[name]) if at not in hours]
    return document


def test_one_hour_is_interpolated_and_reported(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    series = sound(without(files.open_meteo(), 7, column="temperature_2m"))
    assert series.air_c[7] == pytest.approx(20.7)  # between 20.6 and 20.8
    assert series.methods == (
        "Air temperature at 2026-07-14 07:00 UTC interpolated between the hours beside it.",
    )


def test_a_missing_row_is_interpolated_in_every_column(
    files: Any, sound: Callable[..., WeatherSeries]
) -> None:
    series = sound(without(files.open_meteo(), 7))
    assert np.all(np.diff(series.time) == ONE_HOUR)
    assert len(series) == 48
    assert series.air_c[7] == pytest.approx(20.7)
    assert series.shortwave_wm2[7] == pytest.approx(107)
    assert len(series.methods) == 6


def test_two_hours_are_a_fault_that_names_them(files: Any, faults: Callable[..., list[str]]) -> None:
    (fault,) = faults(without(files.open_meteo(), 7, 8, column="wind_speed_10m"))
    assert "2 hours are missing, from 2026-07-14 07:00 UTC to 2026-07-14 08:00 UTC: wind speed" in fault
    assert "hourly.wind_speed_10m" in fault


def test_missing_rows_are_one_finding_with_all_columns(files: Any, faults: Callable[..., list[str]]) -> None:
    (fault,) = faults(without(files.open_meteo(), *range(10, 20)))
    assert "10 hours are missing, from 2026-07-14 10:00 UTC to 2026-07-14 19:00 UTC" in fault
    for title in ("air temperature", "relative humidity", "wind speed", "cloud cover", "precipitation"):
        assert title in fault


def test_every_gap_is_reported(files: Any, faults: Callable[..., list[str]]) -> None:
    document = without(files.open_meteo(), 5, 6, column="temperature_2m")
    problems = faults(without(document, 30, 31, 32, column="precipitation"))
    assert len(problems) == 2
    assert "07-15 06:00" in problems[1]


def test_the_series_ends_where_the_shortest_column_ends(
    files: Any, examine: Callable[..., ExaminedWeather]
) -> None:
    series, findings = examine(without(files.open_meteo(), *range(40, 48), column="relative_humidity_2m"))
    assert len(series) == 40
    assert [finding.severity for finding in findings] == ["caution"]
    assert "humidity ends at 2026-07-15 11:00 EDT" in findings[0].problem


def test_missing_probability_is_no_gap(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    series = sound(without(files.open_meteo(), 7, 8, 9, column="precipitation_probability"))
    assert np.isnan(series.precipitation_probability[7:10]).all()
    assert series.precipitation_probability[10] == 0.25


def test_doubled_hours_that_agree_are_one(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    document = files.open_meteo()
    for values in document["hourly"].values():
        values.append(values[3])
    assert len(sound(document)) == 48


def test_doubled_hours_that_disagree_are_a_fault(files: Any, faults: Callable[..., list[str]]) -> None:
    document = files.open_meteo()
    for values in document["hourly"].values():
        values.append(values[3])
    document["hourly"]["temperature_2m"][-1] = 35.0
    (fault,) = faults(document)
    assert "two values of air temperature for 2026-07-14 03:00 UTC: 20.3 and 35" in fault


@pytest.mark.parametrize(
    ("column", "value", "word"),
    [
        ("temperature_2m", 71, "air temperature of 71 degC at 2026-07-14 05:00 UTC is not possible"),
        ("temperature_2m", -61, "-60 to 60 degC"),
        ("relative_humidity_2m", 106, "relative humidity of 1.06"),
        ("relative_humidity_2m", -1, "relative humidity"),
        ("wind_speed_10m", 300, "wind speed of 83.3333 m/s"),
        ("wind_speed_10m", -1, "wind speed"),
        ("shortwave_radiation", -50, "shortwave radiation of -50"),
        ("shortwave_radiation", 1600, "shortwave radiation of 1600"),
        ("cloud_cover", 150, "cloud cover of 1.5"),
        ("precipitation", 500, "precipitation of 500"),
        ("precipitation", -1, "precipitation of -1"),
        ("precipitation_probability", 120, "precipitation probability"),
        ("temperature_2m", 10**400, "air temperature of inf"),
    ],
)
def test_beyond_belief(
    files: Any, faults: Callable[..., list[str]], column: str, value: Any, word: str
) -> None:
    document = files.open_meteo()
    document["hourly"][column][5] = value
    problems = faults(document)
    assert len(problems) == 1
    assert word in problems[0]
    assert f"hourly.{column}" in problems[0]


def test_small_overshoots_are_clipped(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    document = files.open_meteo()
    document["hourly"]["shortwave_radiation"][0] = -3
    document["hourly"]["relative_humidity_2m"][0] = 103
    series = sound(document)
    assert series.shortwave_wm2[0] == 0
    assert series.relative_humidity[0] == 1


def test_wild_values_of_a_column_are_one_finding(files: Any, faults: Callable[..., list[str]]) -> None:
    document = files.open_meteo()
    document["hourly_units"]["temperature_2m"] = "°C"
    document["hourly"]["temperature_2m"] = [77.0] * 48
    (fault,) = faults(document)
    assert "(and in 47 more hours)" in fault


def test_hours_that_run_for_centuries(files: Any, faults: Callable[..., list[str]]) -> None:
    text = files.table(hours=3).replace("2026-07-14T02", "2126-07-14T02")
    assert any("at most three years" in fault for fault in faults(text))


def test_columns_that_never_meet(files: Any, faults: Callable[..., list[str]]) -> None:
    document = without(files.open_meteo(), *range(24), column="temperature_2m")
    (fault,) = faults(without(document, *range(20, 48), column="wind_speed_10m"))
    assert "wind speed ends at 2026-07-14 19:00 UTC, before air temperature begins" in fault
