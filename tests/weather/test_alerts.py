"""Warnings of the National Weather Service, in the shape that it documents; all are invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.weather.alerts import alerts_in_force
from handover.weather.fit_check import check_fit
from handover.weather.nws_alerts import read_alerts

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.weather import Location, WeatherSeries
    from handover.weather.reading import ExaminedWeather

ONSET = datetime(2026, 7, 15, 2, tzinfo=UTC)
ENDS = datetime(2026, 7, 15, 13, tzinfo=UTC)
EXPIRES = datetime(2026, 7, 14, 22, tzinfo=UTC)


@pytest.mark.parametrize(
    ("event", "kind"),
    [
        ("Frost Advisory", "cold"),
        ("Freeze Warning", "cold"),
        ("Hard Freeze Watch", "cold"),
        ("Extreme Cold Warning", "cold"),
        ("Heat Advisory", "heat"),
        ("Extreme Heat Warning", "heat"),
        ("Excessive Heat Watch", "heat"),
        ("High Wind Warning", "wind"),
        ("Wind Advisory", "wind"),
    ],
)
def test_a_warning_has_its_event_its_times_and_its_sender(files: Any, event: str, kind: str) -> None:
    (alert,), doubts = read_alerts(files.alerts(event), "weather")
    assert (alert.kind, alert.event, alert.sender) == (kind, event, "NWS Invented NC")
    assert (alert.onset, alert.until) == (ONSET, ENDS)
    assert doubts == []


@pytest.mark.parametrize("event", ["Tornado Warning", "Freezing Fog Advisory", "Freezing Rain Advisory", ""])
def test_other_warnings_are_left_out(files: Any, event: str) -> None:
    assert read_alerts(files.alerts(event), "weather") == ((), [])


@pytest.mark.parametrize(
    "change", [{"status": "Test"}, {"status": "Exercise"}, {"messageType": "Cancel"}, {"event": None}]
)
def test_neither_a_test_nor_what_is_cancelled(files: Any, change: dict) -> None:
    assert read_alerts(files.alerts("Freeze Warning", **change), "weather") == ((), [])


def test_without_an_end_it_holds_until_it_expires(files: Any) -> None:
    onset = {"onset": "2026-07-14T08:00:00-04:00", "ends": None}
    (alert,), _ = read_alerts(files.alerts("Freeze Warning", **onset), "weather")
    assert alert.until == EXPIRES


@pytest.mark.parametrize("sender", [None, "", " ", 3, {}])
def test_without_a_sender_it_is_of_the_service(files: Any, sender: object) -> None:
    (alert,), _ = read_alerts(files.alerts("Freeze Warning", senderName=sender), "weather")
    assert alert.sender == "National Weather Service"


@pytest.mark.parametrize(
    "times",
    [
        {"onset": None, "effective": None, "sent": None},
        {"onset": "soon"},
        {"onset": "2026-07-14T22:00:00"},  # without an offset
        {"ends": None, "expires": None},
        {"ends": 1, "expires": []},
        {"ends": "2026-07-14T09:00:00-04:00"},  # before its onset
        {"onset": "9999-07-14T22:00:00-04:00"},
    ],
)
def test_a_warning_without_times_is_reported_all_the_same(files: Any, times: dict) -> None:
    alerts, (doubt,) = read_alerts(files.alerts("Freeze Warning", **times), "weather")
    assert alerts == ()
    assert "Freeze Warning" in doubt.problem
    assert "look it up" in doubt.problem
    assert doubt.severity == "caution"


@pytest.mark.parametrize("document", [None, [], {}, "none", {"features": {}}, {"title": "?", "status": 503}])
def test_what_is_no_answer_says_that_there_may_be_warnings(document: object) -> None:
    alerts, (doubt,) = read_alerts(document, "weather")
    assert alerts == ()
    assert "may be" in doubt.problem
    assert doubt.severity == "caution"


@pytest.mark.parametrize("feature", [None, 1, [], {}, {"properties": None}, {"properties": {"event": []}}])
def test_an_odd_entry_hides_no_other(files: Any, feature: object) -> None:
    document = files.alerts("Freeze Warning")
    document["features"].insert(0, feature)
    assert [each.event for each in read_alerts(document, "weather")[0]] == ["Freeze Warning"]


def test_one_that_is_there_twice_is_told_once_and_all_are_in_order(files: Any) -> None:
    document = files.alerts("Wind Advisory", "Freeze Warning", "Freeze Warning")
    assert [each.event for each in read_alerts(document, "weather")[0]] == ["Freeze Warning", "Wind Advisory"]


def test_no_warnings_are_no_doubt(files: Any) -> None:
    assert read_alerts(files.alerts(), "weather") == ((), [])


def test_what_has_ended_is_no_longer_in_force(files: Any) -> None:
    alerts, _ = read_alerts(files.alerts("Freeze Warning"), "weather")
    hour = timedelta(hours=1)
    assert alerts_in_force(alerts, ONSET - hour, ONSET - hour) == alerts
    assert alerts_in_force(alerts, ONSET - hour, ENDS - hour) == alerts
    assert alerts_in_force(alerts, ONSET - hour, ENDS) == ()
    assert alerts_in_force(alerts, ENDS, ONSET - hour) == ()


class TestBesideAForecast:
    def test_the_forecast_is_that_of_its_own_answer(
        self, sound: Callable[..., WeatherSeries], files: Any
    ) -> None:
        series = sound({"forecast": files.nws(), "alerts": files.alerts("Freeze Warning")})
        single = sound(files.nws())
        assert np.array_equal(series.air_c, single.air_c)
        assert series.issued_at == single.issued_at
        assert [each.event for each in series.alerts] == ["Freeze Warning"]
        assert single.alerts == ()

    @pytest.mark.parametrize("part", [None, [], "none", {"title": "?", "status": 503}])
    def test_what_cannot_be_read_is_a_caution(
        self, examine: Callable[..., ExaminedWeather], files: Any, part: object
    ) -> None:
        series, findings = examine({"forecast": files.nws(), "alerts": part})
        assert series is not None
        assert [each.severity for each in findings] == ["caution"]

    def test_the_contractor_is_told(
        self, sound: Callable[..., WeatherSeries], files: Any, site: Location
    ) -> None:
        series = sound({"forecast": files.nws(), "alerts": files.alerts("Freeze Warning")})
        start = datetime.fromisoformat("2026-07-14T06:00:00-04:00")

        def said(at: datetime) -> list[str]:
            findings = check_fit(series, site, start, start + timedelta(days=1), at)
            return [str(each) for each in findings if "Freeze" in each.problem]

        (caution,) = said(start)
        for words in ("2026-07-14 22:00", "2026-07-15 09:00", "NWS Invented NC", "no date is moved"):
            assert words in caution
        assert said(ENDS) == []
