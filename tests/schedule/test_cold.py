"""Protection from frost by the heat balance."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from handover.schedule.plan import plan_cure

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.model import JobRecord
    from handover.schedule.model import CureSchedule, Protection
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]


def protection_of(schedule: CureSchedule) -> Protection:
    assert schedule.protection is not None
    return schedule.protection


def test_none_is_called_for_in_july(job: Job, weather: Weather, as_of: datetime) -> None:
    assert plan_cure(job(), weather(), as_of).protection is None


def test_a_thicker_blanket_is_never_colder_nor_later(job: Job, weather: Weather, as_of: datetime) -> None:
    cold = job(placement={"concrete_temperature": 16.0})
    blankets = protection_of(plan_cure(cold, weather(-6.0, 3.0), as_of)).blankets
    assert [each.resistance for each in blankets] == sorted(each.resistance for each in blankets)
    for thinner, thicker in pairwise(blankets):
        assert thicker.coldest_surface_c >= thinner.coldest_surface_c - 0.05
        if thinner.frost_safe is not None:
            assert thicker.frost_safe is not None
            assert thicker.frost_safe <= thinner.frost_safe


def test_the_thinnest_that_keeps_the_top_from_freezing_is_chosen(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    cold = job(placement={"concrete_temperature": 16.0})
    protection = protection_of(plan_cure(cold, weather(-3.0, 5.0), as_of))
    bare = protection.blankets[0]
    assert bare.coldest_surface_c < 0.0
    assert bare.freezes_from is not None
    assert protection.enough is not None
    chosen = next(each for each in protection.blankets if each.resistance == protection.enough)
    assert chosen.coldest_surface_c >= 0.0
    assert chosen.freezes_from is None
    assert protection.until == chosen.frost_safe
    assert all(
        each.coldest_surface_c < 0.0 for each in protection.blankets if each.resistance < protection.enough
    )


def test_colder_weather_never_asks_for_a_thinner_blanket(job: Job, weather: Weather, as_of: datetime) -> None:
    cold = job(placement={"concrete_temperature": 16.0})
    enough = [
        protection_of(plan_cure(cold, weather(low, low + 8.0), as_of)).enough
        for low in (0.0, -3.0, -6.0, -10.0)
    ]
    ranked = [float("inf") if each is None else each for each in enough]
    assert ranked == sorted(ranked)


def test_the_drop_when_a_blanket_comes_off_is_told_beside_the_limit(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """ACI 306R as quoted by Beall 2004, fig. 3-37: at most 50 degF (27.8 K) in 24 h, sections under 12 in.

    A quarter of a kelvin is allowed: the rule data hold the rounded 28 K.
    """
    blanketed = job(curing={"method": "insulating blanket"}, placement={"concrete_temperature": 16.0})
    protection = protection_of(plan_cure(blanketed, weather(-6.0, 3.0), as_of))
    assert abs(protection.largest_drop_k - 50 / 1.8) < 0.25
    assert protection.drop_k is not None
    assert protection.drop_k >= 0.0
