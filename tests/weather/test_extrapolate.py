"""The weather past the end of a forecast."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.base.arrays import ONE_HOUR
from handover.errors import UnusableInput
from handover.weather import Origin, WeatherSeries
from handover.weather.extrapolate import extrapolate

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
