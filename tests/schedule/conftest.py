"""Jobs and weather to plan with: plain days, bent by the tests that need it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from handover.jobs.record import Curing, Forms, JobRecord, Mix, Placement, Site, Slab
from handover.schedule import plan
from handover.schedule.ensemble import MEMBERS
from handover.weather.series import Origin, WeatherSeries

ZONE = ZoneInfo("America/New_York")
MIDNIGHT = datetime(2026, 7, 14, tzinfo=ZONE)
HOURS = 14 * 24

Job = Callable[..., JobRecord]
Weather = Callable[..., WeatherSeries]


FEW = 8
"""Members of a plan: what must hold for any slab holds for any number of members."""


@pytest.fixture(autouse=True)
def _simulate_once(shared_simulations: Callable[[], None]) -> None:
    """Many tests plan the same plain day."""


@pytest.fixture(autouse=True)
def _plan_few_once(
    request: pytest.FixtureRequest,
    monkeypatch: pytest.MonkeyPatch,
    plan_once: Callable[..., Any],
    _simulate_once: None,
) -> None:
    """Plan equal days once, and with few members where a test asks for no number.

    The mark `all_members` is for tests of statistics, and for those that compare a schedule with a figure of
    a source.
    """
    members = MEMBERS if request.node.get_closest_marker("all_members") else FEW
    for name, function in (("plan_cure", plan_once), ("simulate", plan.simulate)):
        if hasattr(request.module, name):
            monkeypatch.setattr(request.module, name, partial(function, members=members))


@pytest.fixture
def job() -> Job:
    """A 4 in garage slab placed from 6:10 to 7:25 in July; tables are replaced key by key."""

    def build(**tables: dict[str, Any]) -> JobRecord:
        base: dict[str, Any] = {
            "site": {
                "name": "Alder Lane",
                "latitude": 36.1,
                "longitude": -79.95,
                "timezone": "America/New_York",
            },
            "slab": {"use": "garage floor", "area": 111.5, "thickness": 0.1016, "on": "gravel"},
            "placement": {
                "start": MIDNIGHT.replace(hour=6, minute=10),
                "end": MIDNIGHT.replace(hour=7, minute=25),
                "finished": MIDNIGHT.replace(hour=11, minute=40),
            },
            "mix": {"specified_strength": 20.684, "cementitious": 334.6, "water_cementitious": 0.5},
            "curing": {"application_rate": 10.16},
            "forms": {},
        }
        filled = {name: {**base[name], **tables.get(name, {})} for name in base}
        return JobRecord(
            id="2026-07-14-alder",
            site=Site(**filled["site"]),
            slab=Slab(**filled["slab"]),
            placement=Placement(**filled["placement"]),
            mix=Mix(**filled["mix"]),
            curing=Curing(**filled["curing"]),
            forms=Forms(**filled["forms"]),
        )

    return build


@pytest.fixture
def weather() -> Weather:
    """Two weeks of one day over again from midnight: lowest at 3:30, highest at 15:30, sun from 6 to 20."""

    def build(lowest_c: float = 22.2, highest_c: float = 32.2, **columns: Any) -> WeatherSeries:
        start = np.datetime64(MIDNIGHT.astimezone(UTC).replace(tzinfo=None), "s")
        hours = np.arange(HOURS)
        clock = hours % 24
        warmth = np.sin((clock - 9.5) / 24.0 * 2.0 * np.pi)
        sun = np.where((clock > 6) & (clock <= 20), np.sin((clock - 6.5) / 14.0 * np.pi), 0.0)
        plain = WeatherSeries(
            time=start + hours * np.timedelta64(3600, "s"),
            air_c=(lowest_c + highest_c) / 2.0 + (highest_c - lowest_c) / 2.0 * warmth,
            relative_humidity=0.58 - 0.18 * warmth,
            wind_ms=4.0 + 1.5 * warmth,
            cloud=np.full(HOURS, 0.2),
            shortwave_wm2=np.maximum(900.0 * sun, 0.0),
            precipitation_mm=np.zeros(HOURS),
            precipitation_probability=np.zeros(HOURS),
            origin=np.full(HOURS, Origin.FORECAST, dtype=np.int8),
            source="invented",
            issued_at=MIDNIGHT.replace(hour=5),
            latitude=36.1,
            longitude=-79.95,
        )
        return replace(plain, **columns)

    return build


NOWHERE: dict[str, Any] = {"latitude": None, "longitude": None}


@pytest.fixture
def lasting(weather: Weather) -> Weather:
    """The same where no place is known, so that nothing tells that the cold of two weeks will end."""

    def build(lowest_c: float, highest_c: float) -> WeatherSeries:
        return weather(lowest_c, highest_c, **NOWHERE)

    return build


@pytest.fixture
def as_of() -> datetime:
    return MIDNIGHT.replace(hour=12)
