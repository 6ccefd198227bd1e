"""Cautions and risks carry the numbers that the data promise for them."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest

from handover.documents.translations import languages, load_translations
from handover.jobs.record import Cylinder, LogReading, TemperatureLog, Ticket
from handover.practice.rules import practice
from handover.schedule.loading import materials_to_load
from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure
from handover.service.inputs import questions

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]


LANGUAGES = languages()


def measurements(job: Job, weather: Weather) -> list[dict[str, object]]:
    """Return measurements that disagree with the estimate, each in its way."""
    end = job().placement.end
    hours = [end + timedelta(hours=hour) for hour in range(48)]
    when = np.array([each.astimezone(UTC).replace(tzinfo=None) for each in hours], dtype="datetime64[s]")
    hot, air = np.full(48, 55.0), weather().at("air_c", when)
    logs = [
        TemperatureLog(
            file="logger.csv",
            readings=tuple(LogReading(*each) for each in zip(hours, map(float, celsius), strict=True)),
        )
        for celsius in (hot, air)
    ]
    truck = Ticket(batched=end - timedelta(hours=2), volume=6.0, slump=0.2, water_added=60.0)
    weak = (Cylinder(age=168.0, strength=5.0), Cylinder(age=72.0, strength=1.0, cured="field"))
    strong = (Cylinder(age=168.0, strength=62.0),)
    return [
        {"cylinder": strong},
        {"cylinder": (Cylinder(age=168.0, strength=10.3),)},
        {"ticket": (truck,), "cylinder": weak, "temperature_log": logs[0]},
        {"temperature_log": logs[1]},
    ]


MEMBERS = 40  # fewer: which cautions there are and what they carry is the same for any number


def schedules(job: Job, weather: Weather, as_of: datetime) -> list[CureSchedule]:
    """Return schedules that together give every caution there is."""
    count = 14 * 24
    dry_wind = weather(relative_humidity=np.full(count, 0.15), wind_ms=np.full(count, 9.0))
    rain = weather(precipitation_mm=np.full(count, 1.0), precipitation_probability=np.ones(count))
    hot = job(
        placement={"concrete_temperature": 36.0}, slab={"joint_spacing": 6.0, "reinforcement": "PT tendons"}
    )
    of_the_slab = {"coloured": True, "heated": True, "flooring": True, "slope": 0.06, "on": "vapor retarder"}
    slow_slab = {**of_the_slab, "finish": "stamped", "reinforcement": "fiber mesh"}
    slow = job(
        slab=slow_slab,
        mix={"slag": 0.5, "air": 0.02},
        curing={"water_temperature": 4.0, "available": ("06:30-07:30",)},
    )
    placed = job().placement
    all_day = job(
        slab={"finish": "trowelled"}, placement={"end": placed.start.replace(hour=18), "finished": None}
    )
    morning = job(placement={"end": placed.start.replace(hour=8, minute=45)})
    nowhere = {"latitude": None, "longitude": None}
    frozen = job(
        placement={"concrete_temperature": 1.7},
        slab={"finish": "exposed aggregate", "heated": True},
        site=nowhere,
    )
    mass = job(
        slab={"thickness": 0.6},
        mix={"cement": "III", "cementitious": 620.0, "water_cementitious": 0.38, "specified_strength": 41.0},
        placement={"concrete_temperature": 37.0},
    )
    measured = [job().model_copy(update=each) for each in measurements(job, weather)]
    return [
        plan_cure(hot, weather(33.0, 40.0), as_of, members=MEMBERS, rules="au"),
        *(
            plan_cure(record, hours, as_of, members=MEMBERS)
            for record, hours in (
                (hot, dry_wind),
                (slow, rain),
                (slow, weather()),
                (job(), weather(-6.0, 4.0)),
                (job(slab={"exposure": "indoors"}), weather(-6.0, 4.0)),
                (job(slab={"exposure": "indoors"}, site={"room_heated": True}), weather(-6.0, 4.0)),
                (all_day, weather()),
                (mass, weather(26.0, 38.0)),
                (morning, weather(26.0, 38.0)),
                (frozen, weather(-25.0, -20.0, **nowhere)),
                *((each, weather()) for each in measured),
            )
        ),
    ]


def asked_for(code: str) -> set[str]:
    """Return the figures that the words of a caution ask for, in any language."""
    texts = (
        load_translations(language).lookup(f"caution.{code}.{part}")
        for language in LANGUAGES
        for part in ("title", "text")
    )
    names = {name for text in texts for name in re.findall(r"{(\w+)}", text)}
    return {"forecast_air" if each == "goes_down" else each for each in names} - {"colder"}  # sentences


def test_every_caution_comes_with_its_figures_source_and_mark(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    rules = practice().cautions
    seen = set()
    for schedule in schedules(job, weather, as_of):
        for caution in schedule.cautions:
            seen.add(caution.code)
            assert asked_for(caution.code) <= {each.name for each in caution.figures}, caution.code
            assert (caution.source, caution.mark) == (rules[caution.code].source, rules[caution.code].mark)
    assert seen == set(rules)


def test_a_plain_summer_slab_has_the_cautions_for_people(job: Job, weather: Weather, as_of: datetime) -> None:
    cautions = {caution.code for caution in plan_cure(job(), weather(), as_of).cautions}
    assert {"caustic", "silica", "slips", "electricity", "nails", "children-animals"} <= cautions


@pytest.mark.parametrize(
    ("slab", "method", "warns"),
    [
        ({"use": "garage floor"}, "sprinkler", True),
        ({"use": "driveway"}, "sprinkler", False),
        ({"use": "driveway", "exposure": "roofed"}, "sprinkler", True),
        ({"use": "garage floor"}, "plastic sheet", False),
    ],
)
def test_cords_are_named_where_there_are_outlets_and_water(
    job: Job, weather: Weather, as_of: datetime, slab: dict[str, str], method: str, warns: bool
) -> None:
    """Common practice, no source: no outlet is near an open drive, and a sheet is not watered."""
    schedule = plan_cure(job(slab=slab, curing={"method": method}), weather(), as_of, members=MEMBERS)
    assert schedule.has_caution("electricity") == warns


@pytest.mark.parametrize(
    ("use", "inches", "warns"),
    [
        ("driveway", 4, True),
        ("driveway", 6, False),
        ("garage floor", 5, True),
        ("shop floor", 5, False),
        ("shop floor", 6, False),
    ],
)
def test_a_heavy_truck_is_asked_about_only_on_thin_slabs_of_homes(
    job: Job, weather: Weather, as_of: datetime, use: str, inches: int, *, warns: bool
) -> None:
    """6 in as a record has it, 6 times 0.0254, is 6 in. A shop floor is built for its own trucks."""
    slab = {"use": use, "thickness": inches * 0.0254}
    schedule = plan_cure(job(slab=slab), weather(), as_of)
    assert schedule.has_caution("heavy-trucks") is warns


@pytest.mark.parametrize(("exposure", "warns"), [("outdoors", False), ("roofed", True)])
def test_a_heater_is_named_in_the_cold_only_where_one_is_likely(
    job: Job, weather: Weather, as_of: datetime, exposure: str, warns: bool
) -> None:
    """Common practice, no source: in a cold week without frost nobody heats an open slab."""
    cold = weather(4.0, 16.0)
    schedule = plan_cure(job(slab={"exposure": exposure}), cold, as_of, members=MEMBERS)
    assert schedule.has_caution("cold-weather")
    assert not schedule.has_caution("frost")
    assert schedule.has_caution("heaters") == warns


def test_sun_and_wind_together_dry_faster_than_heat_alone(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """Common practice, no source."""
    count = 14 * 24
    heat = weather(29.2, 39.2, shortwave_wm2=np.zeros(count), wind_ms=np.full(count, 0.5))
    sun_and_wind = weather(22.2, 32.2, wind_ms=np.full(count, 7.0))
    peaks = [plan_cure(job(), each, as_of).history.evaporation[:12].max() for each in (heat, sun_and_wind)]
    assert peaks[1] > peaks[0]


def test_a_weak_cylinder_in_july_is_the_reason_and_not_the_cold(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """1500 psi at 7 days of 3000: no date for trucks. Nine days are forecast, none below 14 degC."""
    told_for = slice(0, 9 * 24)
    mild = weather(14.5, 30.0)
    columns = {
        name: getattr(mild, name)[told_for]
        for name in mild.__dataclass_fields__
        if isinstance(getattr(mild, name), np.ndarray)
    }
    weak = job().model_copy(update={"cylinder": (Cylinder(age=168.0, strength=10.34),)})
    schedule = plan_cure(weak, replace(mild, **columns), as_of)
    cautions = {caution.code: caution for caution in schedule.cautions}
    assert any(each.not_before is None for each in schedule.milestones)
    assert not {"not-reached", "cold-weather", "heaters"} & cautions.keys()
    (share,) = cautions["not-reached-weak"].figures
    assert 0.3 < share.value < 0.9


def test_a_cylinder_too_strong_for_its_mix_draws_a_caution(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """9000 psi at 7 days of a mix of 3000 psi, and 3000 psi."""
    cautions = [
        {
            each.code
            for each in plan_cure(
                job().model_copy(update={"cylinder": (Cylinder(age=168.0, strength=mpa),)}), weather(), as_of
            ).cautions
        }
        for mpa in (62.05, 20.68)
    ]
    assert ["cylinders-high" in each for each in cautions] == [True, False]


@pytest.mark.parametrize(
    ("before_c", "exposure", "asks"),
    [
        (-4.0, "outdoors", True),
        (-4.0, "roofed", True),
        (-4.0, "indoors", True),  # of a room of which nothing is known
        (4.0, "outdoors", False),
    ],
)
def test_ground_may_be_frozen_only_where_the_air_before_the_pour_freezes(
    job: Job, weather: Weather, as_of: datetime, before_c: float, exposure: str, *, asks: bool
) -> None:
    """ACI 306.1-90, as quoted: no concrete on frozen ground. Asked before the pour, never after it."""
    placed = job().placement
    later = {
        "start": placed.start + timedelta(days=2),
        "end": placed.end + timedelta(days=2),
        "finished": None,
    }
    cold = weather(8.0, 16.0)
    cold.air_c[:54] = before_c  # until 6 in the morning of the pour
    schedule = plan_cure(job(placement=later, slab={"exposure": exposure}), cold, as_of)
    assert ("frozen-ground" in {each.code for each in schedule.cautions}) is asks
    assert ("placement.start" in {each.field for each in questions(schedule)}) is asks
    after = replace(schedule, issued_at=placed.end + timedelta(days=2))
    assert "placement.start" not in {each.field for each in questions(after)}


def test_blankets_against_frost_that_no_date_counts_are_asked_about(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """With blankets as the method, or without frost, there is nothing to ask."""
    cold = weather(-6.0, 6.0)
    schedule = plan_cure(job(), cold, as_of)
    assert schedule.protection is not None
    (asked,) = (each for each in questions(schedule) if "blankets" in each.problem)
    assert asked.field == "curing.method"
    assert schedule.protection.until is not None
    assert f"{schedule.protection.until:%Y-%m-%d}" in asked.problem
    blankets = job(curing={"method": "insulating blanket", "blanket_r_value": 1.4})
    for record, air in ((blankets, cold), (job(), weather(12.0, 20.0))):
        found = questions(plan_cure(record, air, as_of))
        assert not [each for each in found if "blankets" in each.problem]
    over = replace(schedule, issued_at=as_of + timedelta(days=3))
    assert not [each for each in questions(over) if "blankets" in each.problem]


@pytest.mark.parametrize(("days", "asks", "may_saw"), [(0, False, True), (3, True, True), (12, False, False)])
def test_after_its_hours_of_sawing_a_slab_has_a_question_and_dust_until_it_is_cured(
    job: Job, weather: Weather, as_of: datetime, days: int, *, asks: bool, may_saw: bool
) -> None:
    """Where nobody knows whether the joints were cut, the crew may cut them yet."""
    schedule = plan_cure(job(), weather(), as_of + timedelta(days=days))
    assert ("slab.joints_cut" in {each.field for each in questions(schedule)}) is asks
    assert schedule.has_caution("silica") is may_saw
    tooled = plan_cure(job(slab={"joints": "tooled"}), weather(), as_of + timedelta(days=days))
    assert "slab.joints_cut" not in {each.field for each in questions(tooled)}


@pytest.mark.parametrize("hours", [0, 72], ids=["in its hours", "after them"])
def test_joints_that_are_cut_need_no_saw_and_are_not_asked_about(
    job: Job, weather: Weather, as_of: datetime, hours: int
) -> None:
    cut = job(slab={"joints_cut": True})
    schedule = plan_cure(cut, weather(), as_of + timedelta(hours=hours))
    assert "slab.joints_cut" not in {each.field for each in questions(schedule)}
    assert schedule.milestone(MilestoneKind.SAW_JOINTS) is None
    assert not schedule.tasks_of("crew", MilestoneKind.SAW_JOINTS)
    assert not schedule.has_caution("silica")
    assert cut.slab.is_jointed
    assert "saw" not in {each.code for each in materials_to_load(schedule, cut)}


def test_joints_that_are_not_cut_in_time_are_asked_about(job: Job, weather: Weather, as_of: datetime) -> None:
    schedule = plan_cure(job(slab={"joints_cut": False}), weather(), as_of + timedelta(days=3))
    assert "slab.joints_cut" in {each.field for each in questions(schedule)}
