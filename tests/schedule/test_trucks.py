"""Trucks: after 28 days and 85 % of the strength by estimate; sooner where cylinders show all of it.

Principles: a faster cement is never later, and a test that shows the specified strength ends the waiting for
an age. 85 % is what cores are expected to have where cylinders have all (ACI 318, commentary).
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest

from handover.jobs.record import Cylinder
from handover.practice.rules import practice
from handover.schedule.model import Milestone, MilestoneKind
from handover.schedule.plan import plan_cure

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries

    Trucks = Callable[..., Milestone]

SPECIFIED = 3000.0 * 0.00689476


@pytest.fixture
def trucks(job: Callable[..., JobRecord], weather: Callable[..., WeatherSeries], as_of: datetime) -> Trucks:
    def plan(mean_c: float, cylinder: tuple[Cylinder, ...] = (), **parts: Any) -> Milestone:
        record = job(**parts).model_copy(update={"cylinder": cylinder})
        schedule = plan_cure(record, weather(mean_c - 4.0, mean_c + 4.0), as_of)
        found = schedule.milestone(MilestoneKind.HEAVY_VEHICLES)
        assert found is not None
        return found

    return plan


@pytest.mark.parametrize("mean_c", [5.0, 12.0, 32.0])
def test_type_iii_is_never_later_than_type_i(trucks: Trucks, mean_c: float) -> None:
    fast, plain = trucks(mean_c, mix={"cement": "III"}), trucks(mean_c, mix={"cement": "I"})
    for one, other in ((fast.likely, plain.likely), (fast.not_before, plain.not_before)):
        assert other is None or (one is not None and one <= other)


def test_in_warm_weather_28_days_govern(trucks: Trucks) -> None:
    assert trucks(27.0).because.governing.rule == "heavy-vehicles.age"


def test_at_6_degrees_there_is_a_date(trucks: Trucks) -> None:
    """It was never reached where all of the strength was asked of the estimate."""
    assert trucks(6.0).likely is not None


def test_a_cylinder_with_the_specified_strength_allows_them_sooner(trucks: Trucks) -> None:
    tested = Cylinder(age=7 * 24.0, strength=1.1 * SPECIFIED)
    waiting, shown = trucks(27.0), trucks(27.0, cylinder=(tested,))
    assert waiting.not_before is not None
    assert shown.not_before is not None
    assert shown.not_before < waiting.not_before - timedelta(days=7)


def test_a_cylinder_below_it_does_not(trucks: Trucks) -> None:
    tested = Cylinder(age=7 * 24.0, strength=0.95 * SPECIFIED)
    one, other = trucks(27.0).not_before, trucks(27.0, cylinder=(tested,)).not_before
    assert one is not None
    assert other is not None
    assert other >= one


@pytest.mark.parametrize(("rules", "asks"), [("us", True), ("de", False), ("gb", False), ("strictest", True)])
def test_the_six_months_of_a_house_drive_hold_where_they_were_read(rules: str, asks: bool) -> None:
    """Virginia Ready-Mixed Concrete Association: a trade source of one region; elsewhere strength decides."""
    gates = practice(rules).gates_of("heavy-vehicles", "driveway")
    assert any(each.rule == "heavy-vehicles.house-drive" for each in gates) == asks
