"""The room of a slab indoors: stated, heated, unheated or unknown; what follows from the air there."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.air.psychrometrics import vapour_pressure
from handover.practice.rules import general_rules
from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure
from handover.schedule.printed_times import trial_cut
from handover.schedule.simulation import simulate
from handover.schedule.surroundings import around_slab, weather_of_members
from handover.weather.climate import climate_at

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.base.arrays import Floats
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule
    from handover.schedule.simulation import Simulation
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

Kind = MilestoneKind
SAFE = (Kind.FINAL_SET, Kind.FOOT_TRAFFIC, Kind.FROST_SAFE, Kind.LIGHT_WORK, Kind.LIGHT_VEHICLES)
UNKNOWN: dict[str, Any] = {}
UNHEATED: dict[str, Any] = {"room_heated": False}
HEATED: dict[str, Any] = {"room_heated": True}
WINTER = (-9.0, 1.0)


def stated(room_c: float) -> dict[str, Any]:
    return {"room_temperature": room_c}


@pytest.fixture
def inside(job: Job) -> Callable[[dict[str, Any]], JobRecord]:
    """Build the record of a slab indoors by what it says of the room."""
    return lambda room: job(slab={"exposure": "indoors"}, site=room)


def hours_to(schedule: CureSchedule, kind: MilestoneKind) -> float:
    milestone = schedule.milestone(kind)
    assert milestone is not None
    if milestone.not_before is None:
        return np.inf
    return (milestone.not_before - schedule.placement_end).total_seconds() / 3600


def sawing_closes(schedule: CureSchedule) -> float:
    milestone = schedule.milestone(Kind.SAW_JOINTS)
    assert milestone is not None
    assert milestone.not_after is not None
    return milestone.not_after.timestamp()


def air_of(
    simulation: Simulation, room: dict[str, Any], weather: WeatherSeries, season_c: float | None = None
) -> tuple[Floats, Floats]:
    """Return the room's air of the concrete placed last and of that placed first, without errors, (n,)."""
    site = simulation.job.site.model_copy(update={"room_temperature": None, "room_heated": None, **room})
    job = simulation.job.model_copy(update={"site": site})
    ensemble = simulation.ensemble
    none = {name: np.zeros((len(weather.air_c), len(ensemble))) for name in ensemble.errors}
    calm = simulation.ensemble.__class__(**{**vars_of(ensemble), "errors": none})
    outdoors = weather_of_members(weather, calm)
    room_c = around_slab(job, outdoors, calm, simulation.practice, season_c=season_c)["air_c"]
    return room_c[:, 0], room_c[:, ensemble.first_placed.start]


def vars_of(ensemble: Any) -> dict[str, Any]:
    return {name: getattr(ensemble, name) for name in ensemble.__dataclass_fields__}


# ---- the air of the room


def test_a_stated_room_does_not_follow_the_air_outdoors(job: Job, weather: Weather, as_of: datetime) -> None:
    """Concrete that was measured, and a room that is the cooler one: nothing of the air outdoors is left."""
    dry = np.full(14 * 24, 0.3)
    measured = {"concrete_temperature": 20.0}
    record = job(slab={"exposure": "indoors"}, site=stated(16.0), placement=measured)
    cold, hot = (
        plan_cure(record, weather(low, low + 10.0, relative_humidity=dry), as_of) for low in (26.0, 32.0)
    )
    assert [hours_to(cold, kind) for kind in SAFE] == [hours_to(hot, kind) for kind in SAFE]


def test_a_warmer_room_has_no_later_date(
    inside: Callable[..., JobRecord], weather: Weather, as_of: datetime
) -> None:
    plans = [plan_cure(inside(stated(room_c)), weather(*WINTER), as_of) for room_c in (3.0, 10.0, 18.0, 26.0)]
    for kind in SAFE:
        hours = [hours_to(plan, kind) for plan in plans]
        assert hours == sorted(hours, reverse=True), kind
        assert hours[0] > hours[-1], kind


@pytest.mark.parametrize("air_c", [-8.0, 5.0, 15.0])
def test_an_unheated_building_has_the_air_outdoors_where_that_is_constant(
    inside: Callable[..., JobRecord], weather: Weather, as_of: datetime, air_c: float
) -> None:
    """Whatever follows a constant is that constant, in a light building and in a heavy one."""
    constant = weather(air_c, air_c, shortwave_wm2=np.zeros(14 * 24))
    simulation = simulate(inside(UNHEATED), constant, as_of, members=4)
    for air in air_of(simulation, UNHEATED, constant):
        assert air == pytest.approx(np.full(14 * 24, air_c), abs=1e-9)


