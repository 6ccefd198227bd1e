"""The forecast of MET Norway, in the shape that it documents; every number is invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.weather import Origin

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.weather import WeatherSeries

START = datetime(2026, 7, 14, tzinfo=UTC)


@pytest.fixture
def series(sound: Callable[..., WeatherSeries], files: Any) -> WeatherSeries:
    return sound(files.met_norway())


def test_states_are_instants(series: WeatherSeries) -> None:
    assert series.first_hour == START
    assert series.air_c[:48] == pytest.approx(20 + np.arange(48) / 10)
    assert series.relative_humidity == pytest.approx(0.6)
    assert series.wind_ms == pytest.approx(5.0)
    assert series.cloud == pytest.approx(0.5)


def test_between_entries_six_hours_apart_states_are_interpolated(series: WeatherSeries) -> None:
    assert series.last_hour == START + timedelta(hours=48 + 42)
    assert series.air_c == pytest.approx(20 + np.arange(91) / 10)
    assert "six hours only" in " ".join(series.methods)


def test_precipitation_is_of_the_hour_that_ends(series: WeatherSeries) -> None:
    """Of six hours it is spread; where an entry has both, the hour counts."""
    assert series.precipitation_mm[1:] == pytest.approx(0.5)
    assert series.precipitation_probability[1:49] == pytest.approx(0.25)
    assert series.precipitation_probability[49:] == pytest.approx(0.40)


def test_sunshine_comes_from_cloud(series: WeatherSeries) -> None:
    """The 14 July at Greensboro: day from about 10:00 to 01:00 UTC, half the sky covered."""
    assert series.shortwave_wm2[6] == 0
    assert series.shortwave_wm2[17] > 600
    assert "from cloud" in " ".join(series.methods)


def test_what_it_says_about_itself(series: WeatherSeries) -> None:
    assert series.source == "MET Norway Locationforecast (CC BY 4.0)"
    assert series.issued_at == datetime(2026, 7, 14, 0, 20, tzinfo=UTC)
    assert (series.latitude, series.longitude) == (36.1, -79.95)
    assert (series.origin[1:] == Origin.FORECAST).all()


def test_hours_only_are_not_interpolated(sound: Callable[..., WeatherSeries], files: Any) -> None:
    assert "six hours only" not in " ".join(sound(files.met_norway(six_hourly=0)).methods)


def test_entries_in_any_order(sound: Callable[..., WeatherSeries], files: Any, series: WeatherSeries) -> None:
    document = files.met_norway()
    document["properties"]["timeseries"].reverse()
    assert np.array_equal(sound(document).air_c, series.air_c)


def test_a_longer_gap_is_not_filled(faults: Callable[..., list[str]], files: Any) -> None:
    document = files.met_norway()
    del document["properties"]["timeseries"][10:20]
    assert any("missing" in fault for fault in faults(document))


def _no_time(document: dict) -> None:
    del document["properties"]["timeseries"][3]["time"]


def _no_offset(document: dict) -> None:
    document["properties"]["timeseries"][3]["time"] = "2026-07-14T03:00:00"


def _no_hours(document: dict) -> None:
    document["properties"]["timeseries"].clear()


def _unit(document: dict) -> None:
    document["properties"]["meta"]["units"]["air_temperature"] = "furlong"


@pytest.mark.parametrize(
    ("change", "words"),
    [(_no_time, "no time"), (_no_offset, "no time"), (_no_hours, "no hours"), (_unit, "furlong")],
)
def test_what_cannot_be_read_is_said(
    faults: Callable[..., list[str]], files: Any, change: Callable[[dict], None], words: str
) -> None:
    document = files.met_norway()
    change(document)
    assert any(words in fault for fault in faults(document))
