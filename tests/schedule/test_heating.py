"""Heating in a slab stays off for 28 days (a firm of polished floors) and until curing ends (no source)."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries


def test_heating_waits_four_weeks_and_for_the_end_of_curing(
    job: Callable[..., JobRecord], weather: Callable[..., WeatherSeries], as_of: datetime
) -> None:
    record = job(slab={"heated": True})
    schedule = plan_cure(record, weather(), as_of, members=8)
    heating, curing = (
        schedule.milestone(kind) for kind in (MilestoneKind.HEATING, MilestoneKind.CURING_ENDS)
    )
    assert heating is not None
    assert curing is not None
    assert heating.not_before is not None
    assert curing.not_before is not None
    four_weeks = record.placement.start.astimezone(UTC) + timedelta(days=28)
    assert heating.not_before.astimezone(UTC) >= max(four_weeks, curing.not_before.astimezone(UTC))


def test_a_slab_without_heating_has_no_date_for_it(
    job: Callable[..., JobRecord], weather: Callable[..., WeatherSeries], as_of: datetime
) -> None:
    assert plan_cure(job(), weather(), as_of, members=8).milestone(MilestoneKind.HEATING) is None