@pytest.mark.parametrize(("season_c", "cold_c", "warm_c"), [(4.0, 4.0, 10.0), (16.0, 10.0, 16.0)])
def test_a_heavy_building_has_the_season_in_it_where_that_is_the_safe_end(
    inside: Callable[..., JobRecord],
    weather: Weather,
    as_of: datetime,
    season_c: float,
    cold_c: float,
    warm_c: float,
) -> None:
    """Weather that begins with the pour says nothing of the week before. Of what was, a week leaves a tenth.

    Identity: exp(-168 h / 72 h) is 0.097.
    """
    constant = weather(10.0, 10.0, shortwave_wm2=np.zeros(14 * 24))
    simulation = simulate(inside(UNHEATED), constant, as_of, members=4)
    for air, begins_c in zip(air_of(simulation, UNHEATED, constant, season_c), (cold_c, warm_c), strict=True):
        assert air[0] == pytest.approx(begins_c, abs=0.1)
        assert air[167] - 10.0 == pytest.approx(0.097 * (begins_c - 10.0), abs=0.01)


def test_a_warm_day_of_the_pour_is_no_warm_building_in_a_cold_month(
    inside: Callable[..., JobRecord], weather: Weather, as_of: datetime
) -> None:
    """Identity: the map's mean air of Santiago in July, and not the mean of a warm first day."""
    santiago = {"latitude": -33.45, "longitude": -70.65}
    warm_day = weather(12.0, 20.0, shortwave_wm2=np.zeros(14 * 24), **santiago)
    simulation = simulate(inside({**UNHEATED, **santiago}), warm_day, as_of, members=4)
    climate = climate_at(simulation.job.site)
    assert climate is not None
    season_c = climate.air_c(warm_day.time[:1])[0]
    assert season_c < 10.0
    assert simulation.air_c[0] == pytest.approx(season_c, abs=0.5)  # an hour later


def test_an_unheated_building_stays_within_the_air_outdoors(
    inside: Callable[..., JobRecord], weather: Weather, as_of: datetime
) -> None:
    """A mean of what was cannot be colder than the coldest of it; the cold end is below the mean of all."""
    outdoors = weather(-6.0, 12.0)
    simulation = simulate(inside(UNHEATED), outdoors, as_of, members=4)
    cold, warm = air_of(simulation, UNHEATED, outdoors)
    assert outdoors.air_c.min() < cold.min()
    assert cold.max() < outdoors.air_c.max()
    assert (cold <= warm).all()
    assert cold.mean() < outdoors.air_c.mean() < warm.mean()


@pytest.mark.parametrize("outdoor_c", [WINTER, (8.0, 20.0), (22.0, 36.0)])
def test_the_ends_of_an_unknown_room_are_those_of_an_unheated_and_a_heated_one(
    inside: Callable[..., JobRecord], weather: Weather, as_of: datetime, outdoor_c: tuple[float, float]
) -> None:
    outdoors = weather(*outdoor_c)
    simulation = simulate(inside(UNKNOWN), outdoors, as_of, members=4)
    unknown, unheated, heated = (air_of(simulation, room, outdoors) for room in (UNKNOWN, UNHEATED, HEATED))
    assert np.array_equal(unknown[0], unheated[0])
    assert np.array_equal(unknown[1], heated[1])
    assert (heated[0] >= unheated[0]).all()
    assert (heated[0] >= general_rules()["room.heated-coldest"]).all()
    assert all((cold <= warm).all() for cold, warm in (unknown, unheated, heated))


def test_air_that_is_warmed_keeps_its_moisture_and_cooled_air_is_no_damper(
    inside: Callable[..., JobRecord], weather: Weather, as_of: datetime
) -> None:
    """The vapour pressure of air does not change as it is warmed (ASHRAE Fundamentals, ch. 1)."""
    outdoors = weather(2.0, 8.0, relative_humidity=np.full(14 * 24, 0.7))
    job = inside(stated(20.0))
    simulation = simulate(job, outdoors, as_of, members=1)
    hourly = weather_of_members(simulation.weather, simulation.ensemble)
    warm = around_slab(job, hourly, simulation.ensemble, simulation.practice)
    warmed = hourly["air_c"] < warm["air_c"]
    pressures = [
        vapour_pressure(each["air_c"][warmed], each["relative_humidity"][warmed]) for each in (hourly, warm)
    ]
    assert warmed[: 13 * 24].all()
    assert pressures[1] == pytest.approx(pressures[0], rel=1e-9)
    cool = around_slab(inside(stated(-4.0)), hourly, simulation.ensemble, simulation.practice)
    assert (cool["air_c"] < hourly["air_c"]).all()
    assert np.array_equal(cool["relative_humidity"], hourly["relative_humidity"])


# ---- the dates


@pytest.mark.parametrize("outdoor_c", [WINTER, (6.0, 18.0)])
def test_an_unknown_room_is_safe_whichever_room_it_is(
    inside: Callable[..., JobRecord], weather: Weather, as_of: datetime, outdoor_c: tuple[float, float]
) -> None:
    """No safe date is sooner than in an unheated, a heated or a warm room; sawing ends no later."""
    unknown, *known = (
        plan_cure(inside(room), weather(*outdoor_c), as_of)
        for room in (UNKNOWN, UNHEATED, HEATED, stated(20.0))
    )
    for kind in SAFE:
        assert hours_to(unknown, kind) >= max(hours_to(each, kind) for each in known), kind
    closes = [sawing_closes(each) for each in (unknown, *known)]
    assert closes[0] <= min(closes[1:])
    # Seen: "5:30 pm to Wed Mar 11, 10:30 pm", the last hour of the coldest room, as the crew's hours.
    ends = [
        max(each.end for each in schedule.tasks_of("crew", Kind.SAW_JOINTS)) for schedule in (unknown, *known)
    ]
    assert ends[0] <= min(ends[1:])


