"""The cover between waterings: the least that keeps the slab wet, and the waterings under it.

By principles: a cover loses no more than an open slab, and nobody waters a covered slab more often. What an
open film and a cover hold is that of the rules.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from handover.practice.rules import practice
from handover.schedule.plan import plan_cure

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

AT_WORK = ("06:30-07:30", "18:00-20:00")
LIMIT_H = practice()["water.dry-too-long"]


@pytest.mark.parametrize("method", ["sprinkler", "hose by hand", "soaker hose"])
def test_a_slab_that_would_be_dry_all_day_is_covered_between_waterings(
    job: Job, weather: Weather, as_of: datetime, method: str
) -> None:
    schedule = plan_cure(job(curing={"method": method, "available": AT_WORK}), weather(26.0, 38.0), as_of)
    assert schedule.between is not None
    assert schedule.between.open_dry_hours >= LIMIT_H
    assert schedule.between.dry_hours < LIMIT_H
    assert max(day.dry_hours for day in schedule.watering) == schedule.between.dry_hours
    assert all(day.visits for day in schedule.watering)
    assert "wet-dry" not in {each.code for each in schedule.cautions}


def test_a_timer_or_a_slab_that_stays_wet_needs_no_cover(job: Job, weather: Weather, as_of: datetime) -> None:
    timed = plan_cure(job(curing={"timer": True, "available": AT_WORK}), weather(), as_of)
    assert timed.between is None
    none = weather().wind_ms * 0.0
    calm = {"wind_ms": none, "relative_humidity": none + 1.0, "shortwave_wm2": none, "cloud": none + 1.0}
    damp = weather(14.0, 16.0, **calm)
    assert plan_cure(job(curing={"available": AT_WORK}), damp, as_of).between is None


def test_burlap_is_chosen_only_where_it_suffices(job: Job, weather: Weather, as_of: datetime) -> None:
    """Burlap dries like an open film and holds more; a sheet dries a tenth as fast, for worse days."""
    found = []
    for highest in (18.0, 22.0, 26.0, 30.0, 34.0, 38.0):
        schedule = plan_cure(job(curing={"available": AT_WORK}), weather(highest - 10.0, highest), as_of)
        cover = schedule.between
        found.append("" if cover is None else cover.cover)
        if cover is not None and cover.cover == "wet burlap":
            assert cover.dry_hours < LIMIT_H
    assert found == sorted(found, key=["", "wet burlap", "plastic sheet"].index)
    assert found[-1] == "plastic sheet"
