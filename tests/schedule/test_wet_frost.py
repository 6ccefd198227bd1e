"""No slab is kept wet through frost after frost while it is too weak for that."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest

from handover.schedule.model import REPEATED_FROST, MilestoneKind
from handover.schedule.plan import plan_cure

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule, Milestone
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

Kind = MilestoneKind
PLACED = {"concrete_temperature": 16.0}
NOWHERE = {"latitude": None, "longitude": None}  # nothing tells that the cold of the forecast will end
METHODS = ("plastic sheet", "insulating blanket", "wet burlap", "sprinkler", "ponding", "soaker hose")


def winter(job: Job, lasting: Weather, as_of: datetime, method: str) -> CureSchedule:
    """Return a schedule of days of 3 degC and nights of -5 degC that do not end."""
    placed = job(curing={"method": method}, placement=PLACED, site=NOWHERE)
    return plan_cure(placed, lasting(-5.0, 3.0), as_of)


def dated(schedule: CureSchedule, kind: MilestoneKind) -> Milestone:
    found = schedule.milestone(kind)
    assert found is not None
    return found


@pytest.mark.parametrize("method", METHODS)
def test_a_young_slab_dries_when_its_cold_protection_ends(
    job: Job, lasting: Weather, as_of: datetime, method: str
) -> None:
    """Every night freezes: with the protection, wet curing ends too, and not before it."""
    schedule = winter(job, lasting, as_of, method)
    ends, protected = dated(schedule, Kind.CURING_ENDS), dated(schedule, Kind.PROTECTION_ENDS)
    if protected.not_before is None:  # bare, it never gets strong enough: covers stay on
        assert ends.not_before is None
        return
    assert ends.because.governing.rule == REPEATED_FROST
    assert ends.not_before is not None
    assert timedelta() <= ends.not_before - protected.not_before <= timedelta(days=1)
    assert not [day for day in schedule.watering if day.visits and day.date > ends.not_before.date()]


def test_blankets_make_it_safe_and_then_it_dries(job: Job, lasting: Weather, as_of: datetime) -> None:
    schedule = winter(job, lasting, as_of, "insulating blanket")
    ends, safe = (dated(schedule, kind).not_before for kind in (Kind.CURING_ENDS, Kind.FROST_SAFE))
    assert ends is not None
    assert safe is not None
    assert ends >= safe
    assert schedule.dries_before_frost
    assert "dry-before-frost" in {each.code for each in schedule.cautions}


def test_a_protection_of_many_weeks_is_followed_by_the_same_frosts(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """Seen: under plastic from November to April, because protection ended past the simulation."""
    coast = {"latitude": -63.4, "longitude": -57.0}  # July is winter there
    mild_first = weather(-7.0, 1.0, **coast)
    mild_first.air_c[:48] += 12.0
    schedule = plan_cure(job(curing={"method": "plastic sheet"}, site=coast), mild_first, as_of)
    ends, protected = dated(schedule, Kind.CURING_ENDS), dated(schedule, Kind.PROTECTION_ENDS)
    if protected.not_before is not None:
        assert ends.not_before == protected.not_before
    else:
        assert ends.not_before is None


def test_a_coat_holds_no_water_on_the_slab(job: Job, lasting: Weather, as_of: datetime) -> None:
    assert not winter(job, lasting, as_of, "curing compound").dries_before_frost


@pytest.mark.parametrize("method", ["plastic sheet", "sprinkler"])
def test_a_mild_week_asks_for_all_of_the_curing(
    job: Job, weather: Weather, as_of: datetime, method: str
) -> None:
    schedule = plan_cure(job(curing={"method": method}), weather(9.0, 18.0), as_of)
    assert not schedule.dries_before_frost


def test_one_night_of_frost_is_no_winter(job: Job, weather: Weather, as_of: datetime) -> None:
    """On the day after it the plan waters again."""
    plain = weather(8.0, 16.0)
    night = (np.arange(len(plain.air_c)) >= 5 * 24) & (np.arange(len(plain.air_c)) < 5 * 24 + 7)
    schedule = plan_cure(job(), weather(8.0, 16.0, air_c=np.where(night, -2.0, plain.air_c)), as_of)
    assert not schedule.dries_before_frost
    thawed = (as_of + timedelta(days=6)).date()
    assert any(day.visits for day in schedule.watering if day.date >= thawed)


@pytest.mark.parametrize("method", [*METHODS, "curing compound"])
def test_no_wheels_while_any_cover_lies_on_the_slab(
    job: Job, lasting: Weather, as_of: datetime, method: str
) -> None:
    schedule = winter(job, lasting, as_of, method)
    covers = [Kind.PROTECTION_ENDS, *([] if method == "curing compound" else [Kind.CURING_ENDS])]
    off = [dated(schedule, kind).not_before for kind in covers]
    for kind in (Kind.LIGHT_VEHICLES, Kind.HEAVY_VEHICLES):
        wheels = dated(schedule, kind).not_before
        assert wheels is None or all(each is not None and each <= wheels for each in off)


def test_after_blankets_wheels_wait_for_the_plastic(job: Job, weather: Weather, as_of: datetime) -> None:
    """In a mild week plastic follows the blankets, until curing ends."""
    schedule = plan_cure(job(curing={"method": "insulating blanket"}), weather(7.0, 15.0), as_of)
    ends, cars = dated(schedule, Kind.CURING_ENDS), dated(schedule, Kind.LIGHT_VEHICLES)
    assert ends.not_before is not None
    assert cars.not_before is None or cars.not_before >= ends.not_before


def test_blankets_come_off_at_the_warmest_hour(job: Job, lasting: Weather, as_of: datetime) -> None:
    """About two hours past noon; no more than a day later than they might."""
    off = dated(winter(job, lasting, as_of, "insulating blanket"), Kind.PROTECTION_ENDS)
    assert off.not_before is not None
    assert (off.not_before.hour, off.not_before.minute) == (14, 0)
    ready = [each.not_before for each in (off.because.governing, *off.because.others) if each.not_before]
    assert timedelta() <= off.not_before - max(ready) < timedelta(days=1)


@pytest.mark.parametrize("method", METHODS)
def test_what_ends_before_a_frost_is_printed_with_its_hour(
    job: Job, lasting: Weather, as_of: datetime, method: str
) -> None:
    """Seen: plastic off on the morning after the blankets, a night of frost later."""
    ends = dated(winter(job, lasting, as_of, method), Kind.CURING_ENDS)
    assert ends.because.governing.rule == REPEATED_FROST
    assert ends.printed is not None
    assert ends.not_before is not None
    assert ends.printed.instant - ends.not_before < timedelta(hours=1)


def test_edge_forms_keep_in_the_warmth_until_the_blankets_are_off(
    job: Job, lasting: Weather, as_of: datetime
) -> None:
    schedule = winter(job, lasting, as_of, "insulating blanket")
    forms, ends = dated(schedule, Kind.STRIP_EDGE_FORMS), dated(schedule, Kind.PROTECTION_ENDS)
    assert forms.printed is not None
    assert ends.printed is not None
    assert forms.printed.instant >= ends.printed.instant


@pytest.mark.parametrize("method", ["sprinkler", "ponding", "wet burlap"])
def test_a_slab_that_sets_past_the_plan_is_covered_and_has_no_first_water(
    job: Job, lasting: Weather, as_of: datetime, method: str
) -> None:
    """In a frost of weeks its surface takes no water before the plan ends: covers keep it."""
    placed = job(curing={"method": method}, placement={"concrete_temperature": 10.0}, site=NOWHERE)
    schedule = plan_cure(placed, lasting(-16.0, -8.0), as_of)
    assert schedule.milestone(Kind.FIRST_WATER) is None
    assert {day.skipped_because for day in schedule.watering} == {"frost"}
    assert schedule.covered_for_frost
