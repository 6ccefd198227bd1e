"""How often a date printed as "not before" is not printed, or turns out too early, over two typical years.

For each start day the real hours are blurred into a forecast, a schedule is issued on it, and then the
slab is simulated with the real hours and with mixes and method errors of its own, drawn as the schedule's
members are. A printed date is too early for those of them that come out later.

Two ways of blurring: by the error model that the schedule states, and by one it does not know: the day
before the pour, repeated. Weather: Greensboro, North Carolina, and Sand Point, Alaska, the TMY3 years
inside the pvlib wheel.

    python tests/benchmarks/backtest.py [STARTS]
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from handover.jobs.record import Curing, JobRecord, Mix, Placement, Site, Slab
from handover.practice.rules import practice
from handover.schedule.ensemble import forecast_errors
from handover.schedule.milestones import compute_dates
from handover.schedule.simulation import simulate
from handover.weather.climate import climate_at
from handover.weather.location import Location
from handover.weather.reading import read_weather
from handover.weather.series import Origin, WeatherSeries

if TYPE_CHECKING:
    from handover.base.arrays import Floats
    from handover.schedule.simulation import Simulation

Blur = Callable[[WeatherSeries, datetime, np.random.Generator], WeatherSeries]

YEAR = 2025
STARTS = 120
FORECAST_DAYS = 7
REAL_DAYS = 90
SEASONS = ("winter", "spring", "summer", "fall")
DATES = (
    "initial-set",
    "final-set",
    "first-water",
    "saw-joints",
    "strip-edge-forms",
    "foot-traffic",
    "frost-safe",
    "light-work",
    "light-vehicles",
    "curing-ends",
    "heavy-vehicles",
)
"""The dates that weather moves; those of plain age (sealing, covering, salt) are never missed."""


@dataclass(frozen=True)
class Town:
    """A place with a typical year inside the pvlib wheel."""

    name: str
    file: str
    latitude: float
    longitude: float
    zone: str

    def year(self) -> WeatherSeries:
        """Return its typical year as hours that were observed."""
        spec = find_spec("pvlib")
        assert spec is not None
        assert spec.origin is not None
        path = Path(spec.origin).parent / "data" / self.file
        series = read_weather(path, site=Location(self.latitude, self.longitude, self.zone), year=YEAR)
        return replace(series, origin=np.full(len(series), Origin.OBSERVED, dtype=np.int8), issued_at=None)


TOWNS = (
    Town("Greensboro", "723170TYA.CSV", 36.1, -79.95, "America/New_York"),
    Town("Sand Point", "703165TY.csv", 55.317, -160.517, "America/Anchorage"),
)


@dataclass(frozen=True)
class Outcome:
    """One date of one pour, in hours since placement.

    Attributes:
        kind: Which.
        season: When the concrete was placed.
        told_h: The printed one, "not before"; infinite: not printed.
        likely_h: The likely one.
        real_h: As it came out, for each mix and method error, shape (k,); infinite: never.
    """

    kind: str
    season: str
    told_h: float
    likely_h: float
    real_h: Floats

    def later_than(self, hours: float) -> float:
        """Return the share of what came out that is later."""
        return float((self.real_h > hours).mean())


def job_on(town: Town, number: int, day: datetime) -> JobRecord:
    """Return a plain 4 in slab placed in the morning of a day."""
    start = day.replace(hour=8)
    return JobRecord(
        id=f"backtest-{town.name}-{number}",
        site=Site(name=town.name, latitude=town.latitude, longitude=town.longitude, timezone=town.zone),
        slab=Slab(use="garage floor", area=100.0, thickness=0.1016, on="gravel"),
        placement=Placement(start=start, end=start + timedelta(hours=1)),
        mix=Mix(specified_strength=20.684, cementitious=335.0, water_cementitious=0.5),
        curing=Curing(application_rate=10.16),
    )


def stated(real: WeatherSeries, made: datetime, random: np.random.Generator) -> WeatherSeries:
    """Blur the real hours by the error model that the schedule states."""
    forecast = replace(real, origin=np.full(len(real), Origin.FORECAST, dtype=np.int8))
    place = Location(real.latitude, real.longitude)
    errors = forecast_errors(forecast, practice(), made.timestamp(), 2, random, climate=climate_at(place))
    error = {name: each[:, 1] for name, each in errors.items()}
    return replace(
        forecast,
        air_c=real.air_c + error["air_c"],
        relative_humidity=np.clip(real.relative_humidity + error["relative_humidity"], 0.02, 1.0),
        wind_ms=real.wind_ms * np.maximum(1.0 + error["wind_ms"], 0.0),
        cloud=np.clip(real.cloud + error["cloud"], 0.0, 1.0),
        issued_at=made,
    )


def yesterday(real: WeatherSeries, made: datetime, _: np.random.Generator) -> WeatherSeries:
    """Forecast the day before the pour, again and again."""
    known = real.time.astype("datetime64[s]").astype(np.int64)
    at = int(np.searchsorted(known, made.timestamp()))
    rows = np.arange(len(real))
    rows[at:] = at - 24 + (rows[at:] - at) % 24
    columns = ("air_c", "relative_humidity", "wind_ms", "cloud", "shortwave_wm2")
    repeated = {name: getattr(real, name)[rows] for name in columns}
    origin = np.where(np.arange(len(real)) < at, Origin.OBSERVED, Origin.FORECAST).astype(np.int8)
    return replace(real, **repeated, origin=origin, issued_at=made)


CAME_OUT: dict[tuple[str, datetime], dict[str, Floats]] = {}
"""The hours at which the dates of a pour came out, by its job and day."""

BLURS: dict[str, Blur] = {"stated error model": stated, "yesterday repeated": yesterday}


def pours(town: Town, year: WeatherSeries, starts: int) -> Iterator[tuple[int, datetime, WeatherSeries]]:
    """Yield start days spread over the year, each with its real hours from the day before."""
    zone = ZoneInfo(town.zone)
    first = datetime(YEAR, 1, 2, tzinfo=zone)
    for number in range(starts):
        day = first + timedelta(days=number * (364 / starts))
        day = day.replace(hour=0, minute=0, second=0)
        start, end = day - timedelta(days=1, hours=2), day + timedelta(days=REAL_DAYS)
        yield number, day, year.window(start, end)


def outcomes(
    town: Town, year: WeatherSeries, blur: Blur, starts: int, members: int = 200
) -> Iterator[Outcome]:
    """Yield how every date of every pour came out."""
    random = np.random.default_rng(2025)
    for number, day, real in pours(town, year, starts):
        job = job_on(town, number, day)
        made = job.placement.start.astimezone(UTC)
        blurred = blur(real, made, random)
        issued, issued_h = hours_of_dates(
            job, blurred.window(real.first_hour, made + timedelta(days=FORECAST_DAYS)), made, members
        )
        came_out = hours_in_real_weather(job, real, made)
        for kind in DATES:
            result = issued_h[kind][issued.ensemble.last_placed]
            yield Outcome(
                kind,
                season=SEASONS[day.month % 12 // 3],
                told_h=float(np.quantile(result, issued.share, method="inverted_cdf")),
                likely_h=float(np.quantile(result, 0.5, method="inverted_cdf")),
                real_h=came_out[kind],
            )


def hours_in_real_weather(job: JobRecord, real: WeatherSeries, made: datetime) -> dict[str, Floats]:
    """Return the hours at which every date of a pour came out, computed once for all ways of blurring."""
    other = job.model_copy(update={"id": f"{job.id}-real"})
    if (other.id, made) not in CAME_OUT:
        simulation, met_h = hours_of_dates(other, real, made, 24)
        CAME_OUT[other.id, made] = {kind: met_h[kind][1 : simulation.ensemble.n_last] for kind in DATES}
    return CAME_OUT[other.id, made]


def hours_of_dates(
    job: JobRecord, weather: WeatherSeries, made: datetime, members: int
) -> tuple[Simulation, Mapping[str, Floats]]:
    """Return the simulation of a job, and the hours at which each member meets each date."""
    simulation = simulate(job, weather, made, members=members)
    return simulation, compute_dates(simulation, lambda _: "forecast").met_h


@dataclass(frozen=True)
class Row:
    """What came of a date.

    Attributes:
        kind: Which.
        count: In how many pours it was printed.
        never: Share of the pours in which it was not: a tenth of the members never reach it.
        missed: Share of what came out later than printed, or never, of the pours in which it was printed.
        later_h: How much later than needed it was printed, on average if it came at all. [h]
        median_h: The median of the same. [h]
        told_h: When it was printed, on average, after placement. [h]
    """

    kind: str
    count: int
    never: float
    missed: float
    later_h: float
    median_h: float
    told_h: float


def rows(found: list[Outcome]) -> list[Row]:
    """Return a row for each date, and one for all."""
    return [
        _row(kind, [each for each in found if kind in (each.kind, "all")])
        for kind in (*DATES, "all")
        if any(kind in (each.kind, "all") for each in found)
    ]


def _row(kind: str, found: list[Outcome]) -> Row:
    """Return what came of a date; not a number where it was never printed."""
    printed = [each for each in found if np.isfinite(each.told_h)]
    never = 1.0 - len(printed) / len(found)
    if not printed:
        return Row(kind, 0, never, np.nan, np.nan, np.nan, np.nan)
    later = np.concatenate([each.told_h - each.real_h for each in printed])
    later = later[np.isfinite(later)]
    return Row(
        kind,
        len(printed),
        never,
        missed=float(np.mean([each.later_than(each.told_h) for each in printed])),
        later_h=float(later.mean()) if len(later) else np.nan,
        median_h=float(np.median(later)) if len(later) else np.nan,
        told_h=float(np.mean([each.told_h for each in printed])),
    )


def main(starts: int) -> None:
    """Print the tables: of the year, then how the seasons differ."""
    for name, blur in BLURS.items():
        for town in TOWNS:
            found = list(outcomes(town, town.year(), blur, starts))
            print(f"\n{town.name}, {starts} pours, forecast by {name}")
            print(_HEAD)
            for row in rows(found):
                print(_line(row.kind, row))
            for season in SEASONS:
                print(_line(f"all, {season}", rows([each for each in found if each.season == season])[-1]))


_HEAD = (
    f"{'':24}{'printed':>8}{'never':>9}{'too early':>11}"
    f"{'mean later, h':>15}{'median later, h':>17}{'printed, h':>12}"
)


def _line(name: str, row: Row) -> str:
    return (
        f"{name:24}{row.count:8}{row.never:9.1%}{row.missed:11.1%}"
        f"{row.later_h:15.1f}{row.median_h:17.1f}{row.told_h:12.1f}"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else STARTS)
