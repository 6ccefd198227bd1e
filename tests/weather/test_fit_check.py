"""Does the weather fit the job?"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from handover.weather import Location, Origin, WeatherSeries
from handover.weather.fit_check import check_fit
from handover.weather.location import distance_km

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.errors import Finding

POUR = datetime(2026, 7, 14, 10, 40, tzinfo=UTC)
ISSUED = datetime(2026, 7, 14, 12, tzinfo=UTC)


@pytest.fixture
def series(files: Any, sound: Callable[..., WeatherSeries]) -> WeatherSeries:
    return sound(files.open_meteo(16 * 24), received_at=ISSUED)


@pytest.fixture
def check(series: WeatherSeries, site: Location) -> Callable[..., tuple[Finding, ...]]:
    def judge(
        weather: Any = series, place: Any = site, start: Any = POUR, days: int = 10, age_h: float = 1.0
    ) -> tuple[Finding, ...]:
        as_of = ISSUED + timedelta(hours=age_h)
        return check_fit(weather, place, start, start + timedelta(days=days), as_of, file="w.json")

    return judge


def only(findings: tuple[Finding, ...], severity: str) -> str:
    (finding,) = findings
    assert finding.severity == severity
    assert finding.file == "w.json"
    return str(finding)


def test_all_well(check: Callable[..., tuple[Finding, ...]]) -> None:
    assert check() == ()


def test_distance() -> None:
    """A degree of a great circle is 111.195 km, a quarter of it 10 007.56 km, on a sphere of 6371.0088 km."""
    assert distance_km(36, -80, 37, -80) == pytest.approx(111.195, abs=0.001)
    assert distance_km(0, 179.5, 0, -179.5) == pytest.approx(111.195, abs=0.001)
    assert distance_km(10, 20, 10, 20) == 0
    assert distance_km(0, 30, 90, -120) == pytest.approx(10007.56, abs=0.01)
    assert distance_km(45, 0, 45, 180) == pytest.approx(10007.56, abs=0.01)


@pytest.mark.parametrize(("north", "faulty"), [(0.44, False), (0.46, True)])
def test_another_place(check: Callable[..., tuple[Finding, ...]], north: float, faulty: bool) -> None:
    """50 km are 0.4497 degrees of latitude."""
    findings = check(place=Location(36.1 + north, -79.95))
    if not faulty:
        assert findings == ()
        return
    problems = only(findings, "fault")
    assert "the weather is for 36.100 N, 79.950 W, the job is at 36.560 N, 79.950 W: 51 km away" in problems


def test_a_place_that_cannot_be_compared(
    check: Callable[..., tuple[Finding, ...]], series: WeatherSeries
) -> None:
    assert "names no latitude" in only(check(place=Location(None, None)), "caution")
    assert check(weather=replace(series, latitude=None, longitude=None)) == ()


def test_starts_after_the_pour(check: Callable[..., tuple[Finding, ...]], series: WeatherSeries) -> None:
    late = series.window(POUR + timedelta(hours=3, minutes=20), series.last_hour)
    problems = only(check(weather=late), "fault")
    assert "begins at 2026-07-14 14:00 UTC, 3.3 h after the pour at 2026-07-14 10:40 UTC" in problems
    assert "handover forecast JOB -o FILE" in problems
    assert "CSV" in problems


@pytest.mark.parametrize("days", [-30, 30])
def test_another_time(check: Callable[..., tuple[Finding, ...]], days: int) -> None:
    problems = only(check(start=POUR + timedelta(days=days), days=5, age_h=1), "fault")
    assert "the weather is for 2026-07-14 to 2026-07-29, the job is on 2026-0" in problems


def test_ends_just_after_the_pour(check: Callable[..., tuple[Finding, ...]], series: WeatherSeries) -> None:
    short = series.window(series.first_hour, POUR + timedelta(hours=20))
    assert "ends at 2026-07-15 07:00 UTC, 20.3 h after the pour" in only(check(weather=short), "fault")


def test_times_are_those_of_the_clock_at_the_site(
    check: Callable[..., tuple[Finding, ...]], series: WeatherSeries
) -> None:
    """In July New York is four hours behind UTC."""
    short = series.window(series.first_hour, POUR + timedelta(hours=20))
    findings = check(weather=short, start=POUR.astimezone(ZoneInfo("America/New_York")))
    assert "ends at 2026-07-15 03:00 EDT, 20.3 h after the pour" in only(findings, "fault")


def test_ends_before_it_is_needed(check: Callable[..., tuple[Finding, ...]]) -> None:
    assert "typical weather is used: the mean day of its last three days" in only(check(days=28), "caution")


@pytest.mark.parametrize(
    ("age_h", "word"),
    [(5.9, None), (6.1, "6 h old"), (23, "23 h old"), (25, "much of it may have changed"), (-1, "after")],
)
def test_age(check: Callable[..., tuple[Finding, ...]], age_h: float, word: str) -> None:
    findings = check(age_h=age_h)
    if word is None:
        assert findings == ()
    else:
        assert word in only(findings, "caution")


def test_unknown_age(check: Callable[..., tuple[Finding, ...]], series: WeatherSeries) -> None:
    assert "its age is unknown" in only(check(weather=replace(series, issued_at=None)), "caution")


@pytest.mark.parametrize("origin", [Origin.TYPICAL, Origin.OBSERVED])
def test_what_is_no_forecast_has_no_age(
    check: Callable[..., tuple[Finding, ...]], series: WeatherSeries, origin: Origin
) -> None:
    weather = replace(series, issued_at=None, origin=np.full(len(series), origin, dtype=np.int8))
    assert check(weather=weather, age_h=5000) == ()
