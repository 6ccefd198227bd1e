"""Weather shared by jobs: one download for each grid cell, one parsing for each file."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any, NamedTuple

from handover.errors import HandoverError
from handover.service.inputs import download_weather, download_weather_for, needed_until
from handover.weather.location import Location
from handover.weather.reading import examine_weather_bytes

if TYPE_CHECKING:
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.service.job_inputs import WeatherFile
    from handover.weather.location import HasLocation
    from handover.weather.reading import ExaminedWeather as WeatherExamined

CELL_DEG = 0.025
"""Size of the grid cell in which sites share a forecast: the 2.5 km of the National Weather Service, the
finest grid of the sources. [degrees]"""

LONG_AGO = timedelta(days=90)
"""An older pour has its own download, since the services do not go back that far."""

MAX_SERIES = 16

GridCell = tuple[int, int, bool]
"""A grid cell, and whether the pours in it are long ago."""


class _ForecastRequest(NamedTuple):
    """The time span to download for a grid cell, enough for all of its jobs."""

    start: datetime
    until: datetime
    contact: str | None
    timezone: str


class ForecastCache:
    """One forecast for each grid cell, for its middle, downloaded for the first of its jobs."""

    def __init__(self, now: datetime, key: str | None) -> None:
        self._now = now
        self._key = key
        self._requests: dict[GridCell, _ForecastRequest] = {}
        self._latest: tuple[GridCell, WeatherFile | HandoverError] | None = None

    def register(self, job: JobRecord) -> GridCell | None:
        """Register what a job needs; return its cell, or None if the record has no place."""
        site, start, until = job.site, job.placement.start, needed_until(job)
        if site.latitude is None or site.longitude is None:
            return None
        key = (*_grid_cell(site.latitude, site.longitude), self._now - start > LONG_AGO)
        ask = self._requests.get(key) or _ForecastRequest(start, until, None, site.timezone)
        self._requests[key] = _ForecastRequest(
            min(ask.start, start), max(ask.until, until), ask.contact or job.contractor.email, ask.timezone
        )
        return key

    def get(self, key: GridCell | None, job: JobRecord) -> WeatherFile:
        """Return the forecast for a job. Raises as `download_weather`."""
        ask = self._requests[key] if key else None
        if key is None or ask is None or not ask.contact:
            return download_weather(job, self._now, key=self._key)  # which reports what is missing
        if self._latest is None or self._latest[0] != key:
            self._latest = (key, self._download(key, ask, ask.contact))
        answer = self._latest[1]
        if isinstance(answer, HandoverError):
            raise answer
        return answer

    def _download(
        self, key: GridCell, request: _ForecastRequest, contact: str
    ) -> WeatherFile | HandoverError:
        north, east, _ = key
        middle = Location(round(north * CELL_DEG, 4), round(east * CELL_DEG, 4), request.timezone)
        try:
            return download_weather_for(
                middle, request.start, request.until, contact=contact, now=self._now, key=self._key
            )
        except HandoverError as fault:  # one failure counts for all jobs of the cell
            return fault


def _grid_cell(latitude: float, longitude: float) -> tuple[int, int]:
    """Return the middle of the grid cell of a place."""
    return round(latitude / CELL_DEG), round(longitude / CELL_DEG)


class CachingWeatherReader:
    """Reads weather once for all jobs that share it: `examine_weather_bytes` with a cache."""

    def __init__(self) -> None:
        self._kept: dict[Any, WeatherExamined] = {}

    def __call__(
        self,
        data: bytes,
        name: str,
        site: HasLocation,
        year: int | None = None,
        *,
        received_at: datetime | None = None,
    ) -> WeatherExamined:
        """Return the weather of a file, from the cache if possible."""
        anywhere = (data, name, year, received_at, site.timezone)  # a table may have times of the site
        here = (*anywhere, site.latitude, site.longitude)
        kept = self._kept.get(anywhere) or self._kept.get(here)
        if kept is None:
            kept = examine_weather_bytes(data, name, site, year, received_at=received_at)
            names_place = kept[0] is not None and kept[0].latitude is not None
            if len(self._kept) >= MAX_SERIES:
                del self._kept[next(iter(self._kept))]
            # sunshine is computed for the place that the file names
            self._kept[anywhere if names_place else here] = kept
        return kept
