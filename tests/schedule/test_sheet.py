"""A plastic sheet lies in the model as long as the papers say: from finishing until curing ends."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure
from handover.schedule.simulation import simulate, watered_until

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

SHEET = {"method": "plastic sheet", "colour": "black"}
WEEK = timedelta(days=7)


def test_no_slab_dries_under_its_sheet_after_a_week(job: Job, weather: Weather, as_of: datetime) -> None:
    """Seen: a slab "under its sheet" that cooled below its room after seven days, as wet open concrete does.

    Water that does not evaporate takes no heat: the slab is no cooler than the air that it has had.
    """
    room = {"room_temperature": 8.0}
    record = job(slab={"exposure": "indoors"}, site=room, curing={"method": "plastic sheet"})
    schedule = plan_cure(record, weather(6.0, 12.0, relative_humidity=np.full(14 * 24, 0.2)), as_of)
    ends = schedule.milestone(MilestoneKind.CURING_ENDS)
    assert ends is not None
    assert ends.not_before is not None
    assert ends.not_before > schedule.placement_end + WEEK + timedelta(days=1)
    days = (ends.not_before - schedule.placement_end) / timedelta(days=1)
    hours = schedule.history.hours
    under = (hours > 7.5 * 24.0) & (hours < days * 24.0)
    likely = np.asarray(schedule.history.temperature_c.likely.surface)
    assert likely[under].min() > room["room_temperature"] - 0.5


def test_a_sheet_is_off_once_curing_ends(job: Job, weather: Weather, as_of: datetime) -> None:
    """Black in the sun: until it comes off nothing differs, then the open slab is cooler at noon."""
    wet = simulate(job(curing=SHEET), weather(12.0, 22.0), as_of, members=4)
    ends = [wet.job.placement.end + timedelta(days=each) for each in (4, 12)]
    sooner, later = (watered_until(wet, each, cover_ends=each).slab for each in ends)
    tops = [each.temperature_c[:, 0, 0] for each in (sooner, later)]
    np.testing.assert_allclose(tops[0][: 4 * 24], tops[1][: 4 * 24])
    between = slice(4 * 24 + 1, 12 * 24)
    assert tops[0][between].max() < tops[1][between].max() - 2.0


def test_the_cover_of_the_tasks_is_that_of_the_model(job: Job, weather: Weather, as_of: datetime) -> None:
    """Where frosts end curing before a week, the sheet is off as well, and dates count the slab open."""
    record = job(curing={"method": "plastic sheet"})
    cold = weather(1.0, 9.0)
    cold.air_c[120:] -= 9.0
    schedule, first = plan_cure(record, cold, as_of), simulate(record, cold, as_of)
    ends = schedule.milestone(MilestoneKind.CURING_ENDS)
    assert ends is not None
    assert ends.not_before is not None
    assert ends.not_before < schedule.placement_end + WEEK
    watered = watered_until(first, ends.not_before, cover_ends=ends.not_before)
    tops = np.sort(watered.slab.temperature_c[:, watered.ensemble.last_placed, 0], axis=1)
    median = tops[:, round((tops.shape[1] - 1) / 2)]
    np.testing.assert_allclose(schedule.history.temperature_c.likely.surface, median, atol=1e-6)
