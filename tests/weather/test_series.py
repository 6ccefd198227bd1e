"""The series' own small methods."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.weather import Origin, WeatherSeries

if TYPE_CHECKING:
    from collections.abc import Callable


@pytest.fixture
def series(files: Any, sound: Callable[..., WeatherSeries]) -> WeatherSeries:
    return sound(files.open_meteo())


def test_states_between_the_hours(series: WeatherSeries) -> None:
    """Air is 20 + h/10 degC."""
    when = np.array(["2026-07-14T03:00:00", "2026-07-14T03:30:00", "2026-07-14T04:06"], dtype="datetime64[s]")
    np.testing.assert_allclose(series.at("air_c", when), [20.3, 20.35, 20.41])


def test_no_state_outside(series: WeatherSeries) -> None:
    with pytest.raises(ValueError, match="the weather goes from"):
        series.at("air_c", np.array(["2026-07-13T23:59:59"], dtype="datetime64[s]"))


def test_a_window_can_interpolate_its_ends(series: WeatherSeries) -> None:
    start, end = datetime(2026, 7, 14, 3, 20, tzinfo=UTC), datetime(2026, 7, 14, 9, 10, tzinfo=UTC)
    part = series.window(start, end)
    assert (part.first_hour.hour, part.last_hour.hour) == (3, 10)
    assert len(part) == len(part.air_c) == len(part.origin) == 8
    assert part.covers(start, end)
    assert part.source == series.source


def test_a_window_on_the_hour_is_exact(series: WeatherSeries) -> None:
    part = series.window(series.first_hour + timedelta(hours=2), series.first_hour + timedelta(hours=5))
    assert len(part) == 4


def test_a_window_outside(series: WeatherSeries) -> None:
    with pytest.raises(ValueError, match="no weather"):
        series.window(series.last_hour + timedelta(days=1), series.last_hour + timedelta(days=2))


def test_covers(series: WeatherSeries) -> None:
    first, last = series.first_hour, series.last_hour
    assert series.covers(first, last)
    assert not series.covers(first - timedelta(minutes=1), last)
    assert not series.covers(first, last + timedelta(minutes=1))


def test_typical_from(series: WeatherSeries) -> None:
    assert series.typical_from is None
    origin = np.where(np.arange(48) >= 30, Origin.TYPICAL, Origin.FORECAST).astype(np.int8)
    assert replace(series, origin=origin).typical_from == series.first_hour + timedelta(hours=30)
