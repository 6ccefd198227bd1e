"""Dry hours are no curing: concrete is to be wet continuously, not periodically (UFGS 03301A).

By principle: the wet hours until curing ends are those that the rules ask for, a drier plan never ends it
earlier, and nothing changes where the surface does not dry.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.schedule import plan
from handover.schedule.basis import basis_of
from handover.schedule.milestones import compute_dates
from handover.schedule.model import MilestoneKind
from handover.schedule.simulation import simulate
from handover.schedule.watering import dry_hours, plan_watering, slots_of_days

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]
    Planned = Callable[..., CureSchedule]

HOURS_ASKED = 168.0  # ACI 308R: 7 days above 50 degF
DAY_H = 24.0
OPEN: dict[str, Any] = {"method": "sprinkler", "slab": {"coloured": True}}
"""No cover may lie on a coloured slab: it is dry between waterings."""
MORNING = ("06:30-07:30",)
TWICE = ("06:30-07:30", "18:00-20:00")


@pytest.fixture
def planned(job: Job, weather: Weather, as_of: datetime) -> Planned:
    def build(*, is_continuous: bool = False, slab: Any = None, **curing: Any) -> CureSchedule:
        dry = weather(26.0, 38.0, relative_humidity=np.full(14 * 24, 0.25))
        schedule = partial(plan.plan_cure, job(curing=curing, slab=slab or {}), dry, as_of, members=8)
        if not is_continuous:
            return schedule()
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(plan, "dry_hours", lambda *_: None)
            return schedule()

    return build


def ends_h(schedule: CureSchedule) -> float:
    """Return when curing ends, in hours since placement, before it is rounded to a morning."""
    milestone = schedule.milestone(MilestoneKind.CURING_ENDS)
    assert milestone is not None
    end = milestone.because.governing.not_before
    assert end is not None
    return (end - schedule.placement_end).total_seconds() / 3600.0


@pytest.mark.parametrize(
    ("available", "least_dry_h"), [(TWICE, DAY_H), (MORNING, HOURS_ASKED)], ids=["twice", "in the morning"]
)
def test_the_wet_hours_until_curing_ends_are_those_asked_for(
    planned: Planned, available: tuple[str, ...], least_dry_h: float
) -> None:
    """Also where most hours are dry: the most hours that the rules ask in the cold are wet ones as well."""
    schedule = planned(**OPEN, available=available)
    whole = schedule.watering[1:-1]
    dry_h = sum(day.dry_hours for day in whole if day.dry_hours >= 1.0)
    assert dry_h > least_dry_h
    # On the first and the last day, whose hours are cut, some are dry as well.
    cut_h = sum(day.dry_hours for day in (schedule.watering[0], schedule.watering[-1]))
    assert ends_h(schedule) - dry_h == pytest.approx(HOURS_ASKED, abs=cut_h + 2.0)
    milestone = schedule.milestone(MilestoneKind.CURING_ENDS)
    assert milestone is not None
    figures = {each.name: each.value for each in milestone.because.governing.figures}
    assert figures["dry_not_counted"] == pytest.approx(dry_h, abs=cut_h + 2.0)


def test_past_the_simulation_dry_hours_are_counted_as_well(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """Identity: the wet hours and those that are not counted are the age at which curing ends."""
    desert = weather(28.0, 44.0, relative_humidity=np.full(14 * 24, 0.1), wind_ms=np.full(14 * 24, 9.0))
    record = job(curing={"method": "sprinkler", "available": MORNING}, slab={"coloured": True})
    milestone = plan.plan_cure(record, desert, as_of, members=4).milestone(MilestoneKind.CURING_ENDS)
    assert milestone is not None
    assert milestone.likely is not None
    gates = (milestone.because.governing, *milestone.because.others)
    days = next(each for each in gates if each.rule == "curing-ends.days")
    assert days.likely is not None
    age_h = (days.likely - record.placement.end).total_seconds() / 3600.0
    assert age_h > 28.0 * DAY_H
    not_counted = {each.name: each.value for each in days.figures}["dry_not_counted"]
    # The date is the median of the members, the figure that of one: within a day's wet hours.
    assert age_h - not_counted == pytest.approx(HOURS_ASKED, abs=DAY_H / 2.0)


def test_a_drier_plan_never_ends_curing_earlier(planned: Planned) -> None:
    ends = [ends_h(planned(**OPEN, is_continuous=True)), ends_h(planned(**OPEN, available=TWICE))]
    ends.append(ends_h(planned(**OPEN, available=MORNING)))
    assert ends == sorted(ends)
    assert ends[2] > ends[1] + 1.0 > ends[0] + 1.0


def test_strength_does_not_come_sooner_for_it(planned: Planned) -> None:
    wet, dry = (planned(**OPEN, available=TWICE, is_continuous=each) for each in (True, False))
    for kind in (MilestoneKind.LIGHT_WORK, MilestoneKind.LIGHT_VEHICLES):
        one, other = dry.milestone(kind), wet.milestone(kind)
        assert one is not None
        assert other is not None
        assert one.not_before is not None
        assert other.not_before is not None
        assert one.not_before >= other.not_before


@pytest.mark.parametrize(
    "curing",
    [
        {"method": "sprinkler", "available": TWICE},  # with a cover between
        {"method": "curing compound"},
        {"method": "plastic sheet"},
    ],
    ids=lambda each: each["method"],
)
def test_nothing_changes_where_the_surface_does_not_dry(planned: Planned, curing: dict[str, Any]) -> None:
    one, other = planned(**curing), planned(**curing, is_continuous=True)
    assert one.milestones == other.milestones
    assert one.watering == other.watering


@pytest.mark.parametrize(
    "curing", [{"timer": True}, {"method": "wet burlap", "available": TWICE}], ids=["timer", "burlap"]
)
def test_the_hours_that_do_not_count_are_those_that_the_plan_names(
    job: Job, weather: Weather, as_of: datetime, curing: dict[str, Any]
) -> None:
    """A run of a timer is shorter than half an hour: what dries after it is counted by its own water."""
    desert = weather(28.0, 44.0, relative_humidity=np.full(14 * 24, 0.1), wind_ms=np.full(14 * 24, 9.0))
    simulation = simulate(job(curing=curing), desert, as_of, members=4)
    basis = basis_of(simulation.weather)
    dates = compute_dates(simulation, basis)
    days = plan_watering(simulation, slots_of_days(simulation, dates), basis)
    found = dry_hours(simulation, dates, days)
    assert found is not None
    counted = [day.dry_hours for day in days if day.dry_hours >= 1.0]
    assert float(found.dry.sum()) * found.slot_s / 3600.0 == pytest.approx(sum(counted), abs=1e-6)
