"""The members of an ensemble, in the shape that Open-Meteo documents; every number is invented."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.weather.joined_answers import join_answers
from handover.weather.uncertainty import ForecastMembers

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.weather import WeatherSeries
    from handover.weather.reading import ExaminedWeather

HOUR = np.timedelta64(3600, "s")
AIR = 20.0 + (np.arange(31) - 15) * 0.2


def alone(files: Any, **more: Any) -> dict:
    """Return an answer of an ensemble that can be used as a forecast: with sunshine of the control run."""
    document: dict = files.ensemble(**more)
    model = f"_{more['model']}" if more.get("model") else ""
    document["hourly"][f"shortwave_radiation{model}"] = [300.0] * len(document["hourly"]["time"])
    document["hourly_units"][f"shortwave_radiation{model}"] = "W/m²"
    return document


def members_of(series: WeatherSeries) -> ForecastMembers:
    assert isinstance(series.uncertainty, ForecastMembers)
    return series.uncertainty


class TestAnswer:
    """The answer of the ensemble as a weather file."""

    @pytest.mark.parametrize("model", ["", "ncep_gefs_seamless"])
    def test_the_control_run_is_the_forecast(
        self, sound: Callable[..., WeatherSeries], files: Any, model: str
    ) -> None:
        series = sound(alone(files, model=model))
        assert series.air_c == pytest.approx(AIR[0])
        assert series.wind_ms == pytest.approx(AIR[0] - 10.0)
        assert series.shortwave_wm2 == pytest.approx(300.0)

    @pytest.mark.parametrize("model", ["", "ncep_gefs_seamless"])
    def test_every_run_is_a_member(self, sound: Callable[..., WeatherSeries], files: Any, model: str) -> None:
        members = members_of(sound(alone(files, model=model)))
        assert members.count == 31
        assert model in members.source
        for hour in (0, 47):
            assert members.states["air_c"][hour] == pytest.approx(AIR)
            assert members.states["wind_ms"][hour] == pytest.approx(AIR - 10.0)
            assert members.states["relative_humidity"][hour] == pytest.approx(AIR / 50.0)
            assert members.states["cloud"][hour] == pytest.approx(AIR / 50.0)

    def test_of_several_models_the_one_with_the_most_members(
        self, sound: Callable[..., WeatherSeries], files: Any
    ) -> None:
        few, many = (
            alone(files, model=model, members=members) for model, members in (("a_few", 11), ("b_many", 31))
        )
        for part in ("hourly", "hourly_units"):
            few[part].update(many[part])
        assert members_of(sound(few)).source == "Open-Meteo, b_many"

    def test_a_forecast_has_none(self, sound: Callable[..., WeatherSeries], files: Any) -> None:
        assert sound(files.open_meteo()).uncertainty is None

    def test_units_are_those_that_the_answer_names(
        self, sound: Callable[..., WeatherSeries], files: Any
    ) -> None:
        document = alone(files)
        document["hourly_units"]["temperature_2m_member05"] = "°F"
        document["hourly"]["temperature_2m_member05"] = [50.0] * 48
        assert members_of(sound(document)).states["air_c"][0, 5] == pytest.approx(10.0)

    def test_humidity_from_the_dew_point(self, sound: Callable[..., WeatherSeries], files: Any) -> None:
        """Air at its dew point is saturated."""
        document = alone(files)
        for part in ("hourly", "hourly_units"):
            for name in [each for each in document[part] if "humidity_2m_" in each]:
                del document[part][name]
                same = name.replace("relative_humidity_2m", "temperature_2m")
                document[part][name.replace("relative_humidity", "dew_point")] = document[part][same]
        assert members_of(sound(document)).states["relative_humidity"][0, 1:] == pytest.approx(1.0)


def _null(document: dict) -> None:
    document["hourly"]["temperature_2m_member05"] = [None] * 48


def _missing(document: dict) -> None:
    del document["hourly"]["temperature_2m_member05"]


def _short(document: dict) -> None:
    document["hourly"]["temperature_2m_member05"] = [19.0] * 10


def _long(document: dict) -> None:
    document["hourly"]["temperature_2m_member05"] = [19.0] * 49


def _text(document: dict) -> None:
    document["hourly"]["temperature_2m_member05"] = ["19.0", True, {}, [1]] * 12


def _no_list(document: dict) -> None:
    document["hourly"]["temperature_2m_member05"] = {"19.0": 1}


def _huge(document: dict) -> None:
    document["hourly"]["temperature_2m_member05"] = [10**400, -(10**400), 999.0, -999.0] * 12


def _no_unit(document: dict) -> None:
    document["hourly_units"]["temperature_2m_member05"] = "furlong"


SPOILT = [
    (_null, None, 0),
    (_missing, None, 0),
    (_short, None, 10),
    (_long, "not as many values", 0),
    (_text, "48 values", 0),
    (_no_list, "not as many values", 0),
    (_huge, "48 values", 0),
    (_no_unit, "unit", 0),
]


@pytest.mark.parametrize(("spoil", "words", "left"), SPOILT)
def test_a_spoilt_member_spoils_no_forecast(
    examine: Callable[..., ExaminedWeather],
    files: Any,
    spoil: Callable[[dict], None],
    words: str | None,
    left: int,
) -> None:
    document = alone(files)
    spoil(document)
    series, findings = examine(document)
    assert series is not None
    assert series.air_c == pytest.approx(AIR[0])
    known = np.isfinite(members_of(series).states["air_c"])
    assert known.sum(axis=0).tolist() == [48] * 5 + [left] + [48] * 25
    said = [str(each) for each in findings if "members" in each.problem]
    assert len(said) == (0 if words is None else 1)
    assert all(words in each for each in said if words)
    assert all(each.severity == "caution" for each in findings)


class TestDeviations:
    @pytest.fixture
    def members(self) -> ForecastMembers:
        time = np.datetime64("2026-07-14", "s") + np.arange(48) * HOUR
        states = {"air_c": np.broadcast_to(AIR, (48, 31)).copy()}
        return ForecastMembers(time, states, "an ensemble")

    def test_they_are_from_the_mean(self, members: ForecastMembers) -> None:
        apart = members.deviations("air_c", members.time)
        assert apart == pytest.approx(np.broadcast_to(AIR - 20.0, (48, 31)))

    def test_only_hours_that_are_asked_for(self, members: ForecastMembers) -> None:
        """From a day before the first to twelve hours before the last."""
        time = members.time[0] + (np.arange(60) - 24) * HOUR
        apart = members.deviations("air_c", time)
        assert apart is not None
        assert np.isnan(apart[:24]).all()
        assert np.isfinite(apart[24:]).all()
        assert members.last_hour(time) == time[-1]

    def test_a_gap_is_interpolated_and_a_long_one_ends_a_member(self, members: ForecastMembers) -> None:
        members.states["air_c"][10:15, 3] = np.nan
        members.states["air_c"][20:26, 4] = np.nan
        apart = members.deviations("air_c", members.time)
        assert apart is not None
        assert apart[10:15, 3] == pytest.approx(AIR[3] - 20.0)
        assert np.isfinite(apart[:20, 4]).all()
        assert np.isnan(apart[20:, 4]).all()

    def test_too_few_members_say_nothing(self, members: ForecastMembers) -> None:
        """Nine from the tenth hour on, nine in all, none of the wind."""
        members.states["air_c"][10:, 9:] = np.nan
        apart = members.deviations("air_c", members.time)
        assert apart is not None
        assert np.isnan(apart[10:]).all()
        assert members.last_hour(members.time) == members.time[9]
        members.states["air_c"][:, 9:] = np.nan
        assert members.deviations("air_c", members.time) is None
        assert members.deviations("wind_ms", members.time) is None
        assert members.last_hour(members.time) is None


class TestJoined:
    """A forecast and its members in one file."""

    def test_the_forecast_is_that_of_its_own_answer(
        self, sound: Callable[..., WeatherSeries], files: Any
    ) -> None:
        forecast, ensemble = (json.dumps(each).encode() for each in (files.open_meteo(), files.ensemble()))
        both = join_answers(forecast, members=ensemble)
        assert forecast in both
        assert ensemble in both
        series, single = sound(both), sound(forecast)
        assert np.array_equal(series.air_c, single.air_c)
        assert series.source == single.source
        assert members_of(series).count == 31
        assert single.uncertainty is None

    def test_alone_it_is_as_received(self) -> None:
        assert join_answers(b"{} ", members=None, alerts=None) == b"{} "

    @pytest.mark.parametrize("part", [{}, [], "none", 3, {"hourly": 1}, {"hourly": {"time": [None]}}])
    def test_what_is_no_ensemble_is_a_caution(
        self, examine: Callable[..., ExaminedWeather], files: Any, part: object
    ) -> None:
        series, findings = examine({"forecast": files.open_meteo(), "members": part})
        assert series is not None
        assert series.uncertainty is None
        assert [each.severity for each in findings] == ["caution"]

    def test_no_forecast_is_a_fault(self, faults: Callable[..., list[str]], files: Any) -> None:
        assert faults({"forecast": {"error": True, "reason": "no"}, "members": files.ensemble()})
        assert faults({"forecast": None, "members": files.ensemble()})
        nested = {"forecast": files.open_meteo(), "members": files.ensemble()}
        assert faults({"forecast": nested, "members": files.ensemble()})
