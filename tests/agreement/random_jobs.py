"""Jobs of all kinds, drawn from a seed: the record as its text, the weather as its text, the time of issue.

The weather is a plain wave of days over the season of a latitude, so that no climate data of the product
decide what is tried.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, TypeVar
from zoneinfo import ZoneInfo

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

T = TypeVar("T")

PLACES = (
    ("Austin", 30.27, -97.74, "America/Chicago", "US", 10.0),
    ("Duluth", 46.79, -92.10, "America/Chicago", "US", 12.0),
    ("Tucson", 32.22, -110.97, "America/Phoenix", "US", 16.0),
    ("Atlanta", 33.75, -84.39, "America/New_York", "US", 10.0),
    ("Denver", 39.74, -104.99, "America/Denver", "US", 15.0),
    ("Calgary", 51.05, -114.07, "America/Edmonton", "CA", 13.0),
    ("Anchorage", 61.22, -149.90, "America/Anchorage", "US", 8.0),
    ("Leeds", 53.80, -1.55, "Europe/London", "GB", 7.0),
    ("Kempten", 47.73, 10.32, "Europe/Berlin", "DE", 10.0),
    ("Sevilla", 37.39, -5.99, "Europe/Madrid", "ES", 14.0),
    ("Guadalajara", 20.67, -103.35, "America/Mexico_City", "MX", 14.0),
    ("Hobart", -42.88, 147.33, "Australia/Hobart", "AU", 9.0),
    ("Dubbo", -32.25, 148.60, "Australia/Sydney", "AU", 14.0),
    ("Mendoza", -32.89, -68.84, "America/Argentina/Mendoza", "AR", 14.0),
    ("Pune", 18.52, 73.86, "Asia/Kolkata", "IN", 11.0),
)
"""Town, degrees north and east, zone, country, how far a day swings [K]."""

METHODS = (
    *("sprinkler", "sprinkler", "sprinkler", "soaker hose", "ponding", "wet burlap", "plastic sheet"),
    *("curing compound", "insulating blanket"),
)
RULES = ("us", "us-ufgs", "ca", "eu", "de", "gb", "au", "in", "strictest")
USES = ("driveway", "garage floor", "patio", "walk", "house slab", "shop floor")
PRESENCE = (
    None,
    ["06:30-08:00", "12:00-13:00", "17:00-21:00"],
    ["18:00-22:00"],
    ["05:00-23:00"],
    ["07:00-19:00"],
    ["05:30-06:30", "20:00-23:30"],
)


@dataclass(frozen=True)
class RandomJob:
    """A job to try.

    Attributes:
        name: Of its folder: the number of the draw.
        record: Text of the job record.
        weather: Text of the hourly weather.
        as_of: Time of issue, aware.
        finished: When the last pass ended, aware.
        zone: Of the site.
        method: How it is cured.
        presence: Hours at which somebody is there, each "HH:MM-HH:MM"; None: not in the record.
        timer: Whether a timer waters.
        phone: Whether the record has a telephone number to call.
        indoors: Whether the slab is in a building.
        heated: Whether there are heating pipes in it.
        no_cover: Whether every cover would mark it: it is coloured or stamped.
        language: Of the owner.
        rules: Whose rules are asked for; None: those of the site's country.
        firm_language: Of crew and office; None: the usual one.
    """

    name: str
    record: str
    weather: str
    as_of: datetime
    finished: datetime
    zone: ZoneInfo
    method: str
    presence: list[str] | None
    timer: bool
    phone: bool
    indoors: bool
    heated: bool
    no_cover: bool
    language: str
    rules: str | None
    firm_language: str | None


def random_job(number: int) -> RandomJob:
    """Return the job of a number; equal numbers give equal jobs."""
    random = np.random.default_rng([15, number])

    def one_of(values: Sequence[T]) -> T:
        return values[int(random.integers(len(values)))]

    town, latitude, longitude, zone_name, country, swing = PLACES[number % len(PLACES)]
    zone = ZoneInfo(zone_name)
    month, day = 1 + number % 12, 1 + int(random.integers(28))
    hour = int(one_of([0, 2, 5, 6, 7, 7, 8, 9, 10, 12, 13, 15]))
    start = datetime(2026, month, day, hour, int(one_of([0, 10, 30])), tzinfo=zone)
    end = start + timedelta(minutes=int(one_of([45, 75, 120])))
    mean = _mean_c(latitude, start)
    finished = end + timedelta(hours=min(max(9.0 - 0.22 * mean, 2.5), 9.0))
    as_of = finished + timedelta(minutes=int(one_of([0, 30, 90, 60 * 20])))
    method, presence = str(one_of(METHODS)), one_of(PRESENCE)
    timer, phone = bool(random.random() < 0.2), bool(random.random() < 0.9)
    special = _special(number)
    method = special.method or method
    timer = timer and method in {"sprinkler", "soaker hose"}
    as_of = (finished + special.late if special.late else as_of).replace(microsecond=0)
    language = str(one_of(["en", "en", "es"]))
    concrete = min(max(mean + 4.0, 10.0), 34.0)
    metric = country != "US"
    lines = [
        f'id = "trial-{number}"',
        "[site]",
        f'name = "Trial {number}, {town}"',
        f"latitude = {latitude}",
        f"longitude = {longitude}",
        f'country = "{country}"',
        f'timezone = "{zone_name}"',
        *(["[owner]", 'name = "Robin Vale"', f'language = "{language}"']),
        *(["[contractor]", 'name = "Alder Flatwork"']),
        *(['phone = "555-0142"'] if phone else []),
        "[slab]",
        f'use = "{one_of(USES)}"',
        f'area = "{one_of([40, 70, 110])} m2"' if metric else f'area = "{one_of([400, 700, 1200])} ft2"',
        f'thickness = "{one_of([100, 125, 150])} mm"' if metric else f'thickness = "{one_of([4, 5, 6])} in"',
        f'on = "{one_of(["soil", "gravel", "vapor retarder"])}"',
        *_exposure(str(one_of(["outdoors", "outdoors", "roofed"])), special),
        f'joints = "{one_of(["sawn", "sawn", "early-entry", "tooled", "none"])}"',
        "[placement]",
        f'start = "{start:%Y-%m-%d %H:%M}"',
        f'end = "{end:%Y-%m-%d %H:%M}"',
        f'finished = "{finished:%Y-%m-%d %H:%M}"',
        f'concrete_temperature = "{concrete:.0f} degC"',
        "[mix]",
        f'specified_strength = "{one_of([20, 25, 30])} MPa"',
        f"water_cementitious = {one_of([0.45, 0.5, 0.55])}",
        *([f"fly_ash = {one_of([0.15, 0.3])}"] if random.random() < 0.3 else []),
        *([f"slag = {one_of([0.25, 0.45])}"] if random.random() < 0.15 else []),
        *(['admixtures = ["retarder"]'] if mean > 24 and random.random() < 0.4 else []),
        *(['admixtures = ["accelerator"]'] if mean < 8 and random.random() < 0.4 else []),
        "[curing]",
        f'method = "{method}"',
        *(["timer = true"] if timer else []),
        *([f"available = {presence}".replace("'", '"')] if presence else []),
        "[forms]",
        "edge = true",
    ]
    return RandomJob(
        name=f"{number:03}",
        record="\n".join(lines) + "\n",
        weather=_weather(random, latitude, longitude, start, swing),
        as_of=as_of,
        finished=finished,
        zone=zone,
        method=method,
        presence=presence if isinstance(presence, list) else None,
        timer=timer,
        phone=phone,
        indoors=special.indoors,
        heated=special.heated,
        no_cover=bool(special.surface),
        language=language,
        rules=special.rules,
        firm_language=special.firm_language,
    )


@dataclass(frozen=True)
class _Special:
    """What few jobs have; drawn apart, so that the other draws of a job do not depend on it."""

    method: str | None
    late: timedelta | None
    indoors: bool
    heated: bool
    surface: tuple[str, ...]
    rules: str | None
    firm_language: str | None


def _special(number: int) -> _Special:
    random = np.random.default_rng([16, number])
    hose, late, indoors, _, heated, marked, ruled, firm = random.random(8)
    days, kind, rules = random.integers(1, 6), random.integers(3), random.integers(len(RULES))
    surfaces = (["coloured = true"], ['finish = "stamped"'], ["coloured = true", 'finish = "stamped"'])
    return _Special(
        method="hose by hand" if hose < 0.12 else None,
        late=timedelta(days=int(days), hours=3) if late < 0.12 else None,
        indoors=bool(indoors < 0.1),
        heated=bool(heated < 0.12),
        surface=tuple(surfaces[int(kind)]) if marked < 0.12 else (),
        rules=RULES[int(rules)] if ruled < 0.12 else None,
        firm_language="es" if firm < 0.12 else None,
    )


def _exposure(usual: str, special: _Special) -> list[str]:
    """Return the lines of the slab table that say where it is, and what is in it and on it."""
    return [
        f'exposure = "{"indoors" if special.indoors else usual}"',
        *(["heated = true"] if special.heated else []),
        *special.surface,
    ]


def slabs_of_project(number: int) -> tuple[RandomJob, RandomJob]:
    """Return the job of a number as one of a project, and a thicker slab there, placed a day later."""
    job, day = random_job(number), timedelta(days=1)
    named = job.record.replace("[owner]", f'project = "Project {number}"\n[owner]')
    later = named.replace(f'id = "trial-{number}"', f'id = "trial-{number}-b"')
    later = later.replace(f'name = "Trial {number}, ', f'name = "Trial {number} behind, ')
    later = re.sub(r"(?m)^thickness = .*$", 'thickness = "160 mm"', later)
    later = re.sub(r'(?m)^(start|end|finished) = "(.*)"$', _a_day_later, later)
    return replace(job, record=named), replace(
        job, name=f"{job.name}-b", record=later, as_of=job.as_of + day, finished=job.finished + day
    )


def _a_day_later(line: re.Match[str]) -> str:
    when = datetime.fromisoformat(line[2]) + timedelta(days=1)
    return f'{line[1]} = "{when:%Y-%m-%d %H:%M}"'


def _mean_c(latitude: float, day: datetime) -> float:
    """Return about how warm a day is, by latitude and season, in degC."""
    season = math.cos(2 * math.pi * (day.timetuple().tm_yday - 200) / 365.25) * math.copysign(1, latitude)
    return 30.0 - 0.42 * abs(latitude) + (0.012 * latitude**2 - 0.0001 * abs(latitude) ** 3) * season


def _weather(
    random: np.random.Generator, latitude: float, longitude: float, start: datetime, swing: float
) -> str:
    """Return fifteen days of hours: a wave with the sun, and fronts that last some days."""
    first = start.astimezone(UTC).replace(minute=0) - timedelta(hours=3)
    fronts, damp = random.normal(0, 3.5, 6), float(random.uniform(0.3, 0.8))
    breeze, wet = float(random.uniform(1.0, 6.0)), random.random(16) < 0.25
    columns = ("air_temperature_c", "relative_humidity_percent", "wind_speed_10m_ms", "cloud_cover_percent")
    rows = [",".join(("time_utc", *columns, "precipitation_mm", "precipitation_probability_percent"))]
    for hour in range(15 * 24):
        at = first + timedelta(hours=hour)
        sun = math.cos(2 * math.pi * (at.hour + longitude / 15.0 - 15.0) / 24.0)
        front = float(np.interp(hour / 72.0, np.arange(6), fronts))
        air = _mean_c(latitude, at) + front + swing / 2.0 * sun
        humidity = min(max(damp - 0.2 * sun, 0.1), 0.98)
        wind = breeze * (1.0 + 0.5 * sun)
        rain = wet[hour // 24] and at.hour in {3, 4, 15, 16, 17}
        rows.append(
            f"{at:%Y-%m-%dT%H:%M:%SZ},{air:.1f},{100 * humidity:.0f},{wind:.1f},"
            f"{90 if wet[hour // 24] else 30},{2.0 if rain else 0.0},{70 if rain else 5}"
        )
    head = [
        f"# issued_at: {start.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}",
        f"# latitude: {latitude}",
        f"# longitude: {longitude}",
    ]
    return "\n".join([*head, *rows]) + "\n"
