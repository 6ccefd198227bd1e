"""The sawing window, against the hours that the trade gives, and by what must hold."""

from __future__ import annotations

from datetime import UTC, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest

from handover.concrete.restraint import (
    drying_shrinkage,
    mean_through_depth,
    restrained_tension,
    tensile_strength,
)
from handover.schedule.plan import plan_cure

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule, Joints
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]


def joints_of(schedule: CureSchedule) -> Joints:
    assert schedule.joints is not None
    return schedule.joints


def hours(schedule: CureSchedule, moment: datetime | None) -> float:
    assert moment is not None
    return (moment.astimezone(UTC) - schedule.placement_start.astimezone(UTC)).total_seconds() / 3600


def test_window_in_heat(job: Job, weather: Weather, as_of: datetime) -> None:
    """A trade page: conventional saws 4 to 12 h, in heat; Concrete Construction: about 4 h in heat.

    An hour is allowed either way: "about", and placing itself takes more than an hour.
    """
    schedule = plan_cure(job(), weather(24.0, 36.0), as_of)
    window = next(each for each in joints_of(schedule).windows if each.saw == "conventional")
    assert hours(schedule, window.opens) >= 3.0
    assert hours(schedule, window.closes) <= 13.0
    assert hours(schedule, window.closes) > hours(schedule, window.opens_not_before)


def test_window_in_the_cold(job: Job, weather: Weather, as_of: datetime) -> None:
    """Concrete Construction: up to 3 days in the cold."""
    schedule = plan_cure(job(placement={"concrete_temperature": 13.0}), weather(1.0, 7.0), as_of)
    for window in joints_of(schedule).windows:
        assert hours(schedule, window.closes) <= 72.0
        assert hours(schedule, window.opens) > 8.0


def test_an_early_entry_saw_comes_first(job: Job, weather: Weather, as_of: datetime) -> None:
    early, conventional = joints_of(plan_cure(job(), weather(), as_of)).windows
    assert (early.saw, conventional.saw) == ("early-entry", "conventional")
    assert early.opens is not None
    assert conventional.opens is not None
    assert early.opens < conventional.opens


def test_a_night_that_cools_more_closes_the_window_sooner(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    cracks = []
    for drop in (4.0, 10.0, 18.0):
        moment = joints_of(plan_cure(job(), weather(30.0 - drop, 30.0), as_of)).cracks_from
        cracks.append(moment or as_of + timedelta(days=100))
    assert cracks == sorted(cracks, reverse=True)


def test_joints_by_thickness(job: Job, weather: Weather, as_of: datetime) -> None:
    """ACI 302.1R-96 as quoted: 24 to 36 times the thickness; 4 in: 8 to 12 ft. Depth a quarter. Exact."""
    joints = joints_of(plan_cure(job(slab={"thickness": 0.1016}), weather(), as_of))
    assert joints.longest_spacing_m == pytest.approx(12 * 0.3048)
    assert joints.depth_m == pytest.approx(0.0254)


def test_under_a_roof_dust_counts_as_enclosed(job: Job, weather: Weather, as_of: datetime) -> None:
    inside = joints_of(plan_cure(job(slab={"exposure": "roofed"}), weather(), as_of)).dust
    outside = joints_of(plan_cure(job(), weather(), as_of)).dust
    assert {each.protection_factor for each in inside} == {10.0}
    assert min(each.protection_factor for each in outside) == 0.0


class TestRestraint:
    """Identities of the simple model."""

    def test_a_parabola_has_the_mean_of_simpsons_rule(self) -> None:
        depth = np.linspace(0.0, 1.0, 100_001)
        profile = 3.0 - 2.0 * depth + 5.0 * depth**2
        mean = mean_through_depth(profile[0], profile[50_000], profile[-1])
        assert mean == pytest.approx(np.trapezoid(profile, depth), abs=1e-8)

    def test_a_slab_free_to_move_feels_nothing(self) -> None:
        assert restrained_tension(1e-4, 20_000.0, 0.0, 1.0) == 0.0
        assert restrained_tension(1e-4, 20_000.0, 1.0, 1.0) == pytest.approx(2.0)  # Hooke

    def test_strength_and_shrinkage_only_grow(self) -> None:
        assert np.all(np.diff(tensile_strength(np.linspace(0.0, 40.0, 50))) > 0.0)
        dried = drying_shrinkage(np.linspace(0.0, 1000.0, 50), 780e-6)
        assert dried[0] == 0.0
        assert np.all(np.diff(dried) > 0.0)
        assert dried[-1] < 780e-6
