"""The forecast of MET Norway, in the shape that it documents; every number is invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.weather import Origin
from handover.weather.uncertainty import ForecastPercentiles

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.weather import WeatherSeries
    from handover.weather.reading import ExaminedWeather

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


class TestPercentiles:
    """Air 2.5632 K, wind 1.2816 m/s from the 10th to the 90th percentile: 1.0 K and 0.5 m/s."""

    @pytest.fixture
    def document(self, files: Any) -> dict:
        document: dict = files.met_norway()
        for entry in document["properties"]["timeseries"]:
            details = entry["data"]["instant"]["details"]
            details["air_temperature_percentile_10"] = details["air_temperature"] - 1.2816
            details["air_temperature_percentile_90"] = details["air_temperature"] + 1.2816
            details["wind_speed_percentile_10"] = details["wind_speed"] - 0.6408
            details["wind_speed_percentile_90"] = details["wind_speed"] + 0.6408
        return document

    def spread(self, series: WeatherSeries, name: str) -> Any:
        assert isinstance(series.uncertainty, ForecastPercentiles)
        return series.uncertainty.spread(name, series.time)

    def test_they_are_read_as_a_standard_deviation(
        self, sound: Callable[..., WeatherSeries], document: dict
    ) -> None:
        """From a table of the normal distribution, its 90th percentile is 1.2816 standard deviations up."""
        series = sound(document)
        assert self.spread(series, "air_c") == pytest.approx(1.0)
        assert self.spread(series, "wind_ms") == pytest.approx(0.5)
        assert self.spread(series, "cloud") is None

    def test_the_forecast_itself_is_the_same(
        self, sound: Callable[..., WeatherSeries], document: dict, series: WeatherSeries
    ) -> None:
        assert np.array_equal(sound(document).air_c, series.air_c)
        assert series.uncertainty is None

    def test_their_units_are_their_own(self, sound: Callable[..., WeatherSeries], document: dict) -> None:
        """50.0 and 54.6138 degF are 10 and 12.5632 degC."""
        for end, fahrenheit in (("10", 50.0), ("90", 54.61376)):
            name = f"air_temperature_percentile_{end}"
            document["properties"]["meta"]["units"][name] = "fahrenheit"
            for entry in document["properties"]["timeseries"]:
                entry["data"]["instant"]["details"][name] = fahrenheit
        assert self.spread(sound(document), "air_c") == pytest.approx(1.0)

    def test_an_hour_without_them(self, sound: Callable[..., WeatherSeries], document: dict) -> None:
        """Where the service has none from an hour on, there is no spread; of the wind there is."""
        for entry in document["properties"]["timeseries"][20:]:
            del entry["data"]["instant"]["details"]["air_temperature_percentile_90"]
        series = sound(document)
        spread = self.spread(series, "air_c")
        assert spread[:20] == pytest.approx(1.0)
        assert np.isnan(spread[20:]).all()
        assert self.spread(series, "wind_ms") == pytest.approx(0.5)

    @pytest.mark.parametrize(
        ("low", "high", "words"),
        [
            (30.0, 20.0, "cannot be"),
            (-500.0, 20.0, "cannot be"),
            (20.0, 10**400, "cannot be"),
            (None, 20.0, None),
            ("20", 21.0, None),
            (True, [], None),
        ],
    )
    def test_what_cannot_be_is_left_out(
        self,
        examine: Callable[..., ExaminedWeather],
        document: dict,
        low: object,
        high: object,
        words: str | None,
    ) -> None:
        """A 90th percentile below the 10th, for example, from the tenth entry on."""
        for entry in document["properties"]["timeseries"][10:]:
            details = entry["data"]["instant"]["details"]
            details["air_temperature_percentile_10"] = low
            details["air_temperature_percentile_90"] = high
        series, findings = examine(document)
        assert series is not None
        spread = self.spread(series, "air_c")
        assert spread[:10] == pytest.approx(1.0)
        assert np.isnan(spread[10:]).all()
        said = [each for each in findings if each.severity == "caution"]
        assert len(said) == (0 if words is None else 1)
        assert all(words in each.problem for each in said if words)

    def test_an_unknown_unit_leaves_them_out(
        self, sound: Callable[..., WeatherSeries], document: dict
    ) -> None:
        document["properties"]["meta"]["units"]["air_temperature_percentile_10"] = "furlong"
        assert self.spread(sound(document), "air_c") is None
