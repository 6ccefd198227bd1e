"""How often a date printed as "not before" is not printed, or turns out too early, over two typical years.

For each start day the real hours are blurred into a forecast, a schedule is issued on it, and then the
slab is simulated with the real hours and with mixes and method errors of its own, drawn as the schedule's
members are. A printed date is too early for those of them that come out later.

Two ways of blurring: by the error model that the schedule states, and by one it does not know: the day
before the pour, repeated. Weather: Greensboro, North Carolina, and Sand Point, Alaska, the TMY3 years
inside the pvlib wheel.

Which share of the members a date waits for is learnt on half of the pours and shown on the other half. The
halves are blocks of pours in turn, half a month each with 120 pours, because neighbours share their weather.

    python tests/benchmarks/backtest.py [STARTS] [--data handover/practice/backtest.toml] [--shift DAYS]

With a shift the pours are on other days: some from which nothing was learnt.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from handover.jobs.record import Curing, JobRecord, Mix, Placement, Site, Slab
from handover.practice.backtest import SEASONS, season_of
from handover.practice.rules import practice
from handover.schedule.ensemble import forecast_errors
from handover.schedule.milestones import compute_dates
from handover.schedule.quantiles import share_to_wait_for, smoothed_quantile
from handover.schedule.simulation import simulate
from handover.schedule.slab_simulation import DAYS
from handover.weather.climate import climate_at
from handover.weather.location import Location
from handover.weather.reading import read_weather
from handover.weather.series import Origin, WeatherSeries

if TYPE_CHECKING:
    from handover.base.arrays import Floats
    from handover.schedule.simulation import Simulation

Blur = Callable[[WeatherSeries, datetime, np.random.Generator], WeatherSeries]

YEAR = 2025
SEED = 2025
STARTS = 120
FORECAST_DAYS = 7
REAL_DAYS, ISSUED_DAYS = 90, DAYS  # simulated in real weather, and for the schedule
BLOCK = 5
MIXES = 80
"""Members of the slab in real weather; those of the concrete placed last are compared."""
NO_LEVEL = ("saw-joints", "curing-ends")
"""Sawing has a window, whose ends are found for each member; from the end of curing others are measured."""
LEVELS = tuple(round(0.90 + 0.01 * number, 2) for number in range(9))
LEAST_PLACE, MOST_PLACE, MOST_UNKNOWN = 0.05, 0.15, 0.20
"""Goals: too early in one place with the stated error model, and with one that the schedule does not know."""
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
        place: Name of the town.
        pour: Number of the pour.
        season: When the concrete was placed.
        share: Share of the members that the schedule waits for.
        members_h: The one of each member of the schedule, shape (m,); infinite: never.
        real_h: As it came out, for each mix and method error, shape (k,); infinite: never.
    """

    kind: str
    place: str
    pour: int
    season: str
    share: float
    members_h: Floats
    real_h: Floats

    @property
    def told_h(self) -> float:
        """The printed one, "not before"; infinite: not printed."""
        return self.at_share(share_to_wait_for(self.kind, self.share))

    @property
    def likely_h(self) -> float:
        """The likely one."""
        return self.at_share(0.5)

    @property
    def is_learnt_from(self) -> bool:
        """Whether the pour is of the half that levels are learnt from."""
        return self.pour // BLOCK % 2 == 0

    def at_share(self, share: float) -> float:
        """Return when a share of the members has met the date."""
        return smoothed_quantile(self.members_h, share)

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

STATED, UNKNOWN = "stated error model", "yesterday repeated"
BLURS: dict[str, Blur] = {STATED: stated, UNKNOWN: yesterday}


def pours(
    town: Town, year: WeatherSeries, starts: int, shift: float = 0.0
) -> Iterator[tuple[int, datetime, WeatherSeries]]:
    """Yield start days over the year, shifted by some days, each with its real hours from the day before."""
    zone = ZoneInfo(town.zone)
    first = datetime(YEAR, 1, 2, tzinfo=zone) + timedelta(days=shift)
    for number in range(starts):
        day = first + timedelta(days=number * (364 / starts))
        day = day.replace(hour=0, minute=0, second=0)
        start, end = day - timedelta(days=1, hours=2), day + timedelta(days=REAL_DAYS)
        yield number, day, year.window(start, end)


