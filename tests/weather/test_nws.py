"""National Weather Service raw grids: intervals, units, nulls."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.weather import Location, Origin, WeatherSeries, examine_weather

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from handover.weather.reading import ExaminedWeather


def test_states_hold_and_units_are_read(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    series = sound(files.nws())
    assert series.first_hour == files.start
    assert len(series) == 48
    np.testing.assert_allclose(series.air_c, 25)
    np.testing.assert_allclose(series.wind_ms, 10)  # 36 km/h
    np.testing.assert_allclose(series.relative_humidity, 0.55)
    assert series.issued_at == datetime(2026, 7, 14, 3, 15, tzinfo=UTC)
    assert (series.latitude, series.longitude) == (pytest.approx(36.01), pytest.approx(-79.99))
    assert "RAH/10/20" in series.source


def test_observed_until_its_issue(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    series = sound(files.nws())
    assert (series.origin[:4] == Origin.OBSERVED).all()  # 00 to 03, issued at 03:15
    assert (series.origin[4:] == Origin.FORECAST).all()


def test_wind_in_metres_a_second(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    document = files.nws()
    document["properties"]["windSpeed"]["uom"] = "wmoUnit:m_s-1"
    np.testing.assert_allclose(sound(document).wind_ms, 36)


def test_an_interval_holds_from_its_start_until_before_its_end(
    files: Any, sound: Callable[..., WeatherSeries]
) -> None:
    document = files.nws()
    document["properties"]["temperature"]["values"] = [
        {"validTime": "2026-07-14T00:00:00+00:00/P1DT6H", "value": 10},
        {"validTime": "2026-07-15T06:00:00+00:00/PT18H", "value": 30},
    ]
    air = sound(document).air_c
    np.testing.assert_allclose(air[:30], 10)
    np.testing.assert_allclose(air[30:], 30)


def test_an_amount_is_spread_over_the_hours_that_end_in_its_interval(
    files: Any, sound: Callable[..., WeatherSeries]
) -> None:
    document = files.nws()
    document["properties"]["quantitativePrecipitation"]["values"] = [
        {"validTime": "2026-07-14T00:00:00+00:00/PT6H", "value": 12},
        {"validTime": "2026-07-14T06:00:00+00:00/P1DT18H", "value": 0},
    ]
    rain = sound(document).precipitation_mm
    np.testing.assert_allclose(rain[1:7], 2.0)  # 12 mm over the hours ended at 01 to 06
    assert rain.sum() == pytest.approx(12)
    assert rain[0] == 0  # ended before the forecast began


def test_probability_is_of_the_hours_ended(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    document = files.nws()
    document["properties"]["probabilityOfPrecipitation"]["values"] = [
        {"validTime": "2026-07-14T06:00:00+00:00/PT6H", "value": 80}
    ]
    chance = sound(document).precipitation_probability
    np.testing.assert_allclose(chance[7:13], 0.8)
    assert np.isnan(chance[:7]).all()
    assert np.isnan(chance[13:]).all()


def test_dew_point_where_humidity_is_null(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    document = files.nws()
    document["properties"]["relativeHumidity"]["values"][0]["value"] = None
    series = sound(document)
    # 25 degC with dew point 15 degC: 1705.8 Pa / 3169.7 Pa (ASHRAE saturation pressures) = 0.538; the formula
    # claims 0.4 % on each pressure.
    np.testing.assert_allclose(series.relative_humidity, 0.538, atol=0.003)
    assert any("dew point" in sentence for sentence in series.methods)


def test_precipitation_that_ends_early_is_reported(
    files: Any, examine: Callable[..., ExaminedWeather]
) -> None:
    document = files.nws()
    document["properties"]["quantitativePrecipitation"]["values"][0]["validTime"] = (
        "2026-07-14T00:00:00+00:00/P1D"
    )
    series, findings = examine(document)
    assert [finding.severity for finding in findings] == ["caution"]
    assert "precipitation ends at 2026-07-14 20:00 EDT" in findings[0].problem
    assert len(series) == 48
    assert (series.precipitation_mm[25:] == 0).all()


@pytest.mark.parametrize(
    "interval",
    [
        "2026-07-14T00:00:00/PT5H",
        "2026-07-14T00:00:00+00:00/PT90M",
        "2026-07-14T00:00:00+00:00/P9999D",
        "2026-07-14T00:00:00+00:00/PT0H",
        "2026-07-14T00:00:00+00:00",
        "soon/PT5H",
        17,
        None,
    ],
)
def test_what_is_no_interval_is_named(files: Any, faults: Callable[..., list[str]], interval: Any) -> None:
    document = files.nws()
    document["properties"]["skyCover"]["values"][0]["validTime"] = interval
    assert any("properties.skyCover.values[0].validTime" in fault for fault in faults(document))


@pytest.mark.parametrize("unit", ["wmoUnit:Bft", None, 3])
def test_a_unit_is_never_assumed(files: Any, faults: Callable[..., list[str]], unit: Any) -> None:
    document = files.nws()
    document["properties"]["windSpeed"]["uom"] = unit
    (fault,) = faults(document)
    assert "properties.windSpeed.uom" in fault


def test_values_that_are_no_numbers(files: Any, faults: Callable[..., list[str]]) -> None:
    document = files.nws()
    document["properties"]["temperature"]["values"] += [7, {"validTime": "x", "value": "hot"}]
    problems = "\n".join(faults(document))
    assert "values[1]: not an entry" in problems
    assert "'hot' is not a number" in problems


def test_overlapping_intervals_that_disagree(files: Any, faults: Callable[..., list[str]]) -> None:
    document = files.nws()
    document["properties"]["temperature"]["values"].append(
        {"validTime": "2026-07-14T05:00:00+00:00/PT2H", "value": 31}
    )
    (fault,) = faults(document)
    assert "two values of air temperature for 2026-07-14 05:00 UTC: 25 and 31, and 1 more such" in fault


def test_order_of_entries_changes_nothing(weather_folder: Path, sound: Callable[..., WeatherSeries]) -> None:
    document = json.loads((weather_folder / "nws-gridpoint-2022-02-03.json").read_text(encoding="utf-8"))
    one = sound(document)
    for layer in document["properties"].values():
        if isinstance(layer, dict) and "values" in layer:
            layer["values"].reverse()
    other = sound(document)
    assert (one.time == other.time).all()
    assert (one.air_c == other.air_c).all()
    assert (one.shortwave_wm2 == other.shortwave_wm2).all()
    assert (one.precipitation_mm == other.precipitation_mm).all()


def test_real_grid_of_apalachicola(weather_folder: Path, site: Location) -> None:
    """Against the numbers in the file, looked up entry by entry."""
    path = weather_folder / "nws-gridpoint-2022-02-03.json"
    properties = json.loads(path.read_text(encoding="utf-8"))["properties"]
    series, _ = examine_weather(path, site)

    def value(layer: str, moment: datetime) -> float:
        for entry in properties[layer]["values"]:
            start, span = entry["validTime"].split("/")
            days, _, hours = span.removeprefix("P").partition("T")
            length = timedelta(days=int(days.rstrip("D") or 0), hours=int(hours.rstrip("H") or 0))
            if datetime.fromisoformat(start) <= moment < datetime.fromisoformat(start) + length:
                return entry["value"]
        raise AssertionError(f"{layer} tells nothing for {moment}")

    assert series.issued_at == datetime(2022, 2, 4, 3, 15, 41, tzinfo=UTC)
    assert series.first_hour == datetime(2022, 2, 3, 21, tzinfo=UTC)
    assert series.last_hour == datetime(2022, 2, 11, 9, tzinfo=UTC)  # humidity ends there
    assert (series.latitude, series.longitude) == (
        pytest.approx(30.0184, abs=1e-3),
        pytest.approx(-84.98, abs=1e-3),
    )
    moments = [series.first_hour + timedelta(hours=h) for h in range(len(series))]
    np.testing.assert_allclose(series.air_c, [value("temperature", each) for each in moments])
    np.testing.assert_allclose(
        series.relative_humidity * 100, [value("relativeHumidity", each) for each in moments]
    )
    np.testing.assert_allclose(series.wind_ms * 3.6, [value("windSpeed", each) for each in moments])
    np.testing.assert_allclose(series.cloud * 100, [value("skyCover", each) for each in moments])
    fallen = sum(entry["value"] for entry in properties["quantitativePrecipitation"]["values"])
    assert series.precipitation_mm.sum() == pytest.approx(fallen)
    assert fallen > 0
    # Nights are dark, days are not (sunrise 12:20, sunset 23:20 UTC there on 4 February).
    hour = np.array([each.hour for each in moments])
    assert (series.shortwave_wm2[(hour >= 2) & (hour <= 12)] < 20).all()
    assert (series.shortwave_wm2[(hour >= 15) & (hour <= 21)] > 40).all()


@pytest.mark.parametrize("corners", [[], [[-80, 36]], [[1e308, 1e308]] * 3, [[None, 36]] * 3, [[-80]] * 3])
def test_a_grid_cell_without_a_place_is_still_a_forecast(
    files: Any, sound: Callable[..., WeatherSeries], corners: list[Any]
) -> None:
    """Seen: warnings of the numeric library on the terminal. No source: of no corners there is no mean."""
    document = files.nws()
    document["geometry"]["coordinates"] = [corners]
    assert len(sound(document)) == 48
