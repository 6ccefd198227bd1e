"""Curing compound in frost: no cover goes on a wet coat, and nobody sprays under a cover.

UFGS 03301A: a coat is open to harm for 3 h after it is applied. That a blanket harms a wet coat, and that
plastic under blankets keeps the water in until it is sprayed, is common practice without a source.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from handover.schedule.coat_after_cover import spray_after_covers
from handover.schedule.cover_times import frost_covers
from handover.schedule.loading import materials_to_load
from handover.schedule.model import CureSchedule, MilestoneKind, SurfaceChoice
from handover.schedule.plan import plan_cure

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

DRYING = timedelta(hours=3)


def planned(
    job: Job, weather: Weather, as_of: datetime, air: tuple[float, float], **slab: Any
) -> tuple[JobRecord, CureSchedule]:
    finished = as_of + timedelta(hours=4.5)  # half past four: dusk is nearer than the coat is dry
    record = job(curing={"method": "curing compound"}, placement={"finished": finished}, slab=slab)
    return record, plan_cure(record, weather(*air), as_of, members=20)


def way_of(schedule: CureSchedule) -> SurfaceChoice:
    assert schedule.surface is not None
    (way,) = schedule.surface.choices
    return way


@pytest.mark.parametrize("air", [(-12.0, -2.0), (-6.0, 4.0), (-3.0, 9.0), (6.0, 16.0)])
def test_a_coat_is_sprayed_and_dry_before_a_cover_or_after_it(
    job: Job, weather: Weather, as_of: datetime, air: tuple[float, float]
) -> None:
    _, schedule = planned(job, weather, as_of, air)
    way = way_of(schedule)
    if way.how == "cover-for-compound":
        assert any(each.start <= way.start.astimezone(UTC) for each in frost_covers(schedule))
        return
    for cover in frost_covers(schedule):
        dry_before = way.until.astimezone(UTC) + DRYING <= cover.start
        off_before = cover.end is not None and cover.end <= way.start
        assert dry_before or off_before


def test_in_a_lasting_frost_the_compound_waits_under_plastic_and_blankets(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    record, schedule = planned(job, weather, as_of, (-6.0, 4.0))
    assert way_of(schedule).how != "compound"
    assert "plastic" in {each.code for each in materials_to_load(schedule, record)}
    coloured, other = planned(job, weather, as_of, (-6.0, 4.0), coloured=True)
    assert "plastic" not in {each.code for each in materials_to_load(other, coloured)}


def test_a_cover_that_stays_until_curing_ends_replaces_the_compound(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    _, schedule = planned(job, weather, as_of, (-6.0, 4.0))
    ends = schedule.milestone(MilestoneKind.CURING_ENDS)
    assert schedule.surface is not None
    assert ends is not None
    assert schedule.finished is not None
    spraying = SurfaceChoice("compound", schedule.finished, schedule.finished + timedelta(hours=1), 1.0, 0.0)
    early = tuple(
        replace(each, not_before=schedule.finished + timedelta(hours=6)) if each is ends else each
        for each in schedule.milestones
    )
    task = replace(schedule.surface, choices=(spraying,))
    late = spray_after_covers(replace(schedule, surface=task, milestones=early))
    assert way_of(late).how == "cover-for-compound"


def test_in_mild_weather_nothing_changes(job: Job, weather: Weather, as_of: datetime) -> None:
    _, schedule = planned(job, weather, as_of, (12.0, 22.0))
    assert way_of(schedule).how == "compound"
    assert spray_after_covers(schedule) is schedule
