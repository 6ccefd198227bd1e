"""The ground at the placement: as cold as the days before it, and frozen where they were."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.practice.rules import general_rules
from handover.schedule.ground import air_before
from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure
from handover.schedule.printed_times import trial_cut
from handover.schedule.simulation import simulate
from handover.weather.climate import climate_at

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

Kind = MilestoneKind
SAFE = (Kind.FINAL_SET, Kind.FOOT_TRAFFIC, Kind.FROST_SAFE, Kind.LIGHT_WORK, Kind.LIGHT_VEHICLES)
NOWHERE: dict[str, Any] = {"latitude": None, "longitude": None}
DAYS_BEFORE = 4


def after(series: WeatherSeries, before_c: float) -> WeatherSeries:
    """Return weather that begins some days earlier, at a constant temperature until the pour."""
    hours, night = DAYS_BEFORE * 24, 6
    time = series.time[0] - np.arange(hours, 0, -1) * np.timedelta64(3600, "s")
    columns = {
        name: np.concatenate([np.resize(getattr(series, name), hours), getattr(series, name)])
        for name in (
            "relative_humidity", "wind_ms", "cloud", "shortwave_wm2", "precipitation_mm",
            "precipitation_probability", "origin",
        )
    }  # fmt: skip
    air_c = np.concatenate([np.full(hours + night, before_c), series.air_c[night:]])
    return replace(series, time=np.concatenate([time, series.time]), air_c=air_c, **columns)


def hours_to(schedule: CureSchedule, kind: MilestoneKind) -> float:
    milestone = schedule.milestone(kind)
    assert milestone is not None
    if milestone.not_before is None:
        return np.inf
    return (milestone.not_before - schedule.placement_end).total_seconds() / 3600


@pytest.mark.parametrize("method", ["insulating blanket", "curing compound"])
def test_the_colder_the_days_before_the_later_the_dates(
    job: Job, lasting: Weather, as_of: datetime, method: str
) -> None:
    """Seen: "no concrete on frozen ground" on the sheet, and dates as on ground as warm as the day."""
    record = job(curing={"method": method}, site=NOWHERE, placement={"concrete_temperature": 16.0})
    plans = [
        plan_cure(record, after(lasting(2.0, 10.0), before_c), as_of) for before_c in (6.0, 0.5, -0.5, -12.0)
    ]
    for kind in SAFE:
        hours = [hours_to(plan, kind) for plan in plans]
        assert hours == sorted(hours), kind
        assert hours[0] < hours[-1], kind
    assert [plan.has_caution("frozen-ground") for plan in plans] == [False, False, True, True]


def test_warm_days_before_bring_no_date_forward(job: Job, lasting: Weather, as_of: datetime) -> None:
    """Cautious means safe: the ground counts as no warmer than the day after the pour, 14 degC."""
    series = [after(lasting(10.0, 18.0), before_c) for before_c in (16.0, 30.0)]
    plain, warm = (simulate(job(site=NOWHERE), each, as_of, members=1).slab for each in series)
    np.testing.assert_allclose(plain.temperature_c[:24, 0], warm.temperature_c[:24, 0], atol=1e-9)


def test_the_thaw_takes_the_heat_of_its_ice(job: Job, lasting: Weather, as_of: datetime) -> None:
    """Ground with ice in it keeps the bottom of the slab cooler than ground as cold without any water."""
    practice = general_rules()
    dry = {**practice.materials, "soil": {**practice.materials["soil"], "water": 0.0}}
    record = job(slab={"on": "soil"}, site=NOWHERE, placement={"concrete_temperature": 16.0})
    frozen = after(lasting(3.0, 9.0), -6.0)
    wet, of_dry = (
        simulate(record, frozen, as_of, members=4, practice=each).slab.temperature_c[1:48, 0, 2]
        for each in (practice, replace(practice, materials=dry))
    )
    assert (of_dry - wet).min() >= 0.0
    assert (of_dry - wet).max() > 0.5


@pytest.mark.parametrize(("place", "is_cold"), [({}, False), ({"latitude": -77.8, "longitude": 166.7}, True)])
def test_where_the_weather_begins_with_the_pour_cold_ground_is_no_warmer_than_the_season(
    job: Job, weather: Weather, place: dict[str, float], *, is_cold: bool
) -> None:
    """A July in Greensboro is no cold weather; one at McMurdo, by the map of the package, is."""
    record, practice = job(site=place), general_rules()
    climate = climate_at(record.site)
    assert climate is not None
    season = climate.air_c(np.array(["2026-07-14T10:00"], dtype="datetime64[s]"))[0]
    for mean_c in (season - 5.0, season + 5.0):
        series = weather(mean_c, mean_c)
        before = air_before(record, series, series.air_c[:, np.newaxis], practice)
        assert before == pytest.approx([min(mean_c, season) if is_cold else mean_c], abs=0.05)


@pytest.mark.parametrize("room", [{"room_heated": True}, {"room_temperature": 14.0}])
def test_the_ground_of_a_heated_room_is_not_frozen(
    job: Job, lasting: Weather, as_of: datetime, room: dict[str, Any]
) -> None:
    """A room is heated before the pour too: nothing outdoors moves the ground below it."""
    record = job(slab={"exposure": "indoors"}, site={**NOWHERE, **room})
    cold = lasting(-6.0, 2.0)
    plans = [plan_cure(record, after(cold, before_c), as_of) for before_c in (-2.0, -15.0)]
    assert not any(plan.has_caution("frozen-ground") for plan in plans)


def test_the_ground_of_an_unheated_building_freezes_as_its_air_did(
    job: Job, lasting: Weather, as_of: datetime
) -> None:
    record = job(slab={"exposure": "indoors"}, site={**NOWHERE, "room_heated": False})
    plans = [plan_cure(record, after(lasting(3.0, 9.0), before_c), as_of) for before_c in (3.0, -15.0)]
    assert [plan.has_caution("frozen-ground") for plan in plans] == [False, True]
    assert hours_to(plans[0], Kind.FINAL_SET) < hours_to(plans[1], Kind.FINAL_SET)


@pytest.mark.all_members
@pytest.mark.parametrize("day", [(0.0, 8.0), (5.0, 13.0)])
def test_frozen_ground_brings_no_trial_cut_forward(
    job: Job, lasting: Weather, as_of: datetime, day: tuple[float, float]
) -> None:
    """Seen: a first cut two hours sooner, because the concrete placed first counted as on thawed ground."""
    record = job(
        mix={"admixtures": ("non-chloride accelerator",)},
        curing={"method": "insulating blanket", "blanket_r_value": 1.23},
        placement={
            "concrete_temperature": 20.0,
            "end": as_of.replace(hour=8),
            "finished": as_of.replace(hour=11),
        },
        site=NOWHERE,
    )
    trials = []
    for before_c in (6.0, -12.0):
        saw = plan_cure(record, after(lasting(*day), before_c), as_of).milestone(Kind.SAW_JOINTS)
        assert saw is not None
        trial = trial_cut(saw)
        assert trial is not None
        trials.append(trial)
    assert trials == sorted(trials)
