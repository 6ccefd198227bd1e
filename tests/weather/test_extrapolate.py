"""The weather past the end of a forecast."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.base.arrays import ONE_HOUR
from handover.errors import UnusableInput
from handover.practice.rules import general_rules
from handover.weather import Origin, WeatherSeries
from handover.weather.climate import Climate
from handover.weather.extrapolate import extrapolate
from handover.weather.sunshine import CLEAR_SKY_SHARE, extraterrestrial_wm2

if TYPE_CHECKING:
    from collections.abc import Callable


@pytest.fixture
def five_days(files: Any, sound: Callable[..., WeatherSeries]) -> WeatherSeries:
    """A daily wave on a slow rise, with rain, ending at 23:00 UTC."""
    series = sound(files.open_meteo(120))
    hour = np.arange(120)
    return replace(
        series,
        air_c=20 + 6 * np.sin(hour * np.pi / 12) + hour / 24,
        shortwave_wm2=np.clip(900 * np.sin((hour - 10) * np.pi / 14), 0, None) * (hour % 24 > 10),
    )


def test_nothing_is_added_before_the_end(five_days: WeatherSeries) -> None:
    assert extrapolate(five_days, five_days.last_hour) is five_days
    assert extrapolate(five_days, five_days.last_hour - timedelta(hours=1)) is five_days


def test_what_is_there_is_not_touched(five_days: WeatherSeries) -> None:
    longer = extrapolate(five_days, five_days.last_hour + timedelta(days=10))
    for name in ("time", "air_c", "wind_ms", "precipitation_mm", "origin"):
        np.testing.assert_array_equal(getattr(longer, name)[:120], getattr(five_days, name))


def test_reaches_the_hour_asked_for(five_days: WeatherSeries) -> None:
    longer = extrapolate(five_days, five_days.last_hour + timedelta(hours=30, minutes=20))
    assert longer.last_hour == five_days.last_hour + timedelta(hours=31)
    assert np.all(np.diff(longer.time) == ONE_HOUR)


def test_the_mean_day_by_utc_hour(five_days: WeatherSeries) -> None:
    longer = extrapolate(five_days, five_days.last_hour + timedelta(days=4))
    for hour in range(24):
        last_three = [five_days.air_c[day * 24 + hour] for day in (2, 3, 4)]
        # Past the fade at the joint: from the second added day on.
        np.testing.assert_allclose(longer.air_c[120 + 24 + hour :: 24], np.mean(last_three))
        sun = [five_days.shortwave_wm2[day * 24 + hour] for day in (2, 3, 4)]
        np.testing.assert_allclose(longer.shortwave_wm2[120 + hour :: 24], np.mean(sun))


def test_no_jump_at_the_joint(five_days: WeatherSeries) -> None:
    cold_end = replace(five_days, air_c=np.where(np.arange(120) >= 112, five_days.air_c - 9, five_days.air_c))
    longer = extrapolate(cold_end, five_days.last_hour + timedelta(days=2))
    # No step over the joint exceeds the mean day's own steepest hour by more than a twelfth of the departure.
    steepest = np.abs(np.diff(longer.air_c[144:])).max()
    assert np.abs(np.diff(longer.air_c[119:134])).max() < steepest + 9 / 12 + 0.01


def test_dry_typical_and_printed(five_days: WeatherSeries) -> None:
    longer = extrapolate(five_days, five_days.last_hour + timedelta(days=2))
    assert (longer.precipitation_mm[120:] == 0).all()
    assert np.isnan(longer.precipitation_probability[120:]).all()
    assert (longer.origin[120:] == Origin.TYPICAL).all()
    assert longer.typical_from == five_days.last_hour + timedelta(hours=1)
    (sentence,) = longer.methods
    assert sentence.startswith("After 2026-07-18 23:00 UTC: the mean day of its last 3 days")


def test_shares_stay_shares(five_days: WeatherSeries) -> None:
    wet = replace(five_days, relative_humidity=np.where(np.arange(120) == 119, 0.0, 1.0), cloud=np.ones(120))
    longer = extrapolate(wet, five_days.last_hour + timedelta(days=1))
    assert longer.relative_humidity.min() >= 0
    assert longer.relative_humidity.max() <= 1
    assert longer.wind_ms.min() >= 0


def test_two_days_and_a_half_give_the_mean_of_two(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    series = sound(files.open_meteo(60))
    longer = extrapolate(series, series.last_hour + timedelta(days=2))
    assert "its last 2 days" in longer.methods[-1]
    # air is 20 + h/10: 36 h after the end, the mean of h = 47 and h = 23.
    assert longer.air_c[59 + 36] == pytest.approx(20 + (47 + 23) / 2 / 10)


def test_less_than_a_day_is_not_enough(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    series = sound(files.open_meteo(23))
    with pytest.raises(UnusableInput, match="at least 24 hours"):
        extrapolate(series, series.last_hour + timedelta(hours=1))


def test_a_typical_year_takes_the_place_of_the_mean_day(five_days: WeatherSeries) -> None:
    end = five_days.last_hour
    typical = replace(
        extrapolate(five_days, end + timedelta(days=20)),
        air_c=np.full(600, 12.0),
        source="Typical year of Alder",
    )
    longer = extrapolate(five_days, end + timedelta(days=10), typical=typical)
    np.testing.assert_allclose(longer.air_c[120 + 12 :], 12.0)
    assert "the same hours of Typical year of Alder" in longer.methods[-1]
    short = extrapolate(five_days, end + timedelta(days=40), typical=typical)
    assert "mean day" in short.methods[-1]


def steady(air_c: float, latitude: float = 36.1) -> Climate:
    """Return a climate without seasons."""
    return Climate(latitude, -79.95, (air_c,) * 12)


class TestClimate:
    def test_the_air_moves_over_to_the_month_as_weather_forgets(self, five_days: WeatherSeries) -> None:
        """What is left of the difference is 1/e after the memory of the rules."""
        end = five_days.last_hour
        as_it_is = extrapolate(five_days, end + timedelta(days=30))
        longer = extrapolate(five_days, end + timedelta(days=30), climate=steady(5.0))
        memory = int(general_rules()["forecast.memory"])
        mean_day = as_it_is.air_c[-24:].mean()
        moved = longer.air_c[120:] - as_it_is.air_c[120:]
        assert moved[memory - 1] == pytest.approx((5.0 - mean_day) * (1 - np.exp(-1)))
        assert (np.diff(moved) < 0).all()
        assert longer.air_c[-24:].mean() == pytest.approx(5.0, abs=0.01)

    def test_the_swing_and_the_humidity_of_the_day_stay(self, five_days: WeatherSeries) -> None:
        end = five_days.last_hour
        as_it_is = extrapolate(five_days, end + timedelta(days=30))
        longer = extrapolate(five_days, end + timedelta(days=30), climate=steady(5.0))
        for name in ("relative_humidity", "wind_ms", "cloud", "precipitation_mm", "origin"):
            np.testing.assert_array_equal(getattr(longer, name), getattr(as_it_is, name))
        assert np.ptp(longer.air_c[-24:]) == pytest.approx(np.ptp(as_it_is.air_c[-24:]), abs=0.01)

    def test_a_forecast_that_is_the_month_stays(self, five_days: WeatherSeries) -> None:
        end = five_days.last_hour
        as_it_is = extrapolate(five_days, end + timedelta(days=20))
        same = steady(float(as_it_is.air_c[-24:].mean()))
        longer = extrapolate(five_days, end + timedelta(days=20), climate=same)
        np.testing.assert_allclose(longer.air_c, as_it_is.air_c)

    def test_no_jump_at_the_joint(self, five_days: WeatherSeries) -> None:
        longer = extrapolate(five_days, five_days.last_hour + timedelta(days=9), climate=steady(-30.0))
        steps = np.abs(np.diff(longer.air_c))
        assert steps[119:].max() < steps[:119].max() + 60 / general_rules()["forecast.memory"]

    def test_a_cold_front_in_spring_does_not_stay(self, five_days: WeatherSeries) -> None:
        """The colder the last days, the warmer the weeks after them are than those days."""
        warming = Climate(36.1, -79.95, tuple(float(each) for each in range(0, 36, 3)))
        front = replace(five_days, air_c=five_days.air_c - 15.0)
        end = five_days.last_hour + timedelta(days=30)
        after, before = (extrapolate(each, end, climate=warming) for each in (front, five_days))
        np.testing.assert_allclose(after.air_c[-24:], before.air_c[-24:], atol=0.01)

    def test_the_sentence_names_the_map(self, five_days: WeatherSeries) -> None:
        longer = extrapolate(five_days, five_days.last_hour + timedelta(days=2), climate=steady(20.0))
        (sentence,) = longer.methods
        assert "mean of the month" in sentence
        assert "ITU-R P.1510-1" in sentence

    def test_sunshine_follows_the_season(self, five_days: WeatherSeries) -> None:
        """July to November at 36 degrees: by the sunshine above the atmosphere, less than half is left."""
        longer = extrapolate(five_days, five_days.last_hour + timedelta(days=130), climate=steady(20.0))
        days = longer.shortwave_wm2[120:].reshape(-1, 24).mean(axis=1)
        above = extraterrestrial_wm2(longer.time[120::24], 36.1)
        np.testing.assert_allclose(days / days[0], above / above[0], rtol=0.01)
        assert days[-1] < 0.6 * days[0]

    @pytest.mark.parametrize("latitude", [-89.0, -66.0, 0.0, 66.0, 89.0])
    def test_no_day_is_brighter_than_a_clear_one(self, five_days: WeatherSeries, latitude: float) -> None:
        """Whatever the days of the forecast were, the polar night included, and none is without a number."""
        overcast = replace(five_days, shortwave_wm2=np.full(120, 8.0))
        end = five_days.last_hour + timedelta(days=180)
        longer = extrapolate(overcast, end, climate=steady(0.0, latitude))
        sun = longer.shortwave_wm2[120:]
        above = extraterrestrial_wm2(longer.time[120:], latitude)
        assert (sun >= 0).all()
        assert (sun <= np.maximum(CLEAR_SKY_SHARE * above, 8.0) + 1e-9).all()

    def test_a_typical_year_goes_before_the_map(self, five_days: WeatherSeries) -> None:
        end = five_days.last_hour
        typical = replace(extrapolate(five_days, end + timedelta(days=20)), air_c=np.full(600, 12.0))
        longer = extrapolate(five_days, end + timedelta(days=10), typical=typical, climate=steady(-5.0))
        np.testing.assert_allclose(longer.air_c[120 + 12 :], 12.0)
