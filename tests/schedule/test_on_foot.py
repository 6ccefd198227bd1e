"""Nobody walks or works on a cover against cold: these dates wait until it is off.

By principle: a date on which nobody can use what it allows is no use, and what decides who lays a cover is
the strength of the slab, not the cover that lies on it.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest

from handover.schedule.cover_times import (
    COVERING,
    FOLDED_BACK,
    ON_FOOT,
    UNDER_COVER,
    frost_covers,
    is_folded_back,
    is_walkable,
    keep_people_off_covers,
)
from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure
from handover.schedule.printed_times import ORDERED_USES

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

NOWHERE = {"latitude": None, "longitude": None}
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
    spans = [(each.start, each.end, bool(each.frosts)) for each in frost_covers(schedule) if each.end]
    printed = [found.printed for kind in ON_FOOT if (found := schedule.milestone(kind)) is not None]
    instants = [each.instant.astimezone(UTC) for each in printed if each is not None]
    assert not [
        when
        for when in instants
        for start, end, frosts in spans
        if start <= when < end and not is_folded_back(schedule, when, has_frosts=frosts)
    ]
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


@pytest.mark.parametrize("method", ["sprinkler", "wet burlap", "insulating blanket"])
def test_where_a_cover_comes_off_past_the_estimate_no_use_has_a_date(
    job: Job, weather: Weather, as_of: datetime, method: str
) -> None:
    """Seen: a walk in May, under a cover of which nobody knows when it comes off."""
    record = job(curing={"method": method}, site=NOWHERE)  # whose weather stays as cold as it is
    schedule = plan_cure(record, weather(-14.0, -9.0, **NOWHERE), as_of)
    off = schedule.milestone(MilestoneKind.PROTECTION_ENDS)
    assert off is not None
    assert off.not_before is None
    for kind in ORDERED_USES:
        use = schedule.milestone(kind)
        assert use is not None
        assert use.likely is use.not_before is use.printed is None
    walk = schedule.milestone(MilestoneKind.FOOT_TRAFFIC)
    assert walk.because.governing.rule.endswith(UNDER_COVER)


def test_a_slab_strong_under_its_cover_bears_people_without_a_date(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """Its strength decides who does what; one that is past the estimate bears nobody."""
    bare = plan_cure(job(), weather(16.0, 26.0), as_of)
    strong = bare.milestone(MilestoneKind.FOOT_TRAFFIC)
    assert strong.not_before is not None
    covered = under_blankets(bare, None)
    held = keep_people_off_covers(covered)
    assert not [each for each in ORDERED_USES if held.milestone(each).not_before is not None]
    assert not is_walkable(held, strong.not_before - timedelta(hours=1))
    assert is_walkable(held, strong.not_before + timedelta(days=1))
    weak = replace(strong.because.governing, not_before=None)
    unknown = replace(strong, not_before=None, printed=None, because=replace(strong.because, governing=weak))
    milestones = tuple(unknown if each is strong else each for each in covered.milestones)
    never = keep_people_off_covers(replace(covered, milestones=milestones))
    assert not is_walkable(never, strong.not_before + timedelta(days=300))


def test_no_likely_date_falls_under_a_cover(job: Job, weather: Weather, as_of: datetime) -> None:
    bare = plan_cure(job(), weather(6.0, 12.0), as_of)
    free = bare.milestone(MilestoneKind.FOOT_TRAFFIC)
    off = free.likely + (free.not_before - free.likely) / 2
    walk = keep_people_off_covers(under_blankets(bare, off)).milestone(MilestoneKind.FOOT_TRAFFIC)
    assert free.likely < off < walk.likely <= walk.not_before
    assert (walk.not_before, walk.printed) == (free.not_before, free.printed)


def under_blankets(schedule: CureSchedule, until: datetime | None) -> CureSchedule:
    """Return a schedule cured by blankets until an instant; None: past the estimate."""
    walk = schedule.milestone(MilestoneKind.FOOT_TRAFFIC)
    ends = replace(walk, kind=MilestoneKind.PROTECTION_ENDS, not_before=until, printed=None)
    others = tuple(each for each in schedule.milestones if each.kind != MilestoneKind.PROTECTION_ENDS)
    return replace(schedule, curing_method="insulating blanket", milestones=(*others, ends), tasks=())


@pytest.mark.parametrize(
    ("weather_c", "is_laid_for_frost"), [((2.5, 9.0), False), ((2.0, 9.0), True)], ids=["later", "at first"]
)
def test_a_cover_in_place_of_water_after_cold_protection_is_folded_back(
    job: Job, weather: Weather, as_of: datetime, weather_c: tuple[float, float], is_laid_for_frost: bool
) -> None:
    """Seen: light work two weeks later in a week a degree warmer, for a cover that only keeps water in.

    A degree colder, a sheet lay there, and people folded it back.
    """
    schedule = plan_cure(job(curing={"method": "wet burlap"}), weather(*weather_c), as_of)
    [*_, cover] = frost_covers(schedule)
    off, walk, work = (
        schedule.milestone(each)
        for each in (MilestoneKind.PROTECTION_ENDS, MilestoneKind.FOOT_TRAFFIC, MilestoneKind.LIGHT_WORK)
    )
    assert bool(cover.frosts) == is_laid_for_frost
    assert off.not_before < cover.end
    assert cover.start < work.not_before < cover.end
    assert work.because.governing.rule == "light-work.strength"
    if is_laid_for_frost:
        assert walk.because.governing.rule.endswith(FOLDED_BACK)
        assert walk.printed.instant == off.printed.instant + COVERING
        ready = max(each.not_before for each in walk.because.others)
        assert is_walkable(schedule, ready + timedelta(days=1))
