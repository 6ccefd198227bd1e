"""Nobody walks or works on a cover against cold: these dates wait until it is off.

By principle: a date on which nobody can use what it allows is no use, and what decides who lays a cover is
the strength of the slab, not the cover that lies on it.
"""

from __future__ import annotations

from datetime import UTC
from typing import TYPE_CHECKING

import numpy as np
import pytest

from handover.schedule.cover_times import COVERING, ON_FOOT, UNDER_COVER, frost_covers, is_walkable
from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

BLANKETS = {"method": "insulating blanket", "blanket_r_value": 1.2}


def test_blankets_are_off_before_anybody_walks(job: Job, weather: Weather, as_of: datetime) -> None:
    """Seen: the walk on Wednesday, the blankets on until Saturday, and a reminder to walk on Wednesday."""
    schedule = plan_cure(job(curing=BLANKETS), weather(-8.0, 0.0), as_of)
    off, walk = (
        schedule.milestone(each) for each in (MilestoneKind.PROTECTION_ENDS, MilestoneKind.FOOT_TRAFFIC)
    )
    assert off is not None
    assert walk is not None
    assert off.printed is not None
    assert walk.printed is not None
    assert walk.because.governing.rule.endswith(UNDER_COVER)
    assert walk.printed.instant == off.printed.instant + COVERING
    ready = max(each.not_before for each in walk.because.others if each.not_before is not None)
    assert ready < walk.not_before
    assert is_walkable(schedule, off.printed.instant)  # by its strength, which decides who does what


@pytest.mark.parametrize("method", ["sprinkler", "plastic sheet", "insulating blanket", "curing compound"])
@pytest.mark.parametrize("coldest", [-12.0, -6.0, -3.0])
def test_no_use_on_foot_falls_under_a_cover_against_cold(
    job: Job, weather: Weather, as_of: datetime, method: str, coldest: float
) -> None:
    schedule = plan_cure(job(curing={"method": method}), weather(coldest, coldest + 10.0), as_of)
    spans = [(each.start, each.end) for each in frost_covers(schedule) if each.end is not None]
    printed = [found.printed for kind in ON_FOOT if (found := schedule.milestone(kind)) is not None]
    instants = [each.instant.astimezone(UTC) for each in printed if each is not None]
    assert not [when for when in instants for start, end in spans if start <= when < end]
    assert instants == sorted(instants)


def test_without_a_cover_no_date_waits(job: Job, weather: Weather, as_of: datetime) -> None:
    schedule = plan_cure(job(), weather(16.0, 26.0, wind_ms=np.full(14 * 24, 2.0)), as_of)
    gates = [schedule.milestone(kind).because.governing.rule for kind in ON_FOOT]
    assert not any(each.endswith(UNDER_COVER) for each in gates)


@pytest.mark.parametrize("coldest", [-16.0, -10.0, -6.0])
def test_blankets_lie_before_the_bare_top_of_a_finished_slab_may_freeze(
    job: Job, weather: Weather, as_of: datetime, coldest: float
) -> None:
    """Seen: frost on the bare top from 7 pm, and the blankets on at 8 pm."""
    finished = as_of.replace(hour=15)
    record = job(curing=BLANKETS, placement={"finished": finished, "concrete_temperature": 14.0})
    schedule = plan_cure(record, weather(coldest, coldest + 9.0), as_of.replace(hour=16))
    assert schedule.protection is not None
    bare = schedule.protection.blankets[0].freezes_from
    assert bare is not None
    assert schedule.blankets_on is not None
    assert finished <= schedule.blankets_on <= max(bare - COVERING, finished)