def test_what_the_papers_read_is_the_air_of_the_room(
    inside: Callable[..., JobRecord], weather: Weather, as_of: datetime
) -> None:
    outdoors = weather(*WINTER)
    schedule = plan_cure(inside(stated(15.0)), outdoors, as_of)
    assert schedule.room is not None
    assert schedule.room.state == "stated"
    assert schedule.air_c.shape == schedule.weather.time.shape
    assert schedule.air_c == pytest.approx(np.full(len(schedule.air_c), 15.0))
    assert schedule.weather.air_c.min() == outdoors.air_c.min()  # the forecast stays as it was received
    assert {day.coldest_c for day in schedule.watering} == {15.0}
    assert not any(day.skipped_because == "frost" for day in schedule.watering)


def test_no_rain_is_awaited_under_a_roof(job: Job, weather: Weather, as_of: datetime) -> None:
    for exposure, if_rain in (("indoors", None), ("roofed", None), ("outdoors", "skip")):
        schedule = plan_cure(job(slab={"exposure": exposure}), weather(), as_of)
        asked = {each.if_rain for each in schedule.tasks if each.litres and each.by == "owner"}
        assert asked == {if_rain}, exposure


def test_only_a_slab_indoors_has_a_room(job: Job, weather: Weather, as_of: datetime) -> None:
    plain, roofed = (
        plan_cure(job(slab={"exposure": exposure}, site=room), weather(), as_of)
        for exposure, room in (("roofed", UNKNOWN), ("roofed", stated(2.0)))
    )
    assert plain.room is roofed.room is None
    assert plain.milestones == roofed.milestones


# ---- what is said


@pytest.mark.parametrize(
    ("room", "assumed"),
    [
        (
            UNKNOWN,
            {"site.room_heated": "not known", "site.room_temperature": "follows the air outdoors, or heated"},
        ),
        (UNHEATED, {"site.room_temperature": "follows the air outdoors"}),
        (HEATED, {"site.room_temperature": "10 to 24 degC"}),
        (stated(12.0), {}),
    ],
)
def test_what_is_assumed_of_the_room_is_listed(
    inside: Callable[..., JobRecord],
    weather: Weather,
    as_of: datetime,
    room: dict[str, Any],
    assumed: dict[str, str],
) -> None:
    schedule = plan_cure(inside(room), weather(), as_of)
    listed = {each.field: each.value for each in schedule.assumed if "room" in each.field}
    assert listed == assumed
    assert any("humidity of the room" in each for each in schedule.weather.methods)


@pytest.mark.parametrize(
    ("room", "outdoor_c", "called_for"),
    [
        (UNKNOWN, WINTER, {"frost", "cold-weather", "heaters", "room-unknown", "room-closed"}),
        (UNHEATED, WINTER, {"frost", "cold-weather", "heaters", "room-closed"}),
        (HEATED, WINTER, {"heaters", "room-heat"}),
        (stated(18.0), WINTER, {"heaters", "room-heat"}),
        (stated(-3.0), WINTER, {"frost", "cold-weather", "heaters", "room-heat"}),
        (HEATED, (16.0, 24.0), set()),
        (UNKNOWN, (16.0, 24.0), {"room-unknown", "room-closed"}),
    ],
)
def test_a_heater_in_a_warm_room_has_its_caution(
    inside: Callable[..., JobRecord],
    weather: Weather,
    as_of: datetime,
    room: dict[str, Any],
    outdoor_c: tuple[float, float],
    called_for: set[str],
) -> None:
    """Carbon monoxide is where the heater is: in the warm room of a cold week, not only where it freezes."""
    schedule = plan_cure(inside(room), weather(*outdoor_c), as_of)
    codes = {each.code for each in schedule.cautions}
    of_rooms = {"frost", "cold-weather", "heaters", "room-heat", "room-unknown", "room-closed"}
    assert codes & of_rooms == called_for


@pytest.mark.all_members
@pytest.mark.parametrize("outdoors", [WINTER, (4.0, 12.0)])
def test_a_room_known_only_as_heated_has_no_sooner_trial_cut_than_a_usual_one(
    inside: Callable[..., JobRecord], weather: Weather, as_of: datetime, outdoors: tuple[float, float]
) -> None:
    """Seen: a first trial cut at 3:30, hours before the set of a room at 60 degF, because 75 degF may be.

    From when it may be cut goes by the cold end, until when by the warm one.
    """
    heated, usual = (plan_cure(inside(room), weather(*outdoors), as_of) for room in (HEATED, stated(15.6)))
    trials = []
    for each in (heated, usual):
        saw = each.milestone(Kind.SAW_JOINTS)
        assert saw is not None
        assert saw.not_before is not None
        trial = trial_cut(saw)
        assert trial is not None
        trials.append(trial)
    assert trials[0] >= trials[1]
    assert sawing_closes(heated) <= sawing_closes(usual)
