"""Clear sky, sunshine from cloud, cloud from sunshine."""

from __future__ import annotations

import itertools
import warnings
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pytest
from pvlib.irradiance import get_extra_radiation
from pvlib.location import Location
from pvlib.solarposition import get_solarposition

from handover.weather.sunshine import (
    clear_sky_of_hour_wm2,
    clear_sky_wm2,
    cloud_from_sunshine,
    cover,
    extraterrestrial_wm2,
    sunshine_from_cloud,
    transmission,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.weather import WeatherSeries

GREENSBORO = (36.1, -79.95, 273.0)
DAY = np.datetime64("2026-07-14T05:00:00") + np.arange(25) * np.timedelta64(3600, "s")


def minute_by_minute(hour: np.datetime64) -> float:
    """The mean clear sky of the hour that ended, by pvlib at every minute's middle."""
    minutes = hour - np.arange(60) * np.timedelta64(60, "s") - np.timedelta64(30, "s")
    place = Location(*GREENSBORO[:2], altitude=GREENSBORO[2])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        return float(place.get_clearsky(pd.DatetimeIndex(np.sort(minutes)).tz_localize("UTC"))["ghi"].mean())


def test_instants_against_another_clear_sky_model() -> None:
    """The simplified Solis model with ordinary haze: the models agree within 10 % while the sun is high."""
    high = DAY[10:16]
    ours = clear_sky_wm2(high, *GREENSBORO)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        solis = Location(*GREENSBORO[:2], altitude=GREENSBORO[2]).get_clearsky(
            pd.DatetimeIndex(high).tz_localize("UTC"),
            model="simplified_solis",
            aod700=0.2,
            precipitable_water=3.0,
        )
    np.testing.assert_allclose(ours, solis["ghi"], rtol=0.10)


@pytest.mark.parametrize("hour", [6, 8, 12, 17, 18, 19])
def test_hour_is_the_one_that_ended(hour: int) -> None:
    """Ten-minute steps against every minute: 1.5 W/m2, where neighbouring hours differ by 30 and more."""
    assert clear_sky_of_hour_wm2(DAY, *GREENSBORO)[hour] == pytest.approx(
        minute_by_minute(DAY[hour]), abs=1.5
    )


def test_dark_at_night_and_bright_at_noon() -> None:
    sky = clear_sky_of_hour_wm2(DAY, *GREENSBORO)
    assert (sky[:5] == 0).all()  # until 05:00 local standard time
    assert 850 < sky.max() < 1050
    assert sky.argmax() in {12, 13}  # solar noon is 12:25 local standard time


def test_no_sun_in_the_polar_night() -> None:
    winter = np.datetime64("2026-12-21T00:00:00") + np.arange(24) * np.timedelta64(3600, "s")
    np.testing.assert_array_equal(clear_sky_wm2(winter, 75.0, 20.0, 0.0), 0)


def test_elevation_from_the_map_where_not_known() -> None:
    denver = clear_sky_wm2(DAY[12:15], 39.74, -104.99, None)
    np.testing.assert_allclose(denver, clear_sky_wm2(DAY[12:15], 39.74, -104.99, 1600.0), rtol=0.02)
    assert (denver > clear_sky_wm2(DAY[12:15], 39.74, -104.99, 0.0)).all()


def test_transmission() -> None:
    """Ends and middle of 1 - 0.75 N^3.4: all, a quarter, and 0.929 at half cover."""
    np.testing.assert_allclose(transmission(np.array([0, 0.5, 1])), [1, 0.9290, 0.25], atol=1e-4)


def test_cover_turns_transmission_round() -> None:
    cloud = np.linspace(0, 1, 21)
    np.testing.assert_allclose(cover(transmission(cloud)), cloud, atol=1e-9)
    np.testing.assert_array_equal(cover(np.array([1.3, 0.1])), [0, 1])


def test_sunshine_under_a_steady_cover() -> None:
    cloud = np.full(len(DAY), 0.8)
    expected = [minute_by_minute(hour) * (1 - 0.75 * 0.8**3.4) for hour in DAY[9:15]]
    np.testing.assert_allclose(sunshine_from_cloud(DAY, cloud, *GREENSBORO)[9:15], expected, atol=1.5)


def test_more_cloud_never_more_sun() -> None:
    darker = [sunshine_from_cloud(DAY, np.full(len(DAY), each), *GREENSBORO) for each in (0, 0.3, 0.6, 1)]
    assert all((less >= more).all() for less, more in itertools.pairwise(darker))


def test_there_and_back() -> None:
    cloud = np.full(len(DAY), 0.7)
    back = cloud_from_sunshine(DAY, sunshine_from_cloud(DAY, cloud, *GREENSBORO), *GREENSBORO)
    assert back is not None
    np.testing.assert_allclose(back, 0.7, atol=1e-9)


def test_cloud_at_night_is_between_the_daylight_beside_it() -> None:
    time = DAY[0] + np.arange(49) * np.timedelta64(3600, "s")
    cloud = np.where(np.arange(49) < 24, 0.3, 0.9)
    back = cloud_from_sunshine(time, sunshine_from_cloud(time, cloud, *GREENSBORO), *GREENSBORO)
    night = back[22:28]
    assert (np.diff(night) > 0).all()
    assert ((night > 0.3) & (night < 0.9)).all()


def test_without_daylight_cloud_is_not_known() -> None:
    time = np.datetime64("2026-12-21T00:00:00") + np.arange(24) * np.timedelta64(3600, "s")
    assert cloud_from_sunshine(time, np.zeros(24), 75.0, 20.0, 0.0) is None


def test_missing_sunshine_is_computed_and_named(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    document = files.open_meteo()
    document["hourly"]["shortwave_radiation"] = [None] * 48
    document["hourly"]["cloud_cover"] = [0] * 48
    series = sound(document)
    np.testing.assert_allclose(series.shortwave_wm2, clear_sky_of_hour_wm2(series.time, *GREENSBORO))
    (sentence,) = series.methods
    for word in ("all hours from cloud", "Ineichen and Perez (2002)", "pvlib", "Kasten and Czeplak (1980)"):
        assert word in sentence


def test_missing_cloud_is_computed_and_named(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    document = files.open_meteo()
    del document["hourly"]["cloud_cover"]
    series = sound(document)
    assert ((series.cloud >= 0) & (series.cloud <= 1)).all()
    assert "Cloud of all hours from sunshine" in series.methods[0]


def test_sunshine_that_ends_early_goes_on_from_cloud(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    document = files.open_meteo()
    sun = document["hourly"]["shortwave_radiation"]
    document["hourly"]["shortwave_radiation"] = [*sun[:40], *[None] * 8]
    series = sound(document)
    assert len(series) == 48
    np.testing.assert_array_equal(series.shortwave_wm2[:40], sun[:40])
    assert "Sunshine of 8 hours from cloud" in series.methods[0]


@pytest.mark.parametrize("latitude", [-75.0, -33.9, 0.0, 36.1, 55.3, 80.0])
def test_the_sun_above_the_atmosphere_is_that_of_pvlib(latitude: float) -> None:
    """Mean of the day, by the position of the sun and its distance; within 1 W/m2."""
    for day in ("2026-01-15", "2026-04-15", "2026-07-15", "2026-10-15"):
        minutes = pd.date_range(f"{day} 00:02:30", periods=288, freq="5min", tz="UTC")
        zenith = get_solarposition(minutes, latitude, 0.0)["zenith"].to_numpy()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)
            flux = get_extra_radiation(minutes).to_numpy()
        expected = float((flux * np.maximum(np.cos(np.radians(zenith)), 0.0)).mean())
        noon = np.array([f"{day}T12:00:00"], dtype="datetime64[s]")
        assert extraterrestrial_wm2(noon, latitude)[0] == pytest.approx(expected, abs=1.0)