def outcomes(
    town: Town, year: WeatherSeries, blur: Blur, starts: int, members: int = 200, shift: float = 0.0
) -> Iterator[Outcome]:
    """Yield how every date of every pour came out."""
    random = np.random.default_rng(SEED)
    for number, day, real in pours(town, year, starts, shift):
        job = job_on(town, number, day)
        made = job.placement.start.astimezone(UTC)
        blurred = blur(real, made, random)
        issued, issued_h = hours_of_dates(
            job,
            blurred.window(real.first_hour, made + timedelta(days=FORECAST_DAYS)),
            made,
            members,
            ISSUED_DAYS,
        )
        came_out = hours_in_real_weather(job, real, made)
        for kind in DATES:
            yield Outcome(
                kind,
                town.name,
                pour=number,
                season=season_of(day.month, town.latitude),
                share=issued.share,
                members_h=issued_h[kind][issued.ensemble.last_placed],
                real_h=came_out[kind],
            )


def hours_in_real_weather(job: JobRecord, real: WeatherSeries, made: datetime) -> dict[str, Floats]:
    """Return the hours at which every date of a pour came out, computed once for all ways of blurring."""
    other = job.model_copy(update={"id": f"{job.id}-real"})
    if (other.id, made) not in CAME_OUT:
        simulation, met_h = hours_of_dates(other, real, made, MIXES, REAL_DAYS)
        CAME_OUT[other.id, made] = {kind: met_h[kind][1 : simulation.ensemble.n_last] for kind in DATES}
    return CAME_OUT[other.id, made]


def hours_of_dates(
    job: JobRecord, weather: WeatherSeries, made: datetime, members: int, days: int
) -> tuple[Simulation, Mapping[str, Floats]]:
    """Return the simulation of a job, and the hours at which each member meets each date."""
    simulation = simulate(job, weather, made, members=members, days=days)
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


def _row(kind: str, found: list[Outcome], level: float | None = None) -> Row:
    """Return what came of a date, by its own share of the members or another; not a number: never printed."""
    told = {id(each): each.told_h if level is None else each.at_share(level) for each in found}
    printed = [each for each in found if np.isfinite(told[id(each)])]
    never = 1.0 - len(printed) / len(found)
    if not printed:
        return Row(kind, 0, never, np.nan, np.nan, np.nan, np.nan)
    later = np.concatenate([told[id(each)] - each.real_h for each in printed])
    later = later[np.isfinite(later)]
    return Row(
        kind,
        len(printed),
        never,
        missed=float(np.mean([each.later_than(told[id(each)]) for each in printed])),
        later_h=float(later.mean()) if len(later) else np.nan,
        median_h=float(np.median(later)) if len(later) else np.nan,
        told_h=float(np.mean([told[id(each)] for each in printed])),
    )


def main(starts: int, data: Path | None, shift: float) -> None:
    """Print the tables: of the year, how the seasons differ, and what was learnt."""
    every: dict[str, list[Outcome]] = {name: [] for name in BLURS}
    for town in TOWNS:
        for name, blur in BLURS.items():
            found = list(outcomes(town, town.year(), blur, starts, shift=shift))
            every[name] += found
            show(f"{town.name}, {starts} pours, forecast by {name}", found)
    levels = learn(every)
    show_learnt(every, levels)
    if data is not None:
        data.write_text(as_toml(every[STATED], levels, starts), encoding="utf-8")


def show(title: str, found: list[Outcome]) -> None:
    """Print the tables of one place and one way of blurring."""
    print(f"\n{title}")
    print(_HEAD)
    for row in rows(found):
        print(_line(row.kind, row))
    for season in SEASONS:
        print(_line(f"all, {season}", rows([each for each in found if each.season == season])[-1]))


def learn(every: Mapping[str, list[Outcome]]) -> dict[str, float]:
    """Return for each date the least share of members that meets the goals on the half to learn from.

    It is never below the share that is printed. For the goal of the blur that the schedule does not know, a
    date waits for more members only as far as it does not become too late with the stated error model.
    """
    half = {name: [each for each in found if each.is_learnt_from] for name, found in every.items()}
    return {kind: LEVELS[0] if kind in NO_LEVEL else _learn_one(kind, half) for kind in DATES}


