"""What the tests of whole runs share: an invented record, invented weather, and a way to run a command."""

from __future__ import annotations

import json
import os
from datetime import datetime, timedelta
from math import cos, pi
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import pytest

from handover.cli import main

if TYPE_CHECKING:
    from collections.abc import Callable

ROOT = Path(__file__).parents[1]

RECORD = """\
id = "2026-07-14-test-slab"

[site]
name = "Test slab"
latitude = 36.10
longitude = -79.95
timezone = "America/New_York"

[owner]
name = "Ana Prueba"
email = "ana@example.org"

[contractor]
name = "Example Flatwork"
phone = "555-0142"
email = "office@example.com"

[slab]
use = "garage floor"
length = "34 ft"
width = "26 ft"
thickness = "5 in"
on = "gravel"

[placement]
start = 2026-07-14T06:40:00
end = 2026-07-14T08:05:00
finished = 2026-07-14T12:10:00
concrete_temperature = "84 degF"

[mix]
specified_strength = "3000 psi"
cement = "I"
cementitious = "564 lb/yd3"
water_cementitious = 0.50

[curing]
method = "sprinkler"
"""


class Told(NamedTuple):
    """What a command answered."""

    status: int
    out: str
    err: str


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., Told]:
    """Run a command line in this process."""

    def run_command(*arguments: object) -> Told:
        status = main([str(each) for each in arguments])
        return Told(status, *capsys.readouterr())

    return run_command


def hourly_answer(first: str = "2026-07-14T00:00", days: int = 10, **changes: object) -> dict[str, object]:
    """Return invented summer weather in the shape of an Open-Meteo answer: days of 18 to 32 degC, no rain."""
    start = datetime.fromisoformat(first)
    hours = range(24 * days)
    sun = [max(0.0, -cos(2 * pi * ((hour - 4) % 24) / 24)) for hour in hours]
    answer: dict[str, object] = {
        "latitude": 36.1,
        "longitude": -79.95,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "elevation": 270.0,
        "hourly_units": {
            "time": "iso8601",
            "temperature_2m": "°C",
            "relative_humidity_2m": "%",
            "wind_speed_10m": "km/h",
            "cloud_cover": "%",
            "shortwave_radiation": "W/m²",
            "precipitation": "mm",
            "precipitation_probability": "%",
        },
        "hourly": {
            "time": [(start + timedelta(hours=hour)).isoformat(timespec="minutes") for hour in hours],
            "temperature_2m": [round(25 - 7 * cos(2 * pi * ((hour - 8) % 24) / 24), 1) for hour in hours],
            "relative_humidity_2m": [round(65 + 20 * cos(2 * pi * ((hour - 8) % 24) / 24)) for hour in hours],
            "wind_speed_10m": [10.0 for _ in hours],
            "cloud_cover": [20 for _ in hours],
            "shortwave_radiation": [round(850 * share) for share in sun],
            "precipitation": [0.0 for _ in hours],
            "precipitation_probability": [5 for _ in hours],
        },
    }
    return answer | changes


@pytest.fixture
def hourly() -> Callable[..., dict[str, object]]:
    """Give the maker of invented weather."""
    return hourly_answer


@pytest.fixture
def record_text() -> str:
    """Return the text of an invented record that can be used."""
    return RECORD


@pytest.fixture
def record(tmp_path: Path, record_text: str) -> Path:
    """Write the record to a file."""
    file = tmp_path / "job.toml"
    file.write_text(record_text, encoding="utf-8")
    return file


@pytest.fixture
def weather(tmp_path: Path) -> Path:
    """Write weather that fits the record to a file."""
    file = tmp_path / "weather.json"
    file.write_text(json.dumps(hourly_answer()), encoding="utf-8")
    return file


@pytest.fixture
def as_of() -> str:
    """Return a time of issue that fits record and weather."""
    return "2026-07-14T12:30:00-04:00"


@pytest.fixture
def shared_weather() -> Path:
    """Return the folder of real weather, or skip."""
    folder = Path(os.environ.get("HANDOVER_WEATHER") or ROOT.parent / "shared" / "weather")
    if not folder.is_dir():
        pytest.skip("the folder of real weather is not here (HANDOVER_WEATHER)")
    return folder
