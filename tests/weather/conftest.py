"""Invented weather in the shape of each kind of file."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from handover.weather import Location, WeatherSeries, examine_weather_bytes

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.weather.reading import ExaminedWeather

START = datetime(2026, 7, 14, tzinfo=UTC)


@cache
def power_answer(years: range, days: int, start: tuple[int, int]) -> str:
    """Return the answer of `Files.power`, as text."""
    parameters: dict[str, dict[str, float]] = {
        name: {} for name in ("T2M", "RH2M", "WS10M", "CLOUD_AMT", "ALLSKY_SFC_SW_DWN")
    }
    for year in years:
        first = datetime(year, *start, tzinfo=UTC)
        for hour in range(days * 24):
            name = f"{first + timedelta(hours=hour):%Y%m%d%H}"
            values = (year - 2000 + hour / 100, 50.0, 4.0, 25.0, hour % 1000.0)
            for column, value in zip(parameters.values(), values, strict=True):
                column[name] = value
    units = {"T2M": "C", "RH2M": "%", "WS10M": "m/s", "CLOUD_AMT": "%", "ALLSKY_SFC_SW_DWN": "Wh/m^2"}
    return json.dumps(
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [-80.0, 36.0, 271.0]},
            "properties": {"parameter": parameters},
            "header": {"title": "An invented title", "fill_value": -999.0},
            "parameters": {name: {"units": unit} for name, unit in units.items()},
        }
    )


class Files:
    """Builds weather documents whose every number can be told from its hour."""

    start = START

    @staticmethod
    def open_meteo(hours: int = 48, **changes: object) -> dict:
        """Return an hourly answer: air 20 + hour/10 degC, humidity 60 %, wind 18 km/h, and so on."""
        at = range(hours)
        document = {
            "latitude": 36.1,
            "longitude": -79.95,
            "elevation": 273.0,
            "utc_offset_seconds": 0,
            "timezone": "GMT",
            "hourly_units": {
                "time": "iso8601",
                "temperature_2m": "°C",
                "relative_humidity_2m": "%",
                "dew_point_2m": "°C",
                "precipitation": "mm",
                "precipitation_probability": "%",
                "cloud_cover": "%",
                "wind_speed_10m": "km/h",
                "shortwave_radiation": "W/m²",
            },
            "hourly": {
                "time": [(START + timedelta(hours=h)).strftime("%Y-%m-%dT%H:%M") for h in at],
                "temperature_2m": [20 + h / 10 for h in at],
                "relative_humidity_2m": [60 for _ in at],
                "precipitation": [0.5 for _ in at],
                "precipitation_probability": [25 for _ in at],
                "cloud_cover": [40 for _ in at],
                "wind_speed_10m": [18.0 for _ in at],
                "shortwave_radiation": [100.0 + h for h in at],
            },
        }
        return document | changes

    @staticmethod
    def ensemble(hours: int = 48, members: int = 31, model: str = "", apart: float = 0.2) -> dict:
        """Return the answer of an ensemble: member i has air 20 degC + (i - 15) x apart; 0 is the control.

        Its wind is the air less 10, in m/s; its humidity and cloud are twice the air, in per cent.
        """
        suffix = f"_{model}" if model else ""
        units, hourly = {"time": "iso8601"}, {}
        hourly["time"] = [(START + timedelta(hours=h)).strftime("%Y-%m-%dT%H:%M") for h in range(hours)]
        for member in range(members):
            number = f"_member{member:02d}" if member else ""
            air = 20.0 + (member - 15) * apart
            for name, unit, value in (
                ("temperature_2m", "°C", air),
                ("relative_humidity_2m", "%", 2 * air),
                ("wind_speed_10m", "m/s", air - 10.0),
                ("cloud_cover", "%", 2 * air),
            ):
                units[f"{name}{number}{suffix}"] = unit
                hourly[f"{name}{number}{suffix}"] = [value] * hours
        return {
            "latitude": 36.0,
            "longitude": -80.0,
            "utc_offset_seconds": 0,
            "timezone": "GMT",
            "hourly_units": units,
            "hourly": hourly,
        }

    @staticmethod
    def alerts(*events: str, **changes: object) -> dict:
        """Return an answer with warnings from 2026-07-15 02:00 to 13:00 UTC."""
        usual = {
            "status": "Actual",
            "messageType": "Alert",
            "onset": "2026-07-14T22:00:00-04:00",
            "ends": "2026-07-15T09:00:00-04:00",
            "expires": "2026-07-14T18:00:00-04:00",
            "senderName": "NWS Invented NC",
        }
        return {
            "type": "FeatureCollection",
            "features": [
                {"type": "Feature", "geometry": None, "properties": {**usual, "event": event, **changes}}
                for event in events
            ],
        }

    @staticmethod
    def nws() -> dict:
        """Return a raw grid of two days from 2026-07-14 00:00 UTC."""
        whole = "2026-07-14T00:00:00+00:00/P2D"

        def layer(uom: str, *values: tuple[str, float | None]) -> dict:
            return {"uom": uom, "values": [{"validTime": when, "value": value} for when, value in values]}

        return {
            "type": "Feature",
            "geometry": {
                "type": "Polygon",
                "coordinates": [[[-80, 36], [-80, 36.02], [-79.98, 36.02], [-79.98, 36], [-80, 36]]],
            },
            "properties": {
                "updateTime": "2026-07-14T03:15:00+00:00",
                "gridId": "RAH",
                "gridX": "10",
                "gridY": "20",
                "elevation": {"unitCode": "wmoUnit:m", "value": 270},
                "temperature": layer("wmoUnit:degC", (whole, 25)),
                "dewpoint": layer("wmoUnit:degC", (whole, 15)),
                "relativeHumidity": layer("wmoUnit:percent", (whole, 55)),
                "windSpeed": layer("wmoUnit:km_h-1", (whole, 36)),
                "skyCover": layer("wmoUnit:percent", (whole, 0)),
                "quantitativePrecipitation": layer("wmoUnit:mm", (whole, 0)),
                "probabilityOfPrecipitation": layer("wmoUnit:percent", (whole, 10)),
            },
        }

    @staticmethod
    def met_norway(hours: int = 48, six_hourly: int = 8) -> dict:
        """Return hours from 2026-07-14 00:00 UTC, then six-hourly entries: air 20 + hour/10 degC.

        Each hour has 0.5 mm, each six hours have 3 mm.
        """
        at = [*range(hours), *range(hours, hours + 6 * six_hourly, 6)]

        def entry(hour: int) -> dict:
            instant = {
                "air_temperature": 20 + hour / 10,
                "relative_humidity": 60.0,
                "cloud_area_fraction": 50.0,
                "wind_speed": 5.0,
            }
            one = {"precipitation_amount": 0.5, "probability_of_precipitation": 25.0}
            six = {"precipitation_amount": 3.0, "probability_of_precipitation": 40.0}
            data: dict = {"instant": {"details": instant}, "next_6_hours": {"details": six}}
            if hour < hours:
                data["next_1_hours"] = {"details": one}
            return {"time": f"{START + timedelta(hours=hour):%Y-%m-%dT%H:%M:%SZ}", "data": data}

        units = {
            "air_temperature": "celsius",
            "relative_humidity": "%",
            "cloud_area_fraction": "%",
            "wind_speed": "m/s",
            "precipitation_amount": "mm",
            "probability_of_precipitation": "%",
        }
        return {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [-79.95, 36.1, 271]},
            "properties": {
                "meta": {"updated_at": "2026-07-14T00:20:00Z", "units": units},
                "timeseries": [entry(hour) for hour in at],
            },
        }

    @staticmethod
    def power(years: range = range(2015, 2023), days: int = 40, start: tuple[int, int] = (7, 10)) -> dict:
        """Return an hourly answer of some days of several years.

        The air is the year less 2000 plus a hundredth of the hour of the weeks; sunshine is that hour, up to
        1000.
        """
        return json.loads(power_answer(years, days, start))

    @staticmethod
    def table(
        heading: str = "time_utc,air_temperature_c,relative_humidity_percent,wind_speed_kmh,"
        "cloud_cover_percent,shortwave_radiation_wm2,precipitation_mm",
        row: str = "{time},{air},60,18,40,{sun},0.5",
        hours: int = 6,
        form: str = "%Y-%m-%dT%H:%M",
    ) -> str:
        """Return a CSV of whole hours: air 20 + hour degC, sunshine 100 + hour W/m2."""
        rows = [
            row.format(time=(START + timedelta(hours=h)).strftime(form), air=20 + h, sun=100 + h)
            for h in range(hours)
        ]
        return "\n".join([heading, *rows]) + "\n"


@pytest.fixture(scope="session")
def files() -> Files:
    return Files()


@pytest.fixture(scope="session")
def site() -> Location:
    return Location(36.1, -79.95, "America/New_York")


@pytest.fixture(scope="session")
def examine(site: Location) -> Callable[..., ExaminedWeather]:
    """Judge a document (dict, text or bytes) as if it had been read from the file "weather"."""

    def judge(content: Any, place: Any = site, year: int | None = None, **more: Any) -> ExaminedWeather:
        if isinstance(content, dict | list):
            content = json.dumps(content)
        data = content if isinstance(content, bytes) else content.encode()
        return examine_weather_bytes(data, "weather", place, year, **more)

    return judge


@pytest.fixture(scope="session")
def sound(examine: Callable[..., ExaminedWeather]) -> Callable[..., WeatherSeries]:
    """Read a document that must have no fault."""

    def read(content: Any, **more: Any) -> WeatherSeries:
        series, findings = examine(content, **more)
        assert series is not None, [str(finding) for finding in findings]
        return series

    return read


@pytest.fixture(scope="session")
def faults(examine: Callable[..., ExaminedWeather]) -> Callable[..., list[str]]:
    """Return the faults of a document that must not be usable, as text."""

    def read(content: Any, **more: Any) -> list[str]:
        series, findings = examine(content, **more)
        assert series is None
        problems = [str(finding) for finding in findings if finding.severity == "fault"]
        assert problems, "refused without a word"
        return problems

    return read


@pytest.fixture
def weather_folder() -> Path:
    """The folder of real weather, which is not part of the project."""
    named = os.environ.get("HANDOVER_WEATHER")
    folder = Path(named) if named else Path(__file__).parents[3] / "shared" / "weather"
    if not folder.is_dir():
        pytest.skip("the folder of real weather is not here (HANDOVER_WEATHER)")
    return folder