def _learn_one(kind: str, half: Mapping[str, list[Outcome]]) -> float:
    def is_late_enough(level: float) -> bool:
        return all(missed(kind, level, half[STATED], town.name) <= MOST_PLACE for town in TOWNS)

    def is_too_late(level: float) -> bool:
        return any(missed(kind, level, half[STATED], town.name) < LEAST_PLACE for town in TOWNS)

    def holds_against_unknown(level: float) -> bool:
        return all(missed(kind, level, half[UNKNOWN], town.name) <= MOST_UNKNOWN for town in TOWNS)

    first = next((level for level in LEVELS if is_late_enough(level)), LEVELS[-1])
    more = [first, *(level for level in LEVELS if level > first and not is_too_late(level))]
    return next((level for level in more if holds_against_unknown(level)), more[-1])


def missed(kind: str, level: float, found: list[Outcome], place: str | None = None) -> float:
    """Return the share of what came out later than a date that waits for a share of the members."""
    own = [each for each in found if each.kind == kind and place in (None, each.place)]
    told = [(each, each.at_share(level)) for each in own]
    return float(np.mean([each.later_than(hours) for each, hours in told if np.isfinite(hours)]))


def show_learnt(every: Mapping[str, list[Outcome]], levels: Mapping[str, float]) -> None:
    """Print too early on the half that was held out, waiting for the share printed and for that learnt."""
    print("\nThe half held out: too early, waiting for 90 % of the members, then for the share learnt")
    other = {name: [each for each in found if not each.is_learnt_from] for name, found in every.items()}
    for kind in DATES:
        cells = [
            f"{town.name}, {name}: {missed(kind, LEVELS[0], other[name], town.name):.1%}"
            f" {missed(kind, levels[kind], other[name], town.name):.1%}"
            for town in TOWNS
            for name in BLURS
        ]
        print(f"{kind:18}{levels[kind]:5.2f}  {'; '.join(cells)}")


def as_toml(found: list[Outcome], levels: Mapping[str, float], starts: int) -> str:
    """Return the data file: the shares learnt, and what came of the dates that wait for them."""
    lines = [
        "# What came of dates in real weather. Written by",
        f"#     python tests/benchmarks/backtest.py {starts} --data handover/practice/backtest.toml",
        f"# {starts} pours in each of two typical years (TMY3), Greensboro and Sand Point; forecasts blurred",
        f"# by the stated error model, seed {SEED}; {MIXES * 3 // 4 - 1} mixes each.",
        "",
        "# Share of the slabs that are to meet a date.",
        "",
        f"share = {LEVELS[0]}",
        "",
        f"# Share of the members to wait for, learnt on blocks of {BLOCK} pours, every other one: the least",
        "# that is not below the share above, with which at most 15 % come too early in each place, and at",
        "# most 20 % with the weather of the day before, repeated, as far as at least 5 % come too early",
        "# with the stated error model. Sawing has a window, whose ends are found for each member; from the",
        "# end of curing other dates are measured.",
        "[levels]",
        *(f"{kind} = {level}" for kind, level in levels.items() if kind not in NO_LEVEL),
        "",
        "# By season: pours, share not printed, share later than printed, median later than needed, in h.",
    ]
    for kind in DATES:
        lines += ["", f"[seasons.{kind}]"]
        for season in SEASONS:
            own = [each for each in found if each.kind == kind and each.season == season]
            row = _row(kind, own, levels[kind])
            values = f"{len(own)}, {row.never:.3f}, {row.missed:.3f}, {row.median_h:.1f}"
            lines.append(f"{season} = [{values}]")
    return "\n".join([*lines, ""])


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
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("starts", type=int, nargs="?", default=STARTS, help="number of pours in each place")
    parser.add_argument("--data", type=Path, help="write the shares learnt and the seasons to this file")
    parser.add_argument("--shift", type=float, default=0.0, help="pours so many days later")
    arguments = parser.parse_args()
    main(arguments.starts, arguments.data, arguments.shift)
