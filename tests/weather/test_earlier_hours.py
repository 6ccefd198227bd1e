"""Hours before a new forecast come from the weather of the issue before."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.weather import Location, Origin, WeatherSeries
from handover.weather.earlier_hours import NamedSeries, add_earlier_hours

if TYPE_CHECKING:
    from collections.abc import Callable

POUR = datetime(2026, 7, 14, 10, 40, tzinfo=UTC)
ISSUED = datetime(2026, 7, 14, 12, tzinfo=UTC)
NEXT_DAY = datetime(2026, 7, 15, 12, tzinfo=UTC)


@pytest.fixture
def earlier(files: Any, sound: Callable[..., WeatherSeries]) -> WeatherSeries:
    return sound(files.open_meteo(8 * 24), received_at=ISSUED)


@pytest.fixture
def new(earlier: WeatherSeries) -> WeatherSeries:
    """Return a forecast that begins a day after the pour, 3 K warmer."""
    later = earlier.window(NEXT_DAY, earlier.last_hour)
    return replace(later, air_c=later.air_c + 3.0, source="new", issued_at=NEXT_DAY)


def test_the_hours_before_come_from_the_earlier_weather_and_replace_no_newer_one(
    new: WeatherSeries, earlier: WeatherSeries, site: Location
) -> None:
    joined = add_earlier_hours(NamedSeries("new", new), [NamedSeries("old", earlier)], POUR, site)
    series, count = joined.series, len(earlier) - len(new)
    assert count > 0
    assert joined.used == (0,)
    for name in ("time", "air_c", "wind_ms", "shortwave_wm2", "precipitation_mm", "origin"):
        assert np.array_equal(getattr(series, name)[:count], getattr(earlier, name)[:count]), name
        assert np.array_equal(getattr(series, name)[count:], getattr(new, name)), name
    assert set(np.diff(series.time).astype(int)) == {3600}
    assert {*series.origin[:count]} == {Origin.OBSERVED, Origin.FORECAST}, "as they were known then"
    assert (series.source, series.issued_at) == ("new", NEXT_DAY)
    assert "2026-07-15 12:00 UTC" in series.methods[-1]
    (finding,) = joined.findings
    assert (finding.severity, finding.file) == ("caution", "new")
    assert "old" in finding.problem


def test_weather_that_goes_back_to_the_pour_stays_as_it_is(earlier: WeatherSeries, site: Location) -> None:
    joined = add_earlier_hours(NamedSeries("new", earlier), [NamedSeries("old", earlier)], POUR, site)
    assert joined.series is earlier
    assert not joined.findings
    assert not joined.used


def test_a_gap_between_the_two_is_a_fault(new: WeatherSeries, earlier: WeatherSeries, site: Location) -> None:
    short = earlier.window(earlier.first_hour, NEXT_DAY - timedelta(hours=2))
    joined = add_earlier_hours(NamedSeries("new", new), [NamedSeries("old", short)], POUR, site)
    assert joined.series is new
    (finding,) = joined.findings
    assert finding.severity == "fault"
    assert "2026-07-15 10:00 UTC" in finding.problem
    whole = add_earlier_hours(
        NamedSeries("new", new), [NamedSeries("old", short), NamedSeries("older", earlier)], POUR, site
    )
    assert whole.used == (1,), "an older one has the hours"
    assert [each.severity for each in whole.findings] == ["caution"]


def test_weather_of_another_place_is_not_used(
    new: WeatherSeries, earlier: WeatherSeries, site: Location
) -> None:
    """The pole is further than 50 km from any job."""
    far = replace(earlier, latitude=90.0, longitude=0.0)
    joined = add_earlier_hours(NamedSeries("new", new), [NamedSeries("old", far)], POUR, site)
    assert joined.series is new
    assert not joined.used
