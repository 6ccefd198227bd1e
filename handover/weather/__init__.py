"""Hourly weather, from wherever it comes, as one kind of series.

Light to import: pvlib, pandas and httpx2 come in only where a function needs them.
"""

from __future__ import annotations

from handover.weather.location import HasLocation, Location
from handover.weather.reading import examine_weather, examine_weather_bytes, read_weather
from handover.weather.series import Origin, WeatherSeries

__all__ = [
    "HasLocation",
    "Location",
    "Origin",
    "WeatherSeries",
    "examine_weather",
    "examine_weather_bytes",
    "read_weather",
]
