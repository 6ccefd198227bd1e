"""Files that are no weather: a clear word each, and nothing else."""

from __future__ import annotations

import json
import os
from typing import TYPE_CHECKING, Any

import pytest

from handover.errors import UnusableInput
from handover.weather import Location, examine_weather, read_weather

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"", "is empty"),
        (b" \n\t ", "is empty"),
        (b"\xef\xbb\xbf", "is empty"),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00", "is not text"),
        (bytes(range(256)) * 20, "is not text"),
        (b"\xff\xfe\x00", "is not text"),
        (b"<!DOCTYPE html><html></html>", "is a web page or XML"),
        (b"{", "is cut off"),
        (b"{hourly}", "is not JSON"),
        (b'{"hourly": {"time": ["2026', "is cut off"),
        (b'{"hourly": NaN}', "NaN is not a number of JSON"),
        (b'{"hourly": {"time": [Infinity]}}', "Infinity is not a number of JSON"),
        (b"[" * 200_000, "nested too deep"),
        (b'{"a":' * 200_000, "nested too deep"),
        (b"[]", "has the weather of 0 places"),
        (b"[{}, {}]", "has the weather of 2 places"),
        (b"[17]", "is not weather"),
        (b"{}", "not weather in a known format"),
        (b'{"hourly": {"time": []}}', "no hours"),
        (b'{"hourly": {"time": {}}}', "no hours"),
        (b'{"properties": 3}', "not weather in a known format"),
        (b"hello world", "is not a table"),
        (b"hello,world\n1,2\n", "no column of times"),
        (b"time_utc\n2026-07-14T06:00\n", "no air temperature"),
    ],
)
def test_said_what_it_is(faults: Callable[..., list[str]], content: Any, word: str) -> None:
    problems = faults(content)
    assert any(word in fault for fault in problems), problems


def test_a_service_that_refused_is_quoted(faults: Callable[..., list[str]]) -> None:
    (fault,) = faults({"error": True, "reason": "Latitude must be in range of -90 to 90°. Given: 900."})
    assert "Latitude must be in range of -90 to 90°. Given: 900." in fault


def test_a_problem_document_is_quoted(faults: Callable[..., list[str]]) -> None:
    problem = {
        "correlationId": "1",
        "title": "Data Unavailable For Requested Point",
        "type": "https://api.weather.gov/problems/InvalidPoint",
        "status": 404,
        "detail": "Unable to provide data for requested point 51.5,-0.1",
    }
    (fault,) = faults(problem)
    assert "Data Unavailable For Requested Point: Unable to provide data" in fault


def test_what_a_service_says_stays_on_one_line(faults: Callable[..., list[str]]) -> None:
    (fault,) = faults({"error": True, "reason": "a\r\nBEGIN:VEVENT\x1b[31m\u2028" + "x" * 5000})
    assert "\n" not in fault
    assert "\x1b" not in fault
    assert "\u2028" not in fault
    assert len(fault) < 600


def test_neighbouring_answers_are_distinct(faults: Callable[..., list[str]]) -> None:
    points = {"properties": {"forecastGridData": "https://api.weather.gov/gridpoints/RAH/10,20"}}
    assert "https://api.weather.gov/gridpoints/RAH/10,20" in faults(points)[0]
    assert "not the raw grid" in faults({"properties": {"periods": []}})[0]


def test_missing_file(tmp_path: Path, site: Location) -> None:
    series, (finding,) = examine_weather(tmp_path / "none.json", site)
    assert series is None
    assert finding.problem == "does not exist"


def test_a_folder(tmp_path: Path, site: Location) -> None:
    assert examine_weather(tmp_path, site)[1][0].problem == "is not a file"


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is unreadable to root")
def test_unreadable_file(tmp_path: Path, site: Location) -> None:
    path = tmp_path / "secret.csv"
    path.write_text("time_utc")
    path.chmod(0)
    assert "cannot be read" in examine_weather(path, site)[1][0].problem


def test_a_path_that_cannot_be(site: Location) -> None:
    assert examine_weather("a\0b", site)[0] is None


def test_a_large_file_is_refused_before_it_is_read(tmp_path: Path, site: Location) -> None:
    path = tmp_path / "large.json"
    with path.open("wb") as file:
        file.truncate(200_000_000)
    series, (finding,) = examine_weather(path, site)
    assert series is None
    assert finding.problem == "200 MB is too large for hourly weather"
    assert finding.expected == "at most 50 MB"


def test_read_weather_raises_with_every_finding(tmp_path: Path, site: Location, files: Any) -> None:
    document = files.open_meteo()
    document["hourly_units"]["wind_speed_10m"] = "Bft"
    document["hourly_units"]["temperature_2m"] = "°R"
    path = tmp_path / "forecast.txt"
    path.write_text(json.dumps(document), encoding="utf-8")
    with pytest.raises(UnusableInput) as caught:
        read_weather(path, site=site)
    assert len(caught.value.findings) == 2
    assert all(str(path) in str(finding) for finding in caught.value.findings)


def test_the_name_of_a_file_does_not_matter(tmp_path: Path, site: Location, files: Any) -> None:
    path = tmp_path / "weather.csv"
    path.write_text(json.dumps(files.open_meteo()), encoding="utf-8")
    assert read_weather(path, site=site).source == "Open-Meteo.com hourly weather (CC BY 4.0)"
